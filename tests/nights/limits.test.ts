import { describe, expect, it } from 'vitest'
import type { BenchFaults } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { positionName, verdicts } from '../../mocks/bench/scenario.ts'
import type { Scenario } from '../../mocks/bench/scenario.ts'
import type { MakeOptions, PartKind } from '../../mocks/parts/make-part.ts'
import { chargeBudgetC } from '../../src/safety/charge.ts'
import { virtualBench } from './virtual-bench.ts'
import type { VirtualBench } from './virtual-bench.ts'

const quick = {
  soakS: 600, minStepS: 60, maxStepS: 600, stallAfterS: 600, watchS: 60, targetV: 150, slewVPerS: 5, stepShare: 0.25,
}
const fromMs = 300_000
/** A night of many hours, read as seldom as a person would set it. */
const slow = { busMs: 1000, busQuietMs: 2000, sweepMs: 5000, sweepQuietMs: 30_000, temperatureMs: 60_000 }

interface Told {
  bench: VirtualBench; state: string; trips: string[]; drops: string[]
  grades: Map<string, string>; reasons: Map<string, string>
}

async function night(scenario: Scenario, faults: BenchFaults, parameters: object = quick): Promise<Told> {
  const bench = await virtualBench(scenario, scenario.seed, { faults })
  const run = await bench.night({ parameters: { ...parameters } })
  const events = await bench.store.events(run.id)
  const results = await bench.store.results(run.id)
  const texts = (kind: string): string[] => events.filter(event => event.kind === kind).map(({ text }) => text)
  return {
    bench, state: run.state, trips: texts('trip'), drops: texts('drop'),
    grades: new Map(results.map(result => [result.position, `${result.grade}/${result.disposition}`])),
    reasons: new Map(results.map(result => [result.position, result.reason])),
  }
}

/** A sound can and one more of `kind`. */
function pair(seed: number, kind: PartKind, options: MakeOptions = {}): Scenario {
  const rack = scenarioHealthyRack(2, seed, { staleFraction: 0 })
  const odd = { position: positionName(1), id: 'odd', kind, options, ...verdicts[kind] }
  return { ...rack, parts: [rack.parts[0]!, odd] }
}

const stops: [name: string, why: RegExp, faults: BenchFaults][] = [
  ['the bus meter sticks', /bus\.voltage stays at .* while the set-point moved/,
    { instruments: { 'bus-dmm': [{ kind: 'reading-stuck', fromMs: 90_000 }] } }],
  ['the sense meter sticks', /to the bit (while the bus moved|at more than one)/,
    { instruments: { 'sense-dmm': [{ kind: 'reading-stuck', fromMs: 90_000 }] } }],
  ['the supply reads a tenth less than it gives', /supply\.voltage reads/,
    { instruments: { psu: [{ kind: 'reading-gain', value: 0.9, fromMs }] } }],
  ['the bus rises by 3 V by itself', /bus\.voltage rose/,
    { instruments: { 'bus-dmm': [{ kind: 'reading-jump', value: 3, fromMs: 800_000 }] } }],
]

describe('a night in which a reading cannot be', () => {
  it.each(stops)('ends tripped and off when %s', async (_name, why, faults) => {
    const { bench, state, trips } = await night(scenarioHealthyRack(2, 41, { staleFraction: 0 }), faults)
    expect(state).toBe('tripped')
    expect(trips[0]).toMatch(why)
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect(bench.sim.now().busV()).toBeLessThan(60)
    // Nothing is withheld in words alone: the next start is refused until somebody acknowledges.
    await expect(bench.night()).rejects.toThrow(/not acknowledged/)
  })
})

describe('a night in which the current that the supply reads stands still', () => {
  it('ends tripped and off while the bus is raised, and nothing is started after it', async () => {
    const stuck: BenchFaults = { instruments: { psu: [{ kind: 'wrong-answer', match: 'MEAS:CURR', value: '+1.20000E-03', fromMs: 90_000 }] } }
    const { bench, state, trips } = await night(scenarioHealthyRack(2, 41, { staleFraction: 0 }), stuck, { ...quick, targetV: 450 })
    expect(state).toBe('tripped')
    expect(trips[0]).toMatch(/supply\.current repeats 1\.2\S* mA to the bit while the bus alone came to take/)
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect(bench.sim.now().busV()).toBeLessThan(60)
    await expect(bench.night()).rejects.toThrow(/not acknowledged/)
  })
})

describe('a night in which the thermometer stands still', () => {
  it('drops the parts that nobody feels any more, condemns none, and puts none back', async () => {
    const { bench, state, drops, grades } = await night(scenarioHealthyRack(2, 42, { staleFraction: 0 }),
      { instruments: { thermometer: [{ kind: 'reading-stuck', fromMs }] } }, { ...quick, soakS: 3600 })
    expect(state).toBe('done')
    expect(drops).toHaveLength(2)
    for (const text of drops) expect(text).toMatch(/repeats .* °C to the bit over 20 readings: its thermometer is stuck/)
    expect([...grades.values()]).toEqual(['cannot tell/retest', 'cannot tell/retest'])
    for (const i of [0, 1]) expect(bench.sim.wiring.part(i)!.terminalV(bench.sim.nowMs / 1000)).toBeLessThan(60)
  })
})

describe('a night in which one part is not felt, or too well', () => {
  it.each(['sensor-open', 'sensor-short'] as const)('drops it and condemns nothing when there is a %s', async kind => {
    const { bench, state, drops, grades } = await night(scenarioHealthyRack(2, 42, { staleFraction: 0 }),
      { instruments: { thermometer: [{ kind, value: 2, fromMs }] } })
    expect(state).toBe('done')
    expect(drops).toHaveLength(1)
    expect(grades.get('P02')).toBe('cannot tell/retest')
    expect(grades.get('P01')).not.toMatch(/^(cannot tell|reject)/)
    expect(bench.sim.wiring.part(1)!.terminalV(bench.sim.nowMs / 1000)).toBeLessThan(60)
  })
  it('condemns one that overheats in the soak, behind a current that alone tells nothing', async () => {
    const { state, drops, grades } = await night(pair(43, 'overheating', { atFraction: 0.97, afterS: 300, toOhm: 110e3 }), {},
      { ...quick, targetV: 450, fineStepShare: 0.25, soakS: 7200 })
    expect(state).toBe('done')
    expect(drops.join()).toMatch(/^P02.*too hot/)
    expect(grades.get('P02')).toBe('reject/replace')
  })
  it('lets one rest that takes more charge than one night allows, and does not condemn it: it was on its way', async () => {
    const { bench, drops, grades, reasons } = await night({ ...pair(44, 'very-stale'), cadence: slow }, {}, { soakS: 60, watchS: 60 })
    expect(drops.join()).toMatch(/P02.*C at most/)
    expect(grades.get('P02')).toBe('cannot tell/form')
    expect(reasons.get('P02')).toMatch(/C at most/)
    expect(bench.sim.wiring.part(1)!.chargeInC(bench.sim.nowMs / 1000)).toBeLessThan(1.05 * chargeBudgetC(47e-6, 450))
  })
})

describe('a sound rack', () => {
  it.each([45, 46, 47])('%i goes through its night with no trip and no drop, up to rated voltage', async seed => {
    const { state, trips, drops } = await night(scenarioHealthyRack(3, seed, { staleFraction: 0 }), {},
      { ...quick, targetV: 450, slewVPerS: 1 })
    expect([state, trips, drops]).toEqual(['done', [], []])
  })
  it('keeps what the supply reads beside what the bus meter reads', async () => {
    const { bench } = await night(scenarioHealthyRack(2, 49, { staleFraction: 0 }), {})
    const [run] = await bench.store.listRuns(1)
    const channel = (await bench.store.channels(run!.id)).find(({ name }) => name === 'supply.voltage')!
    expect((await bench.store.series(run!.id, channel.index)).atMs.length).toBeGreaterThan(20)
  })
})
