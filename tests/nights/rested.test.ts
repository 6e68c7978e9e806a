import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from './virtual-bench.ts'

const short = { minStepS: 60, soakS: 300, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }

describe('the second formal reading', () => {
  it('closes a provisional grade after a rest', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 21, { staleFraction: 0 }), 21)
    const first = await bench.night({ parameters: short })
    const provisional = await bench.store.results(first.id)
    expect(provisional.map(({ grade, provisional: open }) => [grade, open])).toEqual([['accept', true], ['accept', true]])
    expect(bench.daemon.status().keeper).toBe('idle')
    await expect(bench.night({ sequence: 'leakage-soak' }), 'at once').rejects.toThrow(/P01: rest of R-01.*at least 12\.0 h/)
    await bench.clock.advance(24 * 3600e3)
    expect(bench.daemon.status().keeper, 'a day later').toBe('idle')
    const second = await bench.night({ sequence: 'leakage-soak', parameters: { soakS: 60, watchS: 60 } })
    expect(second.state, JSON.stringify((await bench.store.events(second.id)).map(e => e.text).slice(-14))).toBe('done')
    const closed = await bench.store.results(second.id)
    expect(closed.map(({ grade, provisional: open }) => [grade, open])).toEqual([['accept', false], ['accept', false]])
    expect((await bench.store.partHistory('R-01')).map(({ run }) => run.sequence)).toEqual(['leakage-soak', 'reform'])
    await bench.clock.advance(48 * 3600e3)
    const third = await bench.daemon.plan({ ...bench.request, sequence: 'leakage-soak' })
    expect(third.refusals).toEqual([])
    expect(third.warnings.filter(text => /^Rested longer .*R-01 \(7\d\.\d h\), R-02/.test(text)), 'three days after forming').toHaveLength(1)
  }, 120_000)

  it('measures without energy: capacitor-check and discharge never switch the supply on', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 22, { staleFraction: 0 }), 22)
    for (const sequence of ['capacitor-check', 'discharge']) {
      const run = await bench.night({ sequence, parameters: sequence === 'discharge' ? { watchS: 60 } : {} })
      expect(run.state, sequence).toBe('done')
    }
    expect(bench.sim.audit().busMaxV).toBeLessThan(0.1)
    const [check] = (await bench.store.listRuns(5)).filter(({ sequence }) => sequence === 'capacitor-check')
    const results = await bench.store.results(check!.id)
    expect(results.every(({ figures }) => Math.abs(figures['capacitanceF']! / 47e-6 - 1) < 0.3)).toBe(true)
  }, 120_000)
})

describe('a plan', () => {
  it('of a closing reading says of which parts no forming is on record', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 25), 25)
    const plan = await bench.daemon.plan({ ...bench.request, sequence: 'leakage-soak' })
    expect(plan.refusals).toEqual([])
    expect(plan.warnings).toContainEqual(expect.stringMatching(/^No forming on record: R-01, R-02\./))
  })

  it('refuses a bulging part, naming it, and touches nothing', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 23), 23)
    const parts = bench.request.parts.map((part, i) => i === 0 ? { ...part, condition: 'bulging' as const } : part)
    await expect(bench.night({ parts })).rejects.toThrow(/P01.*bulging/)
    expect(bench.sim.audit().busMaxV).toBe(0)
  })
  it('refuses mixed rated voltages with both numbers and the way out', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 24), 24)
    const parts = bench.request.parts.map((part, i) => i === 0 ? { ...part, profile: 'al-350v-100u-general' } : part)
    await expect(bench.night({ parts })).rejects.toThrow(/350 V \(P01\), 450 V \(P02\)/)
  })
})
