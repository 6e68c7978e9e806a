import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { serveBench, type ServedBench } from '../../mocks/bench/serve-bench.ts'
import { openBench, type OpenBench } from '../../src/app/open-bench.ts'
import { makeLog } from '../../src/base/log.ts'
import type { StartRequest } from '../../src/schema/run.ts'

let folder: string
let served: ServedBench
let opened: OpenBench

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'lasting-'))
  served = await serveBench({ seed: 5, scenario: scenarioHealthyRack(3, 5), wallStartMs: Date.UTC(2026, 0, 1) })
  const path = join(folder, 'bench.yaml')
  served.bench.switches.present = true
  writeFileSync(path, JSON.stringify(served.benchFile))
  opened = await openBench(path, folder, makeLog('silent'))
})
afterEach(async () => {
  await opened.close()
  served.close()
  rmSync(folder, { recursive: true, force: true })
})

const request = (sequence: string): StartRequest => ({
  sequence, parameters: {}, use: 'unattended', person: 'night watch', cautionsConfirmed: true, polarityConfirmed: true,
  parts: served.bench.scenario.parts.map(({ position, id }) =>
    ({ position, part: id, profile: 'al-450v-47u-general', note: '', condition: 'sound' })),
})
const until = (holds: () => boolean): Promise<void> => new Promise(resolve => {
  const done = opened.daemon.subscribe(() => { if (holds()) { done(); resolve() } })
})
const gone = (): Promise<string> => new Promise(resolve => {
  opened.keeper.onEvent(event => { if (event.type === 'gone') resolve(event.why) })
})
const madeSafe = (): Promise<string> => new Promise(resolve => {
  opened.keeper.onEvent(event => { if (event.type === 'safe-off') resolve(event.report.reason) })
})
const logged = (): { what: string; reason?: string; pid?: number }[] =>
  readFileSync(join(folder, 'keeper.log'), 'utf8').trimEnd().split('\n')
    .map(line => JSON.parse(line) as { what: string; reason?: string })

describe.skipIf(process.platform !== 'linux')('a keeper that is killed (signals as Linux has them)', () => {
  it('is followed by one whose first act is safe-off, and the run is tripped and read back', async () => {
    const { daemon, keeper } = opened
    const run = await daemon.start(request('reform'))
    await until(() => (daemon.status().run?.busV ?? 0) > 50)
    const killedPid = keeper.pid
    process.kill(killedPid, 'SIGKILL')
    expect(await daemon.ended(run.id)).toMatchObject({ state: 'tripped' })
    expect(keeper.pid).not.toBe(killedPid)
    expect(keeper.mode()).toBe('safe')
    expect(served.bench.now().supplyCurrentA()).toBe(0)
    expect(served.bench.now().busV()).toBeLessThan(1)
    const log = logged()
    const second = log.findIndex(({ what, pid }) => what === 'start' && pid === keeper.pid)
    expect(log.slice(second).find(({ what }) => what === 'safe-off')!.reason)
      .toBe('a new keeper starts by making the bench safe')
    const off = (await daemon.store.events(run.id)).find(({ kind }) => kind === 'off')!
    expect(off.data!['verifiedMs']).toEqual(expect.any(Number))
  })

  it('lets nobody start until a person acknowledges, and then the same ports work again', async () => {
    const { daemon, keeper } = opened
    const safe = madeSafe()
    const why = gone()
    process.kill(keeper.pid, 'SIGKILL')
    expect(await why).toMatch(/SIGKILL|channel closed/)
    expect(keeper.mode()).toBe('gone')
    await expect(daemon.acknowledge('too early', 'night watch')).rejects.toMatchObject({ code: 'KEEPER_GONE' })
    expect(daemon.status().latched?.text).toContain('the keeper is gone')
    await safe
    await expect(daemon.start(request('discharge'))).rejects.toMatchObject({ code: 'TRIPPED' })
    await keeper.safeOff('waits for what is under way')
    await daemon.acknowledge('the keeper was killed by a test', 'night watch')
    const run = await daemon.start(request('discharge'))
    expect(await daemon.ended(run.id)).toMatchObject({ state: 'done' })
  })

  it('and is told to end in the same moment as the daemon: the bench is closed all the same, and off', async () => {
    const { daemon, keeper } = opened
    const run = await daemon.start(request('reform'))
    await until(() => (daemon.status().run?.busV ?? 0) > 50)
    process.kill(keeper.pid, 'SIGTERM')
    await daemon.stop('SIGTERM at the daemon')
    await opened.close()
    expect(served.bench.now().supplyCurrentA()).toBe(0)
    expect(served.bench.now().busV()).toBeLessThan(1)
    expect(await daemon.ended(run.id)).toMatchObject({ state: expect.stringMatching(/stopped|tripped/) as string })
    expect(() => process.kill(keeper.pid, 0)).toThrow('ESRCH')
  })

  it('is not replaced when the bench is closed', async () => {
    const { keeper } = opened
    const { pid } = keeper
    await opened.close()
    expect(keeper.pid).toBe(pid)
    expect(logged().filter(({ what }) => what === 'start')).toHaveLength(1)
  })
})
