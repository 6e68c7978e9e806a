/** Charging at the jig: what is read, and that no terminals are given back charged, whatever fails. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { BenchError, isBenchError } from '../../src/base/errors.ts'
import { BenchJig } from '../../src/engine/jig.ts'
import { harmlessV } from '../../src/safety/dead.ts'
import type { JigSpec } from '../../src/schema/bench.ts'
import type { Charge, Pair } from '../../src/schema/jig.ts'
import { residualsOf } from '../../src/screening/residuals.ts'
import type { Bridge, RelayBoard, Source } from '../../src/schema/roles.ts'

const spec: JigSpec = {
  terminals: 2, voltageMaxV: 30, currentMaxA: 0.05, leads: { bridge: { high: [1, 2], low: [3, 4] }, source: { high: [5, 6], low: [7, 8] } },
}
const ends: Pair = { high: 1, low: 2 }

/** A capacitor of `farad` on an ideal source and a bridge, with some of its charge coming back after a short. */
function rig({ farad = 1e-6, leakA = 1e-9, comesBack = 0, lateS = 3, failing = (_call: string): boolean => false } = {}) {
  const clock = new VirtualClock()
  const held = new Set<number>()
  const wrong: string[] = []
  const calls: string[] = []
  const setting = { volts: 0, amps: 0, limit: 0, isVolts: true, on: false }
  const part = { volts: 0, late: 0, atMs: 0, limited: false, flows: 0 }
  const isLed = (): boolean => held.has(5) && held.has(8)
  /** What went on since it was looked at last. */
  const pass = (): void => {
    const seconds = (clock.monotonicMs() - part.atMs) / 1000
    part.atMs = clock.monotonicMs()
    if (!setting.on || !isLed()) {
      part.volts += part.late * (1 - Math.exp(-seconds / 0.2))
      if (lateS < 1e3) part.late *= Math.exp(-seconds / 0.2)
      return
    }
    const reach = seconds * setting.limit / farad
    const gap = (setting.isVolts ? setting.volts : part.volts) - part.volts
    part.limited = Math.abs(gap) > reach
    part.volts += part.limited ? Math.sign(gap) * reach : gap
    part.flows = part.limited ? Math.sign(gap) * setting.limit : leakA
    if (setting.isVolts && setting.volts !== 0) part.late = comesBack * part.volts
    else part.late *= Math.exp(-seconds / lateS)
  }
  const said = async <T>(call: string, answer: () => T): Promise<T> => {
    pass()
    calls.push(call)
    if (failing(call)) throw new BenchError('LINK_TIMEOUT', `${call} gave no answer`)
    return answer()
  }
  const good = (value: number) => ({ value, u: 1e-3, quality: 'good' as const, atMs: clock.monotonicMs() })
  const moved = (relays: number[], to: boolean): void => {
    pass()
    if (setting.on) wrong.push('a relay moved while the source was on')
    for (const relay of relays) { if (to) held.add(relay); else held.delete(relay) }
  }
  const roles = {
    jig: {
      name: 'board', settleMs: 5, hold: async (relays: number[]) => { await said('hold', () => moved(relays, true)) },
      release: async (relays: number[]) => { await said('release', () => moved(relays, false)) },
    } as unknown as RelayBoard,
    bridge: {
      frequenciesHz: [1000], impedance: () => said('bridge', () => {
        if (Math.abs(part.volts) > harmlessV) wrong.push(`the bridge met ${part.volts} V`)
        return { rOhm: good(1), xOhm: good(-1), frequencyHz: 1000 }
      }),
    } as unknown as Bridge,
    source: {
      name: 'source', settleMs: 2, ratings: { voltageMaxV: 60, currentMaxA: 1, voltageStepV: 1e-3, currentStepA: 1e-9 },
      forceVoltage: (volts: number, limit: number) => said('volts', () => { Object.assign(setting, { volts, limit, isVolts: true }) }),
      forceCurrent: (amps: number, limit: number) => said('amps', () => { Object.assign(setting, { amps, limit, isVolts: false }) }),
      setOutput: (on: boolean) => said(on ? 'on' : 'off', () => { setting.on = on }),
      measure: () => said('measure', () => ({ voltage: good(part.volts), current: good(part.flows), limited: part.limited })),
    } as unknown as Source,
  }
  const stop = new AbortController()
  let waited = 0
  const jig = new BenchJig({ roles, spec, clock, signal: stop.signal, residuals: residualsOf(null), waits: () => { waited++ } })
  const volts = (): number => { pass(); return part.volts }
  return { jig, clock, stop, wrong, calls, setting, volts, waited: () => waited }
}

const charge = (over: Partial<Charge> = {}): Charge => ({ voltageV: 20, limitA: 1e-3, upWithinMs: 1000, readAtMs: [500, 1000], ...over })
const codeOf = (work: Promise<unknown>): Promise<string> =>
  work.then(() => 'none', (error: unknown) => isBenchError(error) ? error.code : String(error))
const look = (jig: BenchJig): Promise<unknown> => jig.impedance(ends, { frequencyHz: 1000, levelV: 1 })

describe('charging at the jig', () => {
  it('reads what flows at the stated times after the volts came up, and empties the part', async () => {
    const { jig, clock, volts, wrong, setting } = rig()
    const { isUp, points, leftV, recovered } = await clock.run(jig.charge(ends, charge()))
    expect(isUp).toBe(true)
    expect(points.map(({ current }) => current.value)).toEqual([1e-9, 1e-9])
    expect(points[1]!.current.atMs - points[0]!.current.atMs).toBe(500)
    expect(points[0]!.voltage.value).toBe(20)
    expect([leftV, recovered]).toEqual([expect.closeTo(0, 6), null])
    expect([volts(), setting.on, jig.mayHoldV]).toEqual([expect.closeTo(0, 6), false, 0])
    await clock.run(look(jig))
    expect(wrong).toEqual([])
  })

  it('gives up where the limit holds the volts down, says what flowed, and empties it all the same', async () => {
    const { jig, clock, volts } = rig({ farad: 1e-3 })
    const { isUp, points } = await clock.run(jig.charge(ends, charge()))
    expect([isUp, points.length, points[0]!.limited, points[0]!.current.value]).toEqual([false, 1, true, 1e-3])
    expect(Math.abs(volts())).toBeLessThan(harmlessV)
    expect(jig.mayHoldV).toBe(0)
  })

  it('reads what comes back after a short, and shorts again until what is left is harmless', async () => {
    const { jig, clock, volts } = rig({ comesBack: 0.3 })
    const { recovered, leftV } = await clock.run(jig.charge(ends, charge({ recovery: { shortMs: 100, openMs: 5000 } })))
    expect(recovered!.voltage.value).toBeGreaterThan(4)
    expect(leftV).toBeLessThan(harmlessV)
    expect(volts()).toBeLessThan(harmlessV)
  })

  it('says in long waits that they go on as they should', async () => {
    const { jig, clock, waited } = rig()
    await clock.run(jig.charge(ends, charge({ readAtMs: [300_000] })))
    expect(waited()).toBeGreaterThanOrEqual(29)
  })

  it('never leads a charged part to the bridge, nor leaves an output on, whatever fails', () =>
    fc.assert(fc.asyncProperty(fc.integer({ min: 1, max: 60 }), fc.double({ min: 0, max: 0.5, noNaN: true }), async (failAt, comesBack) => {
      let count = 0
      const { jig, clock, wrong, setting, volts } = rig({ comesBack, failing: call => call !== 'off' && ++count === failAt })
      await clock.run(codeOf(jig.charge(ends, charge({ recovery: { shortMs: 100, openMs: 1000 } }))))
      expect(setting.on).toBe(false)
      if (Math.abs(volts()) > harmlessV) expect(jig.mayHoldV).toBeGreaterThanOrEqual(Math.abs(volts()) * 0.99)
      count = Infinity
      const met = await clock.run(codeOf(look(jig)))
      expect(met === 'none').toBe(jig.mayHoldV === 0)
      expect(wrong).toEqual([])
    }), { numRuns: 150 }))

  it('trips where the part does not discharge, and leads nothing but the source to it from then on', async () => {
    const { jig, clock, wrong } = rig({ comesBack: 0.5, lateS: 1e6 })
    expect(await clock.run(codeOf(jig.charge(ends, charge())))).toBe('TRIPPED')
    expect(jig.mayHoldV).toBe(20)
    expect(await clock.run(codeOf(look(jig)))).toBe('TRIPPED')
    expect(wrong).toEqual([])
  })

  it.each([20, -20])('says how far a part that does not discharge stands from nothing, charged to %s V', async voltageV => {
    const { jig, clock } = rig({ comesBack: 0.5, lateS: 1e6 })
    const said = await clock.run(jig.charge(ends, charge({ voltageV })).then(() => '', (error: unknown) => String(error)))
    expect(said).toMatch(/expected below 3\.00 V, got \d/)
  })

  it('leaves the output off after a stop in the middle, and says what the part may hold', async () => {
    const { jig, clock, stop, setting, volts } = rig()
    clock.after(400, () => stop.abort(new BenchError('STOPPED', 'enough')))
    expect(await clock.run(codeOf(jig.charge(ends, charge())))).toBe('STOPPED')
    expect(setting.on).toBe(false)
    expect(volts()).toBeCloseTo(20, 6)
    expect(jig.mayHoldV).toBe(20)
  })

  it('asks no source for more than the jig allows', async () => {
    for (const over of [{ voltageV: 31 }, { voltageV: -31 }, { limitA: 0.06 }]) {
      const { jig, clock, setting } = rig()
      expect(await clock.run(codeOf(jig.charge(ends, charge(over))))).toBe('OUT_OF_RANGE')
      expect(setting.on).toBe(false)
    }
  })
})
