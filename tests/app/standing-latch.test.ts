/** A trip or a stop stands until a person acknowledges it: a restart of the daemon is no acknowledgement. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }
let folder = ''
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'standing-')) })
afterEach(() => { rmSync(folder, { recursive: true, force: true }) })

type Bench = Awaited<ReturnType<typeof virtualBench>>
/** A daemon on the same record; its clock begins anew, before the runs that are on record ended. */
const restarted = (): Promise<Bench> => virtualBench(scenarioHealthyRack(2, 11), 11, { storePath: join(folder, 'record.db') })
const closed = (bench: Bench): Promise<void> => bench.clock.run(bench.daemon.close())

async function ends(bench: Bench, how: (bench: Bench) => void): Promise<string> {
  return await bench.clock.run((async () => {
    const { id } = await bench.daemon.start({ ...bench.request, parameters: short })
    bench.clock.after(120_000, () => how(bench))
    return (await bench.daemon.ended(id)).state
  })())
}

describe.each([
  ['tripped', (bench: Bench) => { bench.sim.switches.coverClosed = false }, /tripped: .*cover/],
  ['stopped', (bench: Bench) => { void bench.daemon.stop('smoke') }, /stopped: .*smoke/],
] as const)('a run that was %s', (state, how, words) => {
  it('keeps the bench latched over a restart, and energy withheld, until it is acknowledged once', async () => {
    const first = await restarted()
    expect(await ends(first, how)).toBe(state)
    await closed(first)
    const second = await restarted()
    expect(second.daemon.status().latched?.text).toMatch(words)
    await expect(second.night({ parameters: short })).rejects.toThrow(/not acknowledged/)
    expect(second.sim.instruments.psu.core.driven).toBe(false)
    await second.clock.run(second.daemon.acknowledge('looked at it', 'Ada'))
    await closed(second)
    const third = await restarted()
    expect(third.daemon.status().latched).toBeNull()
    expect((await third.night({ parameters: short })).state).toBe('done')
    await closed(third)
  }, 120_000)
})

describe('a clock that went back between two runs', () => {
  it('hides nothing: the run that was recorded last is the last one', async () => {
    const first = await restarted()
    first.clock.stepWall(30 * 86_400_000)
    expect((await first.night({ parameters: short })).state).toBe('done')
    await closed(first)
    const second = await restarted()
    expect(await ends(second, bench => { bench.sim.switches.coverClosed = false })).toBe('tripped')
    await closed(second)
    const third = await restarted()
    expect(third.daemon.status().latched?.text).toMatch(/cover/)
    await closed(third)
  }, 120_000)
})
