/** A record that is lost, or an older one in its place, is found at the next start: nobody knows what was left charged. */
import { copyFileSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { RunMark } from '../../src/store/run-mark.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }
let folder = ''
const record = (): string => join(folder, 'record.db')
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'lost-record-')) })
afterEach(() => { rmSync(folder, { recursive: true, force: true }) })

type Bench = Awaited<ReturnType<typeof virtualBench>>
const started = (): Promise<Bench> => virtualBench(scenarioHealthyRack(2, 11), 11, { storePath: record() })
const closed = (bench: Bench): Promise<void> => bench.clock.run(bench.daemon.close())
const loseRecord = (): void => { for (const end of ['', '-wal', '-shm']) rmSync(record() + end, { force: true }) }

/** One night that a person stops after two minutes; its id. */
async function stopped(bench: Bench): Promise<string> {
  return await bench.clock.run((async () => {
    const { id } = await bench.daemon.start({ ...bench.request, parameters: short })
    bench.clock.after(120_000, () => { void bench.daemon.stop('smoke') })
    await bench.daemon.ended(id)
    await bench.daemon.acknowledge('looked at it', 'Ada')
    return id
  })())
}

describe('a record that is lost between two runs', () => {
  it.each(['removed', 'an older one'])('(%s) latches the bench until a person has proved it dead, once', async how => {
    const first = await started()
    if (how === 'an older one') await stopped(first)
    await closed(first)
    copyFileSync(record(), join(folder, 'older.db'))
    const second = await started()
    const id = await stopped(second)
    await closed(second)
    loseRecord()
    if (how === 'an older one') copyFileSync(join(folder, 'older.db'), record())
    const third = await started()
    expect(third.daemon.status().latched?.text).toContain(`the record has lost run ${id}`)
    await expect(third.night({ parameters: short })).rejects.toThrow(/not acknowledged/)
    expect(third.sim.instruments.psu.core.driven).toBe(false)
    await third.clock.run(third.daemon.acknowledge('proved dead by hand', 'Ada'))
    await closed(third)
    const fourth = await started()
    expect(fourth.daemon.status().latched?.text ?? '').not.toContain('lost')
    await closed(fourth)
  }, 120_000)

  it('latches nothing where it is whole, or where no run began', async () => {
    await closed(await started())
    const second = await started()
    expect(second.daemon.status().latched).toBeNull()
    await stopped(second)
    await closed(second)
    const third = await started()
    expect(third.daemon.status().latched).toBeNull()
    await closed(third)
  }, 120_000)
})

describe('the mark of the run that began last', () => {
  it('that cannot be written refuses the run, with nothing energised', async () => {
    const bench = await started()
    mkdirSync(join(folder, 'last-run.json.new'))
    await expect(bench.night({ parameters: short })).rejects.toMatchObject({ code: 'STORE' })
    const [run] = await bench.store.listRuns(1)
    expect(run!.state).toBe('refused')
    expect(bench.sim.audit().busMaxV).toBe(0)
    await closed(bench)
  }, 60_000)

  it('tells nothing where it is damaged, or no plain file', () => {
    for (const text of ['', '{', '{"run":7}', '{"run":"x","more":1}']) {
      writeFileSync(join(folder, 'last-run.json'), text)
      expect(new RunMark(folder).run).toBeNull()
    }
    rmSync(join(folder, 'last-run.json'))
    mkdirSync(join(folder, 'last-run.json'))
    expect(new RunMark(folder).run).toBeNull()
  })
})
