import { spawn, type ChildProcess } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import { builtEntry } from '../../src/base/paths.ts'
import { forkKeeper, type Keeper, type KeeperEvent } from '../../src/keeper/client.ts'
import { lastEndOf } from '../../src/keeper/last.ts'
import { stopByKeeper } from '../../src/keeper/stop.ts'
import type { SafeOffTable } from '../../src/keeper/table.ts'
import { FakeInstrument } from './fake-instrument.ts'

const table: SafeOffTable = {
  phases: [{ gapMs: 0, steps: [
    { link: 'psu', step: { commands: ['OUTP OFF'], verify: { query: 'OUTP?', safe: [0] } } },
  ] }],
  refreshes: [{ link: 'psu', command: 'HOLD', everyMs: 20 }],
  energising: [{ link: 'psu', begins: 'OUTP ', but: ['OUTP OFF'] }],
}

/** A daemon of a few lines: forks the keeper, energises, arms, and beats until it dies. */
const daemonSource = `
  const { forkKeeper } = await import(process.env.CLIENT)
  const { RealClock } = await import(process.env.CLOCK)
  const clock = new RealClock()
  const { start, table, beatLimitMs } = JSON.parse(process.env.CONFIG)
  const keeper = await forkKeeper({ ...start, benchClock: clock, livenessClock: clock })
  await keeper.configure(table)
  await keeper.port('psu').query('OUTP?')
  await keeper.arm(table, beatLimitMs)
  await keeper.port('psu').write('OUTP ON')
  keeper.beat(true)
  setInterval(() => keeper.beat(true), 20)
  process.stdout.write(keeper.pid + '\\n')
`

let folder: string
let instrument: FakeInstrument
let url: string
let ends: (() => void)[]
const clock = new RealClock()

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'keeper-'))
  instrument = new FakeInstrument()
  url = await instrument.url()
  ends = []
})
afterEach(() => {
  for (const end of ends.reverse()) end()
  instrument.close()
  rmSync(folder, { recursive: true, force: true })
})

const startOf = () => ({
  links: [
    { name: 'psu', url, settings: { deadlineMs: 1000, frameBytesMax: 4096, errorQueue: null, quietMs: 5 } }
  ],
  dataFolder: folder, clock: { kind: 'real' as const },
})
const endProcess = (pid: number): void => {
  try { process.kill(pid, 'SIGKILL') } catch { /* it has ended */ }
}

async function startKeeper(): Promise<Keeper & { pid: number; events: KeeperEvent[] }> {
  const keeper = await forkKeeper({ ...startOf(), benchClock: clock, livenessClock: clock })
  const events: KeeperEvent[] = []
  keeper.onEvent(event => events.push(event))
  ends.push(() => endProcess(keeper.pid))
  return Object.assign(keeper, { events })
}
const eventOf = (keeper: Keeper, fits: (event: KeeperEvent) => boolean): Promise<KeeperEvent> =>
  new Promise(resolve => { keeper.onEvent(event => { if (fits(event)) resolve(event) }) })

async function startDaemon(beatLimitMs: number): Promise<ChildProcess> {
  const daemon = spawn(process.execPath, ['--input-type=module', '-e', daemonSource], {
    stdio: ['ignore', 'pipe', 'inherit'],
    env: { ...process.env, CONFIG: JSON.stringify({ start: startOf(), table, beatLimitMs }),
      CLIENT: pathToFileURL(
        builtEntry('src/keeper/client')
      ).href, CLOCK: pathToFileURL(builtEntry('src/base/clock')).href },
  })
  ends.push(() => daemon.kill('SIGKILL'))
  const pid = await new Promise<number>(resolve => daemon.stdout!.once('data', text => resolve(Number(text))))
  ends.push(() => endProcess(pid))
  return daemon
}
const logged = (): { what: string; reason?: string; links?: object[] }[] =>
  readFileSync(
    join(folder, 'keeper.log'), 'utf8'
  ).trimEnd().split('\n').map(line => JSON.parse(line) as { what: string })

describe.skipIf(process.platform !== 'linux')('the keeper process (signals as Linux has them)', () => {
  it('turns the supply off and writes it down when the daemon is killed', async () => {
    const daemon = await startDaemon(5000)
    expect(instrument.lines).toContain('OUTP ON')
    await instrument.heard('HOLD')
    expect(instrument.lines).not.toContain('OUTP OFF')
    daemon.kill('SIGKILL')
    await instrument.heard('OUTP OFF')
    await instrument.left()
    expect(logged().find(entry => entry.what === 'safe-off'))
      .toMatchObject({ reason: 'the daemon is gone', links: [{ link: 'psu', sent: true, verified: true }] })
    const offAt = instrument.lines.indexOf('OUTP OFF')
    expect(instrument.lines.slice(offAt)).not.toContain('HOLD')
  })

  it('leaves word of its last safe-off when it ends by itself, and none when it is killed', async () => {
    const daemon = await startDaemon(5000)
    expect(lastEndOf(folder)).toBeNull()
    daemon.kill('SIGKILL')
    await vi.waitFor(() => expect(lastEndOf(folder)?.safeOff).toMatchObject({
      reason: 'the daemon is gone', links: [{ link: 'psu', sent: true, verified: true }],
    }), { timeout: 5000 })
    endProcess((await startKeeper()).pid)
    expect(lastEndOf(folder)).toBeNull()
  })

  it('turns the supply off when the daemon stands still longer than the heartbeat limit', async () => {
    const daemon = await startDaemon(300)
    expect(instrument.lines).not.toContain('OUTP OFF')
    daemon.kill('SIGSTOP')
    await instrument.heard('OUTP OFF')
    await instrument.until(() => instrument.lines.includes('OUTP?'))
    daemon.kill('SIGKILL')
    await instrument.left()
    expect(
      logged().find(entry => entry.what === 'safe-off')!.reason
    ).toMatch(/^no fresh heartbeat for \d+ ms$/)
  })

  it('stops through its own socket at once while a query hangs, without the daemon\'s help', async () => {
    const keeper = await startKeeper()
    await keeper.port('psu').query('MEAS:VOLT?')
    await keeper.arm(table, 20_000)
    const hung = keeper.port('psu').query('SLOW?', { deadlineMs: 25_000 })
    const outcome = expect(hung).rejects.toMatchObject({ code: 'ABANDONED' })
    await instrument.heard('SLOW?')
    const startMs = clock.monotonicMs()
    const stopping = stopByKeeper(folder, 'smoke', { by: 'someone' })
    await instrument.heard('OUTP OFF')
    expect(clock.monotonicMs() - startMs).toBeLessThan(1000)
    expect(await stopping).toMatchObject(
      { reason: 'smoke (someone)', links: [{ sent: true, verified: true }] }
    )
    await outcome
    await expect(keeper.port('psu').write('OUTP ON')).rejects.toMatchObject({ code: 'TRIPPED' })
    await keeper.reset()
    await expect(keeper.port('psu').write('OUTP ON')).rejects.toMatchObject({ code: 'REFUSED' })
    await keeper.arm(table, 20_000)
    await keeper.port('psu').write('OUTP ON')
    await keeper.close()
  })

  it('tells its client when it is killed; a new one starts with a safe-off', async () => {
    const keeper = await startKeeper()
    await keeper.configure(table)
    const hung = keeper.port('psu').query('SLOW?', { deadlineMs: 25_000 })
    const outcome = expect(hung).rejects.toMatchObject({ code: 'KEEPER_GONE' })
    await instrument.heard('SLOW?')
    const gone = eventOf(keeper, event => event.type === 'gone')
    process.kill(keeper.pid, 'SIGKILL')
    await gone
    await outcome
    await expect(keeper.port('psu').write('OUTP ON')).rejects.toMatchObject({ code: 'KEEPER_GONE' })
    await expect(keeper.safeOff('x')).rejects.toMatchObject({ code: 'KEEPER_GONE' })
    expect(keeper.events.filter(event => event.type === 'gone')).toHaveLength(1)
    const next = await startKeeper()
    const made = eventOf(next, event => event.type === 'safe-off')
    await next.configure(table, true)
    await instrument.heard('OUTP OFF')
    await made
    expect(next.mode()).toBe('safe')
    await next.close()
  })

  it('is ended by its client when it stands still, for then it guards nothing', async () => {
    const keeper = await startKeeper()
    await keeper.port('psu').query('MEAS:VOLT?')
    await keeper.arm(table, 200)
    const gone = eventOf(keeper, event => event.type === 'gone')
    process.kill(keeper.pid, 'SIGSTOP')
    const beat = setInterval(() => keeper.beat(true), 20)
    await gone
    clearInterval(beat)
    expect(keeper.mode()).toBe('gone')
  })

  it('is of its own process group, so that a Ctrl-C at the daemon is the daemon\'s business', async () => {
    const keeper = await startKeeper()
    const groupOf = (pid: number): string => readFileSync(`/proc/${pid}/stat`, 'utf8').split(') ')[1]!.split(' ')[2]!
    expect(groupOf(keeper.pid)).toBe(String(keeper.pid))
    expect(groupOf(keeper.pid)).not.toBe(groupOf(process.pid))
  })

  it.each(['SIGTERM', 'SIGINT'] as const)('makes safe before it obeys a %s of its own', async name => {
    const keeper = await startKeeper()
    await keeper.configure(table)
    expect(await keeper.port('psu').query('MEAS:VOLT?')).toBe('1.5')
    const gone = eventOf(keeper, event => event.type === 'gone')
    process.kill(keeper.pid, name)
    await gone
    expect(instrument.lines).toContain('OUTP OFF')
    expect(logged().find(entry => entry.what === 'safe-off')?.reason).toContain(name)
  })

  it('closes without a safe-off while idle, and with one while armed', async () => {
    const idle = await startKeeper()
    await idle.configure(table)
    await idle.port('psu').query('MEAS:VOLT?')
    await idle.close()
    expect(instrument.lines).not.toContain('OUTP OFF')
    expect(idle.events).toEqual([])
    const armed = await startKeeper()
    await armed.port('psu').query('MEAS:VOLT?')
    await armed.arm(table, 20_000)
    await armed.close()
    expect(instrument.lines).toContain('OUTP OFF')
  })

  it('has nobody to ask where no keeper listens', async () => {
    await expect(stopByKeeper(folder, 'x')).rejects.toMatchObject({ code: 'KEEPER_GONE' })
  })
})
