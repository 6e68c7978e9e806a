/** The processes of one round: a simulated bench in real time, and a daemon with its keeper. */
import { spawn, type ChildProcess, type ChildProcessByStdio } from 'node:child_process'
import { once } from 'node:events'
import { readFileSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import type { Readable, Writable } from 'node:stream'
import { setTimeout as pause } from 'node:timers/promises'
import { pathToFileURL } from 'node:url'
import { builtEntry } from '../src/base/paths.ts'

export interface BenchState { atMs: number; supplyDriven: boolean; contactorClosed: boolean }
export interface Effect { atMs: number; what: string; value: number }

export interface LiveBench {
  readonly benchPath: string
  readonly parts: { position: string; part: string; profile: string }[]
  /** Add to this process's `performance.now()` to get the bench's own time, ms. */
  readonly offsetMs: number
  state(): Promise<BenchState>
  /** Changes at the terminals of an instrument, by the bench's own time. */
  effects(instrument: string, what: string): Promise<Effect[]>
  ask(request: object): Promise<unknown>
  close(): Promise<void>
}

export interface LiveDaemon {
  readonly url: string
  /** Runs that it found as running, and marked. */
  readonly interrupted: string[]
  readonly process: ChildProcess
  /** The keeper that lives now. */
  keeperPid(): number
  /** Ends daemon and keeper the hard way, and returns when both are gone. */
  end(): Promise<void>
}

type Child = ChildProcessByStdio<Writable, Readable, null>

/** As a bench usually has it, but for quick sweeps while nothing happens: arming waits for one of them. */
const cadence = { busMs: 200, busQuietMs: 1000, sweepMs: 1000, sweepQuietMs: 1500 }

/** Starts a simulated bench on TCP, or with supply, relays and cutoff on pseudo terminals. */
export async function startBench(folder: string, serial: boolean, seed: number): Promise<LiveBench> {
  const child = start([builtEntry('mocks/main'), '--realtime', '--present', '--scenario', 'rack-2',
    '--seed', String(seed), ...serial ? ['--serial'] : []])
  const said = await firstLine<{ benchFile: object; controlUrl: string; parts: LiveBench['parts'] }>(child)
  const benchPath = join(folder, `bench-${seed}-${serial ? 'pty' : 'tcp'}.json`)
  writeFileSync(benchPath, JSON.stringify({ ...said.benchFile, cadence }))
  const ask = (request: object): Promise<unknown> => askControl(said.controlUrl, request)
  const state = async (): Promise<BenchState> => await ask({ do: 'state' }) as BenchState
  return {
    benchPath, parts: said.parts, ask, state, offsetMs: await offsetOf(state),
    effects: async (instrument, what) => await ask({ do: 'effects', instrument, what }) as Effect[],
    close: () => ended(child),
  }
}

/** The shortest of some questions shows best how the two clocks stand to each other. */
async function offsetOf(state: LiveBench['state']): Promise<number> {
  let best = { tripMs: Infinity, offsetMs: 0 }
  for (let i = 0; i < 20; i++) {
    const sentMs = performance.now()
    const { atMs } = await state()
    const tripMs = performance.now() - sentMs
    if (tripMs < best.tripMs) best = { tripMs, offsetMs: atMs - (sentMs + tripMs / 2) }
  }
  return best.offsetMs
}

/** Starts a daemon; resolves when it has made the bench safe and takes requests. */
export async function startDaemon(
  benchPath: string, dataFolder: string, runtimeFolder: string,
): Promise<LiveDaemon> {
  const child = start(['--import', pathToFileURL(builtEntry('rounds/blocker')).href, builtEntry('src/main'),
    'serve', '--bench', benchPath, '--data', dataFolder, '--port', '0', '--log', 'fatal', '--json'],
  { XDG_RUNTIME_DIR: runtimeFolder })
  const { url, interrupted } = await firstLine<{ url: string; interrupted: string[] }>(child)
  const keeperPid = (): number => newestKeeper(join(dataFolder, 'keeper.log'))
  const end = async (): Promise<void> => {
    child.kill('SIGCONT')
    await ended(child)
    await goneOrKilled(keeperPid())
  }
  return { url, interrupted, process: child, keeperPid, end }
}

/** The last process that wrote its start into the keeper's log. */
function newestKeeper(logPath: string): number {
  const starts = readFileSync(logPath, 'utf8').split('\n').filter(line => line.includes('"what":"start"'))
  return (JSON.parse(starts.at(-1)!) as { pid: number }).pid
}

/** A keeper whose daemon is gone ends by itself; one that was stopped cannot. */
async function goneOrKilled(pid: number): Promise<void> {
  signal(pid, 'SIGCONT')
  for (let i = 0; i < 300 && signal(pid, 0); i++) await pause(20)
  signal(pid, 'SIGKILL')
}

/** False when there is no such process any more. */
export function signal(pid: number, name: NodeJS.Signals | 0): boolean {
  try { return process.kill(pid, name) } catch { return false }
}

function start(command: string[], environment: Record<string, string> = {}): Child {
  return spawn(process.execPath, command,
    { stdio: ['pipe', 'pipe', 'inherit'], env: { ...process.env, ...environment } })
}

async function ended(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return
  const gone = once(child, 'exit')
  child.kill('SIGKILL')
  await gone
}

async function firstLine<T>(child: Child): Promise<T> {
  const lines = createInterface({ input: child.stdout })
  const gone = once(child, 'exit').then(([code]) => {
    throw new Error(`a process ended with ${String(code)} and said nothing`)
  })
  const [line] = await Promise.race([once(lines, 'line'), gone])
  gone.catch(() => {})
  return JSON.parse(String(line)) as T
}

/** One request to the bench's control socket, on a connection of its own. */
export function askControl(url: string, request: object): Promise<unknown> {
  return new Promise((resolve, reject) => {
    const socket = connect({ port: Number(new URL(url).port), host: '127.0.0.1', noDelay: true })
    socket.on('error', reject)
    socket.on('close', () => reject(new Error('the simulated bench went away')))
    // The reader of lines passes on what befalls its socket, and throws it where nobody listens.
    createInterface({ input: socket }).on('error', reject).once('line', line => {
      const answer = JSON.parse(line) as { ok?: unknown; error?: string }
      if (answer.error === undefined) resolve(answer.ok)
      else reject(new Error(answer.error))
      socket.destroy()
    })
    socket.write(`${JSON.stringify(request)}\n`)
  })
}
