import { describe, expect, it } from 'vitest'
import type { BenchFaults } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from './virtual-bench.ts'

const quick = { soakS: 60, minStepS: 60, maxStepS: 600, stallAfterS: 600, watchS: 60, targetV: 150, slewVPerS: 5, stepShare: 0.25 }
const fromMs = 300_000

const faults: [name: string, faults: BenchFaults][] = [
  ['the sense meter falls silent', { instruments: { 'sense-dmm': [{ kind: 'silent', fromMs }] } }],
  ['the bus meter answers garbage', { instruments: { 'bus-dmm': [{ kind: 'garbage', fromMs }] } }],
  ['the supply loses its power for a moment', { instruments: { psu: [{ kind: 'power-cycle', fromMs }] } }],
  ['the supply runs away', { instruments: { psu: [{ kind: 'output-runaway', value: 300, fromMs }] } }],
]

describe('a night with one fault', () => {
  it.each(faults)('%s: tripped, off, and on record', async (_name, broken) => {
    const bench = await virtualBench(scenarioHealthyRack(2, 5), 5, { faults: broken })
    const run = await bench.night({ parameters: quick })
    expect(run.state).toBe('tripped')
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect(bench.sim.now().busV()).toBeLessThan(60)
    expect((await bench.store.series(run.id, 0)).atMs.length).toBeGreaterThan(50)
    expect((await bench.store.events(run.id)).some(({ kind }) => kind === 'trip')).toBe(true)
  })
})

describe('a night that may not begin', () => {
  it('is refused when another supply answers, and nothing was energised', async () => {
    const swapped: BenchFaults = { instruments: { psu: [{ kind: 'swapped-identity', value: 'A,B,C,D' }] } }
    const bench = await virtualBench(scenarioHealthyRack(2, 5), 5, { faults: swapped })
    const run = await bench.night({ parameters: quick })
    expect(run.state).toBe('refused')
    expect(bench.sim.audit().busMaxV).toBe(0)
  })
})

describe('a store that fails', () => {
  it('trips the night and leaves the bench off', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 5), 5)
    bench.clock.after(fromMs, () => { bench.store.appendReadings = () => Promise.reject(new Error('disk full')) })
    const run = await bench.night({ parameters: quick })
    expect(run.state).toBe('tripped')
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect(bench.sim.now().busV()).toBeLessThan(60)
  })
})
