/** The least bench there is: one supply, one meter, a few resistors, and a person who stays. */
import { describe, expect, it } from 'vitest'
import type { MakeOptions, PartKind } from '../../mocks/parts/make-part.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { verdicts } from '../../mocks/bench/scenario.ts'
import type { Scenario } from '../../mocks/bench/scenario.ts'
import { virtualBench } from './virtual-bench.ts'
import type { VirtualBench } from './virtual-bench.ts'

const quick = { soakS: 600, minStepS: 120, maxStepS: 3600, stallAfterS: 1800, watchS: 60, slewVPerS: 5, stepShare: 0.25 }

function one(kind: PartKind, seed: number, options: MakeOptions = {}): Scenario {
  const rack = scenarioHealthyRack(1, seed)
  return { ...rack, single: true, parts: rack.parts.map(part => ({ ...part, kind, options, ...verdicts[kind] })) }
}

/** Somebody looks in every five minutes. */
async function attended(bench: VirtualBench, parameters = {}) {
  const shown = (): void => { void bench.daemon.confirmPresence('K. Marsh').catch(() => {}); bench.clock.after(300_000, shown) }
  bench.clock.after(1000, shown)
  return await bench.night({ use: 'attended', parameters: { ...quick, ...parameters } })
}

describe('a single part on one supply and one meter', () => {
  it.each([1, 2, 3])('seed %i: forms, reads, bleeds over the bus and grades a sound part', async seed => {
    const bench = await virtualBench(one('healthy', seed), seed)
    const run = await attended(bench)
    const [result] = await bench.store.results(run.id)
    expect(run.state).toBe('done')
    expect(result).toMatchObject({ grade: 'accept', disposition: 'use' })
    expect(bench.sim.now().partV(0)).toBeLessThan(60)
    const words = (await bench.store.events(run.id)).filter(({ kind }) => kind === 'touch').map(({ text }) => text)
    expect(words.join()).toMatch(/measured below/)
  })

  it('condemns a leaky one, and takes it off the supply when it does', async () => {
    const bench = await virtualBench(one('hopeless-leaky', 4), 4)
    const run = await attended(bench)
    const [result] = await bench.store.results(run.id)
    expect(result).toMatchObject({ grade: 'reject', disposition: 'replace' })
    expect(bench.sim.now().supplyOutputV()).toBeLessThan(1)
    expect(bench.sim.now().partV(0)).toBeLessThan(60)
  })

  it('goes off when nobody shows presence', async () => {
    const bench = await virtualBench(one('healthy', 5), 5)
    const run = await bench.night({ use: 'attended', parameters: quick })
    expect(run.state).toBe('tripped')
    expect(bench.sim.now().supplyOutputV()).toBeLessThan(1)
  })

  it('is refused unattended, with what it lacks', async () => {
    const bench = await virtualBench(one('healthy', 6), 6)
    await expect(bench.night({ use: 'unattended', parameters: quick })).rejects.toThrow(/attended.*cutoff/s)
    expect(bench.sim.audit().busMaxV).toBe(0)
  })

  it('never says that the bus is dead while nothing bleeds it', async () => {
    const bench = await virtualBench(one('healthy', 8), 8)
    bench.sim.sharedFault({ kind: 'bus-bleeder-open', fromMs: 2_000_000 })
    const run = await attended(bench)
    expect(bench.sim.now().busV()).toBeGreaterThan(60)
    const off = (await bench.store.events(run.id)).filter(({ kind }) => kind === 'off').map(({ text }) => text)
    expect(off.join()).toMatch(/NOT SAFE TO TOUCH: the bus is UNMEASURED/)
    expect(off.join()).not.toMatch(/dead/)
  })

  it('never says dead of a part whose lead is off', async () => {
    const bench = await virtualBench(one('healthy', 7), 7)
    bench.sim.fixtureFault({ position: 'P01', kind: 'lead-open', fromMs: 2_000_000 })
    const run = await attended(bench)
    const [result] = await bench.store.results(run.id)
    expect(result?.grade).toBe('cannot tell')
    const last = (await bench.store.events(run.id)).filter(({ kind }) => kind === 'touch').at(-1)
    expect(last?.text).toMatch(/UNMEASURED/)
  })
})
