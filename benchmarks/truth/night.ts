/** One part through a whole short run on a bench of its own, and what it truly was while it was measured. */
import { fixtureFigures } from '../../mocks/bench/layout.ts'
import type { BenchErrors, BenchFaults, SimBench } from '../../mocks/bench/sim-bench.ts'
import { ElectrolyticPart } from '../../mocks/parts/part.ts'
import type { Limits } from '../../src/analysis/conformance.ts'
import type { Criterion, Grade } from '../../src/schema/run.ts'
import { virtualBench } from '../virtual-bench.ts'
import type { StudyPart } from './parts.ts'

/** One value with its uncertainty and what it truly was, in one unit. */
export interface JudgedValue {
  readonly value: number
  readonly expandedU: number
  readonly truth: number
  readonly guardBand: number
  readonly pConform: number
  readonly grade: Grade
  readonly limits: Limits
}
export interface Judged extends JudgedValue { readonly name: 'leakage' | 'capacitance' | 'esr' }

/** The leakage as it flowed at the formal instant, the part a little below its rated voltage. */
export interface AsRead { readonly value: number; readonly u: number; readonly truth: number }

export interface Outcome {
  readonly index: number
  readonly leakageKind: StudyPart['leakageKind']
  readonly profile: string
  readonly grade: string
  readonly reason: string
  readonly state: string
  readonly judged: readonly Judged[]
  readonly asRead: AsRead | null
  readonly priorF: StudyPart['priorF']
  readonly priorOhm: StudyPart['priorOhm']
}

export interface NightSetup {
  readonly errors: BenchErrors
  readonly faults?: BenchFaults
  /** Air temperature that the limits are meant at, where it is not that of the bench, °C. */
  readonly limitsAtC?: number
}

/**
 * As quick a run as is fair to the part: charging stays under half of what the supervisor takes for a fault.
 */
export function parametersOf({ profile }: StudyPart): { slewVPerS: number; soakS: number; watchS: number } {
  const tauS = profile.capacitanceF * (1 + profile.tolerancePlus) * fixtureFigures.limitOhm
  return { slewVPerS: Math.min(20, 0.25 * profile.ratedV / tauS), soakS: 30 + 6 * tauS, watchS: 60 }
}

const sampleMs = 500

/** Throws when the run itself fails; a part that leaves it is an outcome without criteria. */
export async function oneNight(index: number, part: StudyPart, setup: NightSetup): Promise<Outcome> {
  const seed = hash(part.seed)
  const bench = await virtualBench(part.scenario, seed, {
    errors: setup.errors, ...(setup.faults === undefined ? {} : { faults: setup.faults }),
  })
  const parameters = parametersOf(part)
  const truth = new TruthTrace(bench.sim, parameters.soakS, setup.limitsAtC)
  const run = await bench.night({ sequence: 'leakage-soak', parameters: { ...parameters } })
  const [result] = await bench.store.results(run.id)
  const events = await bench.store.events(run.id)
  const trips = events.filter(({ kind }) => kind === 'trip').map(({ text }) => text)
  await bench.clock.run(bench.daemon.close())
  const atMs = result?.figures['formalAtMs']
  const { formalLeakageA: value, formalLeakageU: u } = result?.figures ?? {}
  return {
    index, leakageKind: part.leakageKind, profile: part.scenario.partProfile, state: run.state,
    priorF: part.priorF, priorOhm: part.priorOhm,
    grade: result?.grade ?? 'none', reason: result?.reason ?? trips.join('; '),
    judged: atMs === undefined ? [] : result!.criteria.map(criterion => truth.judge(criterion, atMs)),
    asRead: atMs === undefined ? null : { value: value!, u: u!, truth: truth.leakageAt(atMs) },
  }
}

interface LeakageMoment { atMs: number; currentA: number }

/** Looks on while the run goes: leakage while the formal resistor is in, impedance when the bridge looks. */
class TruthTrace {
  readonly #moments: LeakageMoment[] = []
  readonly #sim: SimBench
  readonly #soakS: number
  readonly #limitsAtC: number
  #busV = NaN
  #seriesF = NaN
  #ohm = NaN

  constructor(sim: SimBench, soakS: number, limitsAtC = sim.scenario.ambientC) {
    this.#limitsAtC = limitsAtC
    this.#sim = sim
    this.#soakS = soakS
    const { wiring } = sim
    const { formal, bridge } = wiring
    const look = (): void => {
      this.#moments.push(leakageNow(sim))
      cancel = sim.clock.after(sampleMs, look)
    }
    let cancel = (): void => {}
    wiring.formal = (index, on) => {
      cancel()
      if (!on) this.#moments.push(leakageNow(sim))
      formal.call(wiring, index, on)
      if (!on) return
      this.#busV = wiring.busV()
      look()
    }
    wiring.bridge = (index, hertz) => {
      const seen = bridge.call(wiring, index, hertz)
      this.#seriesF = -1 / (2 * Math.PI * hertz * seen.im)
      this.#ohm = seen.re
      return seen
    }
  }

  judge(criterion: Criterion, formalAtMs: number): Judged {
    const { value, expandedU, guardBand, pConform, grade, limitLow, limitHigh } = criterion
    const limits = {
      ...(limitLow === undefined ? {} : { lower: limitLow }),
      ...(limitHigh === undefined ? {} : { upper: limitHigh }),
    }
    const name = criterion.name as Judged['name']
    const truth = {
      leakage: () => this.leakageAt(formalAtMs) * this.#ratedShare(formalAtMs),
      capacitance: () => this.#seriesF, esr: () => this.#ohm,
    }[name]()
    return { name, value, expandedU, guardBand, pConform, grade, limits, truth }
  }

  leakageAt(atMs: number): number {
    const next = this.#moments.findIndex(moment => moment.atMs >= atMs)
    const [from, to] = [this.#moments[next - 1], this.#moments[next]]
    if (!from || !to) throw new Error(`the formal instant ${atMs} lies outside the formal reading`)
    return from.currentA + (atMs - from.atMs) / (to.atMs - from.atMs) * (to.currentA - from.currentA)
  }

  /**
   * What a twin of the part takes at exactly its rated voltage from the moment the low resistor came in, over
   * what another takes behind the resistors as they are: each with the same past (and the first in the air
   * meant).
   */
  #ratedShare(formalAtMs: number): number {
    const wiring = this.#sim.now()
    const { truth, rated } = wiring.part(0)!
    const formalS = (formalAtMs - this.#moments[0]!.atMs) / 1000
    const { limitOhm, formalOhm, senseOhm, senseClampV } = fixtureFigures
    const twin = (stiff: boolean): number => {
      const ambientC = stiff ? this.#limitsAtC : this.#sim.scenario.ambientC
      const part = new ElectrolyticPart('twin', rated, truth, 0, ambientC)
      part.ambient(0, ambientC)
      part.connect(0, limitOhm, senseOhm, senseClampV)
      part.drive(0, this.#busV)
      const lowOhm = stiff ? 1 : limitOhm * formalOhm / (limitOhm + formalOhm)
      part.stopAt(this.#soakS)
      part.connect(this.#soakS, lowOhm, stiff ? 0 : senseOhm, senseClampV)
      if (stiff) part.drive(this.#soakS, rated.voltageV)
      part.ensure(this.#soakS + formalS)
      return part.currentA(this.#soakS + formalS)
    }
    return twin(true) / twin(false)
  }
}

const leakageNow = (sim: SimBench): LeakageMoment => {
  const wiring = sim.now()
  return { atMs: sim.clock.monotonicMs(), currentA: wiring.part(0)!.currentA(wiring.nowS) }
}

function hash(text: string): number {
  let h = 2166136261
  for (const letter of text) h = Math.imul(h ^ letter.charCodeAt(0), 16777619)
  return h >>> 0
}
