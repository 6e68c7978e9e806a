/** What commands have to do with the world: given as one thing, so that tests can give another. */
import { createInterface } from 'node:readline'
import { RealClock, type Clock } from '../base/clock.ts'
import { dataFolderOf, readDaemonNote } from '../base/daemon-file.ts'
import { BenchError } from '../base/errors.ts'
import { isLoopback } from '../base/loopback.ts'
import type { HostFinding } from '../app/host-check.ts'
import type { KeeperEnd } from '../keeper/last.ts'
import type { PortEntry, ProbeAnswer, SafeOffReport } from '../schema/application.ts'
import { DaemonClient, type Daemon } from './client.ts'
import type { RemoteView } from './remote-view.ts'
import type { Output } from './screen.ts'

export interface ServeModule { serve(options: ServeOptions): Promise<number | void> }
export interface ServeOptions {
  bench: string; data: string; port: number; log: string
  /** What others see of the bench over the network; null for nothing. */
  remote: RemoteView | null
  out: NodeJS.WritableStream; json: boolean
}
export interface DemoModule { runDemo(options: DemoOptions): Promise<number> }
export const demoJobs: readonly string[] = ['forming', 'screening', 'unit']
export interface DemoOptions {
  /** One of `demoJobs`. */
  job: string
  seed: string; json: boolean; out: NodeJS.WritableStream; data?: string | undefined
}

export interface PortsModule {
  localPorts(benchPath: string | undefined, dataFolder: string, clock: Clock): {
    list(): Promise<PortEntry[]>; probe(url: string): Promise<ProbeAnswer>
  }
}

export interface HostModule {
  localHost(benchPath: string | undefined, dataFolder: string): Promise<HostFinding[]>
}

export interface CliContext {
  readonly out: Output
  readonly err: Output
  readonly env: Readonly<Record<string, string | undefined>>
  readonly user: string
  readonly clock: Clock
  /**
   * Calls for each line that is typed or piped in, until the returned function is called. Not there where the
   * input is a terminal and the output is none: a job in the background would be halted by reading.
   */
  readonly readLines?: (onLine: (text: string) => void) => () => void
  writeFile(path: string, pieces: AsyncIterable<string> | Iterable<string | Uint8Array>): Promise<number>
  stopByKeeper(dataFolder: string, reason: string): Promise<SafeOffReport>
  /** How the last keeper of a data folder ended; null where nothing tells. */
  lastEndOf(dataFolder: string): Promise<KeeperEnd | null>
  loadServe(): Promise<ServeModule>
  loadDemo(): Promise<DemoModule>
  loadPorts(): Promise<PortsModule>
  loadHost(): Promise<HostModule>
}

/** Options that every command has. */
export interface CommonOptions { json?: boolean; daemon?: string; data?: string }

export function realContext(user: string): CliContext {
  return {
    out: process.stdout, err: process.stderr, env: process.env, user, clock: new RealClock(),
    ...canRead(process.stdin, process.stdout) ? { readLines: onLine => linesOf(process.stdin, onLine) } : {},
    writeFile: async (path, pieces) => await (await import('./write-file.ts')).writeFile(path, pieces),
    stopByKeeper: async (folder, reason) =>
      await (await import('../keeper/stop.ts')).stopByKeeper(folder, reason),
    lastEndOf: async folder => (await import('../keeper/last.ts')).lastEndOf(folder),
    loadServe: async () => await load('./serve.ts') as ServeModule,
    loadDemo: async () => await load('./demo.ts') as DemoModule,
    loadPorts: async () => await import('../app/ports.ts'),
    loadHost: async () => await import('../app/local-host.ts'),
  }
}

interface MaybeTerminal { readonly isTTY?: boolean | undefined }

export const canRead = (input: MaybeTerminal, output: MaybeTerminal): boolean =>
  input.isTTY !== true || output.isTTY === true

/** Line after line of what comes in, until the returned function is called; then the rest is left unread. */
export function linesOf(input: NodeJS.ReadableStream, onLine: (text: string) => void): () => void {
  const lines = createInterface({ input })
  lines.on('line', onLine)
  return () => {
    lines.off('line', onLine)
    lines.close()
  }
}

/** Only the commands that need the bench itself load it; the others start at once. */
async function load(module: string): Promise<unknown> { return await import(module) }

/** The daemon that a command is for: one at an address, or the one of a data folder. Never both. */
export type Asked = { readonly url: string; readonly folder: null } | { readonly folder: string }

/** By --daemon, --data, NIGHTBENCH_DAEMON, or the usual data folder: what stands on the line comes first. */
export function askedDaemon({ env }: CliContext, { daemon, data }: CommonOptions): Asked {
  const url = daemon ?? (data === undefined ? env['NIGHTBENCH_DAEMON'] || undefined : undefined)
  return url === undefined ? { folder: dataFolderOf(data, env) } : { url, folder: null }
}

/** The daemon that is asked for. Throws DAEMON_GONE where none is noted, USAGE for what is no address. */
export function daemonOf(context: CliContext, options: CommonOptions): DaemonClient {
  const at = placeOf(askedDaemon(context, options))
  const token = context.env['NIGHTBENCH_TOKEN']
  if (token !== undefined && isInTheClear(at.url)) {
    throw new BenchError('USAGE', 'the token does not go over the network in the clear', {
      expected: 'https://…', got: at.url,
    })
  }
  return new DaemonClient({ ...at, token }, context.clock)
}

/** As `daemonOf`, for a stop: it needs no token, and one that may not go over this network stays here. */
export function daemonToStop(context: CliContext, asked: Asked): DaemonClient {
  const at = placeOf(asked)
  const token = isInTheClear(at.url) ? undefined : context.env['NIGHTBENCH_TOKEN']
  return new DaemonClient({ ...at, token }, context.clock)
}

function placeOf(asked: Asked): Pick<Daemon, 'url' | 'note'> {
  const note = asked.folder === null ? undefined : readDaemonNote(asked.folder)
  const url = asked.folder === null ? asked.url : note?.url
  if (url === undefined) throw new BenchError('DAEMON_GONE', `no daemon is noted in ${asked.folder}`)
  if (URL.canParse(url) && /^https?:$/.test(new URL(url).protocol)) return { url, note }
  throw new BenchError('USAGE', 'this is no address of a daemon', { expected: 'http://host:port', got: url })
}

function isInTheClear(url: string): boolean {
  const { protocol, hostname } = new URL(url)
  return protocol === 'http:' && !isLoopback(hostname)
}

export function print(output: Output, ...lines: readonly string[]): void {
  for (const line of lines) output.write(`${line}\n`)
}

export function printJson(output: Output, value: unknown): void {
  output.write(`${JSON.stringify(value, null, 2)}\n`)
}
