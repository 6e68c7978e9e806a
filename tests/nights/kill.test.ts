/** The daemon dies with the supply on, in real processes on pseudo terminals; the keeper needs it no more. */
import { type ChildProcess, type ChildProcessByStdio, spawn } from 'node:child_process'
import { once } from 'node:events'
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import type { Readable, Writable } from 'node:stream'
import { setTimeout as pause } from 'node:timers/promises'
import { afterEach, describe, expect, it, type TestContext } from 'vitest'
import { askControl } from '../../rounds/processes.ts'
import { builtEntry } from '../../src/base/paths.ts'
import { stopByKeeper } from '../../src/keeper/stop.ts'
import type { LoadedPart, StartRequest } from '../../src/schema/run.ts'

interface SimulatedBench {
  benchFile: object; controlUrl: string; parts: { position: string; part: string; profile: string }[]
}
interface BenchState { nowMs: number; supplyDriven: boolean; contactorClosed: boolean; relaysHeld: number }
type Control = (request: object) => Promise<unknown>
interface LiveNight { control: Control; daemon: ChildProcess; dataFolder: string }

const noTerminals = process.platform === 'linux' && existsSync('/dev/ptmx')
  ? null : 'this host has no pseudo terminals of the Linux kind'
const children: ChildProcess[] = []
const folders: string[] = []

afterEach(() => {
  for (const child of children.splice(0)) { child.kill('SIGCONT'); child.kill('SIGKILL') }
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true, maxRetries: 5 })
})

describe('a daemon that dies while the supply is on', () => {
  it('leaves a bench that its keeper makes safe within 3 s of kill -9', async context => {
    const night = await liveNight(context)
    const killedMs = (await stateOf(night)).nowMs
    night.daemon.kill('SIGKILL')
    const state = await until('the bench off', 10_000, () => stateOf(night), dead)
    expect(state.relaysHeld).toBe(0)
    for (const [instrument, what] of [['psu', 'output'], ['cutoff', 'contact']]) {
      const last = await night.control({ do: 'last', instrument, what }) as { atMs: number; value: unknown }
      expect(last.atMs - killedMs, `${instrument} ${what}`).toBeGreaterThan(0)
      expect(last.atMs - killedMs, `${instrument} ${what}`).toBeLessThan(3000)
    }
  }, 90_000)

  it('can be stopped through its keeper while it stands still', async context => {
    const night = await liveNight(context)
    night.daemon.kill('SIGSTOP')
    // At once: the heartbeat has not been missed yet, so it is this stop that does it.
    const report = await stopByKeeper(night.dataFolder, 'smell of burning', { by: 'test' })
    expect(report.reason).toContain('smell of burning')
    expect(report.links.map(({ link }) => link).sort()).toEqual(['cutoff', 'psu', 'relays'])
    for (const link of report.links) expect(link, link.link).toMatchObject({ sent: true, verified: true })
    expect(await stateOf(night)).toSatisfy(dead)
  }, 90_000)

  it('finds out by itself when the daemon stands still, for its heartbeat is late', async context => {
    const night = await liveNight(context)
    const stoppedMs = (await stateOf(night)).nowMs
    night.daemon.kill('SIGSTOP')
    await until('the bench off', 10_000, () => stateOf(night), dead)
    const last = await night.control({ do: 'last', instrument: 'psu', what: 'output' }) as { atMs: number }
    expect(last.atMs - stoppedMs).toBeLessThan(3000)
  }, 90_000)
})

const alive = (state: BenchState): boolean => state.supplyDriven && state.contactorClosed
const dead = (state: BenchState): boolean => !state.supplyDriven && !state.contactorClosed

/** A simulated bench, a daemon on it, and a reform that has just put the supply on. */
async function liveNight(context: TestContext): Promise<LiveNight> {
  if (noTerminals !== null) context.skip(noTerminals)
  const dataFolder = mkdtempSync(join(tmpdir(), 'kill-'))
  folders.push(dataFolder)
  const bench = start('mocks/main', ['--realtime', '--serial', '--present', '--scenario', 'rack-3'])
  const { benchFile, controlUrl, parts } = await firstLine<SimulatedBench>(bench)
  const benchPath = join(dataFolder, 'bench.json')
  writeFileSync(benchPath, JSON.stringify(benchFile))
  const places = ['--bench', benchPath, '--data', dataFolder, '--port', '0']
  const daemon = start('src/main', ['serve', ...places, '--log', 'error', '--json'])
  const { url } = await firstLine<{ url: string }>(daemon)
  const control = (request: object): Promise<unknown> => askControl(controlUrl, request)
  const night = { control, daemon, dataFolder }
  expect(await stateOf(night)).toSatisfy(dead)
  await startReform(url, parts)
  await until('the supply on', 40_000, () => stateOf(night), alive)
  return night
}

const stateOf = async ({ control }: Pick<LiveNight, 'control'>): Promise<BenchState> =>
  await control({ do: 'state' }) as BenchState

async function startReform(url: string, parts: SimulatedBench['parts']): Promise<void> {
  const loaded = parts.map((part): LoadedPart => ({ ...part, note: '', condition: 'sound' }))
  const request: StartRequest = {
    sequence: 'reform', parameters: {}, parts: loaded, use: 'unattended', person: 'night watch',
    cautionsConfirmed: true, polarityConfirmed: true,
  }
  const answer = await fetch(`${url}/api/v1/runs`, {
    method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(request),
  })
  expect(answer.status, await answer.text()).toBe(202)
}

type Child = ChildProcessByStdio<Writable, Readable, null>

function start(entry: string, options: string[]): Child {
  const command = [builtEntry(entry), ...options]
  const child = spawn(process.execPath, command, { stdio: ['pipe', 'pipe', 'inherit'] })
  children.push(child)
  return child
}

async function firstLine<T>(child: Child): Promise<T> {
  const lines = createInterface({ input: child.stdout })
  const ended = once(child, 'exit').then(([code]) => {
    throw new Error(`it ended with ${String(code)} and said nothing`)
  })
  const [line] = await Promise.race([once(lines, 'line'), ended])
  ended.catch(() => {})
  return JSON.parse(String(line)) as T
}

/** Asks until the answer is as wanted; fails after `limitMs` with the last answer. */
async function until<T>(
  what: string, limitMs: number, look: () => Promise<T>, wanted: (seen: T) => boolean,
): Promise<T> {
  const limit = AbortSignal.timeout(limitMs)
  for (;;) {
    const seen = await look()
    if (wanted(seen)) return seen
    if (limit.aborted) throw new Error(`not seen within ${limitMs} ms: ${what}; last ${JSON.stringify(seen)}`)
    await pause(20)
  }
}
