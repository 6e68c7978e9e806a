/** What the bench itself adds to each part that is screened: everything but the instruments and the hands. */
import { Hands } from '../mocks/bench/hands.ts'
import { usualRatings } from '../mocks/components/kinds.ts'
import type { Component } from '../mocks/components/component.ts'
import { makeComponent } from '../mocks/components/make-component.ts'
import { virtualJig } from '../nights/virtual-jig.ts'
import type { PartsLine } from '../src/schema/parts-list.ts'

export interface ScreeningFigures {
  readonly parts: number
  /**
   * Processor time of the program, for one part, ms: all of it less the share of the time in which simulated
   * instruments read lines and simulated parts answer them. What the instruments do by timers of their own counts as the program's.
   */
  readonly ownPartMs: number
  /** All of it, simulated instruments and parts included, ms. */
  readonly wholePartMs: number
  /** Used heap after a collection where one can be asked for, MB: after a tenth of the session, and at its end. */
  readonly heapEarlyMb: number
  readonly heapEndMb: number
}

/** `parts` resistors from a reel, one after the other, in virtual time and one process, record in memory. */
export async function measureScreening(parts: number): Promise<ScreeningFigures> {
  const bench = await virtualJig()
  const theirs = new Stopwatch()
  for (const { device } of Object.values(bench.sim.instruments)) device.receive = theirs.around(device.receive.bind(device))
  const find = (): Component => {
    const part = makeComponent('resistor', usualRatings.resistor, 7)
    part.dc = theirs.around(part.dc.bind(part))
    return part
  }
  const hands = new Hands({ bench: bench.sim, clock: bench.clock, find: theirs.around(find) })
  let heapEarlyMb = NaN
  let results = 0
  bench.daemon.subscribe(item => {
    if (item.type === 'result' && ++results === Math.ceil(parts / 10)) heapEarlyMb = heapMb()
    if (item.type !== 'screening' || !item.screening?.told) return
    hands.hear(item.screening.told.tone, item.screening.told.text)
  })
  const startedMs = performance.now()
  const startedCpu = process.cpuUsage()
  const { id } = await bench.clock.run(bench.daemon.screening.begin({
    unit: 'reel', parts: [reel(parts)], standards: [], standardsEvery: 50, ask: 'open', person: 'measurement',
    insulation: true, absorption: false, mains: { voltageV: 240, frequencyHz: 50 }, compensate: false,
  }))
  const { state } = await bench.clock.run(bench.daemon.ended(id))
  const wholeMs = performance.now() - startedMs
  const cpu = process.cpuUsage(startedCpu)
  const cpuMs = (cpu.user + cpu.system) / 1000
  if (state !== 'done' || results !== parts) throw new Error(`the session ended as ${state} with ${results} results`)
  return {
    parts, ownPartMs: cpuMs * (1 - theirs.ms / wholeMs) / parts, wholePartMs: cpuMs / parts, heapEarlyMb, heapEndMb: heapMb(),
  }
}

/** Time spent within some functions, each moment once. */
class Stopwatch {
  ms = 0
  #depth = 0

  around<A extends unknown[], R>(work: (...args: A) => R): (...args: A) => R {
    return (...args) => {
      const startedMs = performance.now()
      this.#depth++
      try {
        return work(...args)
      } finally {
        this.#depth--
        if (this.#depth === 0) this.ms += performance.now() - startedMs
      }
    }
  }
}

function heapMb(): number {
  (globalThis as { gc?: () => void }).gc?.()
  return process.memoryUsage().heapUsed / 2 ** 20
}

const reel = (quantity: number): PartsLine => ({
  line: 1, designators: [], quantity, kind: 'resistor', kindFrom: 'list', material: null, dielectrics: [], safetyClasses: [],
  valueText: '4k7', value: { quantity: 'resistance', si: 4700, unit: 'Ω' }, toleranceMinus: 0.05, tolerancePlus: 0.05,
  ratedV: null, ratedForm: null, ratedW: null, tempcoPpmPerK: null, ratingText: '', where: null, note: '',
})
