import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { statusLines } from '../../src/cli/status-text.ts'
import type { BenchStatus } from '../../src/schema/application.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }

/** The status a minute into the night, and three seconds after `end` was done to it. */
async function around(end: (bench: Awaited<ReturnType<typeof virtualBench>>) => void): Promise<BenchStatus[]> {
  const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
  const seen: BenchStatus[] = []
  await bench.clock.run((async () => {
    const { id } = await bench.daemon.start({ ...bench.request, parameters: short })
    bench.clock.after(120_000, () => { seen.push(bench.daemon.status()); end(bench) })
    bench.clock.after(123_000, () => { seen.push(bench.daemon.status()) })
    await bench.daemon.ended(id)
  })())
  return seen
}

describe('the status of a run that has not energised anything yet', () => {
  it('has the energy off: there is nothing to bleed', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    const seen: BenchStatus[] = []
    await bench.clock.run((async () => {
      const { id } = await bench.daemon.start({ ...bench.request, parameters: short })
      seen.push(bench.daemon.status())
      bench.clock.after(20_000, () => { void bench.daemon.stop('enough') })
      await bench.daemon.ended(id)
    })())
    expect(seen[0]!.run!.stage).toBe('proving')
    expect(seen[0]!.energy).toBe('off')
  }, 60_000)
})

describe('the volts of a part that was found to be unmeasured', () => {
  it('are nobody\'s: what its path reads shows nothing of it', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    const seen: BenchStatus[] = []
    const look = (): void => { seen.push(bench.daemon.status()); bench.clock.after(1000, look) }
    await bench.clock.run((async () => {
      const { id } = await bench.daemon.start({ ...bench.request, parameters: short })
      bench.clock.after(600_000, () => { bench.sim.wiring.fault(0, { lead: 'open' }) })
      bench.clock.after(602_000, () => { void bench.daemon.stop('enough'); look() })
      await bench.daemon.ended(id)
    })())
    const found = seen.flatMap(({ run }) => run?.positions ?? []).filter(({ touch }) => touch.includes('UNMEASURED ('))
    expect(found.length).toBeGreaterThan(0)
    expect(new Set(found.map(({ volts }) => volts))).toEqual(new Set([null]))
  }, 60_000)
})

describe('the status after a run that left parts unmeasured', () => {
  it('names them and why, until a person acknowledges what they found', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    const seen: BenchStatus[] = []
    await bench.clock.run((async () => {
      const { id } = await bench.daemon.start({ ...bench.request, parameters: short })
      bench.clock.after(600_000, () => { bench.sim.wiring.fault(0, { lead: 'open' }) })
      bench.clock.after(602_000, () => { void bench.daemon.stop('enough') })
      await bench.daemon.ended(id)
      seen.push(bench.daemon.status())
      await bench.daemon.acknowledge('proved dead by hand: 0 V', 'Ida')
      seen.push(bench.daemon.status())
    })())
    const [after, acknowledged] = seen
    expect(after!.run).toBeNull()
    expect(after!.unsafe).toMatchObject([{ position: 'P01', part: 'R-01', touch: expect.stringMatching(/^NOT SAFE TO TOUCH: UNMEASURED/) as string }])
    expect(statusLines(after!).join('\n')).toMatch(/Not known to be safe to touch since run \S+:\n {2}P01 {2}R-01 {2}NOT SAFE TO TOUCH: UNMEASURED/)
    expect(acknowledged!.unsafe).toEqual([])
    expect(statusLines(acknowledged!).join()).not.toContain('Not known')
  }, 60_000)
})

describe('the status of a run that ends early', () => {
  it('says that it was stopped, by whom and when, and gives no time to go', async () => {
    const [before, after] = await around(bench => { void bench.daemon.stop('the cat is in the room') })
    expect(before!.run).toMatchObject({ ending: null, remainingS: expect.any(Number) as number })
    expect(after!.energy).toBe('bleeding')
    expect(after!.run).toMatchObject({
      remainingS: null,
      ending: { as: 'stopped', why: 'the cat is in the room', wallMs: before!.wallMs },
      positions: [{ endsWallMs: null }, { endsWallMs: null }],
    })
  }, 60_000)

  it('says what tripped it', async () => {
    const [, after] = await around(bench => { bench.sim.switches.coverClosed = false })
    expect(after!.run).toMatchObject({
      remainingS: null, ending: { as: 'tripped', why: expect.stringMatching(/cover/) as string },
    })
  }, 60_000)
})

describe('the leakage of a part in the status', () => {
  it('is read on the bus alone: what it sends through its bleeder is none', async () => {
    const [before, after] = await around(bench => { void bench.daemon.stop('enough') })
    expect(before!.run!.positions.map(({ leakageA }) => leakageA)).not.toContain(null)
    expect(after!.run!.positions.map(({ leakageA }) => leakageA)).toEqual([null, null])
  }, 60_000)
})
