import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
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
