/** The daemon in the foreground: makes the bench safe, then accepts work until it is told to end. */
import { randomUUID } from 'node:crypto'
import { RealClock } from '../base/clock.ts'
import { closeAll } from '../base/close-all.ts'
import type { Log, LogLevel } from '../base/log.ts'
import { makeLog } from '../base/log.ts'
import { removeDaemonNote, writeDaemonNote } from '../base/daemon-file.ts'
import { softwareVersion } from '../base/version.ts'
import { buildApi, listen } from '../api/build.ts'
import { openBench } from '../app/open-bench.ts'
import type { Application, BenchStatus } from '../schema/application.ts'
import type { ServeOptions } from './context.ts'
import { whenEnding } from './ending.ts'
import { serviceManager } from './service-manager.ts'

/**
 * Resolves with the exit code when a signal, or an error that nobody caught, ended it. Rejects when the bench
 * cannot be opened.
 */
export async function serve(options: ServeOptions): Promise<number> {
  const log = makeLog(options.log as LogLevel)
  const ending = whenEnding(process, log)
  // Whoever reads the first line may be gone, or the disk full that it goes to: that ends no daemon.
  options.out.removeAllListeners('error')
    .on('error', error => log.warn({ err: error }, 'the first line could not be written'))
  const opened = await openBench(options.bench, options.data, log)
  const { daemon } = opened
  daemon.subscribe(item => { if (item.type === 'event') log.info(
    { run: item.runId, kind: item.event.kind, position: item.event.position }, item.event.text
  ) })
  const views = await openViews(options, daemon, log).catch(async (error: unknown) => {
    await opened.close()
    throw error
  })
  const said = { ...views.at, bench: opened.bench.file.bench, interrupted: opened.interrupted }
  const manager = serviceManager({
    env: process.env, pid: process.pid, clock: new RealClock(), log,
    alive: () => isLookedAfter(daemon.status()),
  })
  manager.ready(inWords(said))
  options.out.write(options.json ? `${JSON.stringify(said)}\n` : `${inWords(said)}\n`)
  const { why, error } = await ending
  log.info({ why }, 'ending: safe-off first')
  manager.stopping()
  const failed = await bounded(closeAll([
    async () => { await daemon.stop(`${why} at the daemon`) },
    () => removeDaemonNote(options.data),
    () => opened.close(),
    () => views.close(),
    () => manager.end(),
  ]), log)
  if (failed !== null) log.error({ err: failed }, 'not everything could be closed')
  // What failed may keep the process from ending by itself.
  if (error !== null || failed !== null) process.exit(4)
  return daemon.status().latched ? 3 : 0
}

/** A safe-off with every link hung, and large parts followed down their bleeders, end within this. */
const closeMostMs = 600_000

/**
 * Null when all is closed, or what failed. Where something never closes (a simulated bench that is gone keeps
 * its time to itself) the process ends all the same: its keeper makes the bench safe by itself.
 */
async function bounded(closing: Promise<void>, log: Log): Promise<unknown> {
  const cancel = new RealClock().after(closeMostMs, () => {
    log.error(`not closed after ${closeMostMs / 1000} s: ending without`)
    process.exit(4)
  })
  const failed = await closing.then(() => null, (failure: unknown) => failure)
  cancel()
  return failed
}

/**
 * The keeper stays armed only while fresh readings are seen and judged; energy without that is not looked
 * after.
 */
export const isLookedAfter = ({ energy, keeper }: Pick<BenchStatus, 'energy' | 'keeper'>): boolean =>
  energy !== 'live' || keeper === 'armed'

interface Views { at: { url: string; elsewhere: string | null }; close(): Promise<void> }

/**
 * What is shown elsewhere has a listener of its own: nobody there is taken for somebody here, and a crowd
 * there shuts nobody out here.
 */
async function openViews(
  { port, remote, data }: ServeOptions, daemon: Application, log: Log
): Promise<Views> {
  const id = randomUUID()
  const here = buildApi(daemon, { software: softwareVersion, id, log })
  const apis = [here]
  const close = async (): Promise<void> => { await Promise.all(apis.map(async api => await api.close())) }
  try {
    const url = await listen(here, { port })
    let elsewhere: string | null = null
    if (remote !== null) {
      const { host, port: remotePort, tokenHash, tls, origin } = remote
      const api = buildApi(daemon, {
        software: softwareVersion, log, tls, view: { from: 'elsewhere', tokenHash, origin },
      })
      apis.push(api)
      elsewhere = await listen(api, { host, port: remotePort })
      log.warn({ url: elsewhere, proxy: origin }, 'the bench is shown beyond this computer')
    }
    writeDaemonNote(data, { url, pid: process.pid, id })
    return { at: { url, elsewhere }, close }
  } catch (error) {
    await close()
    throw error
  }
}

function inWords(
  { bench, url, elsewhere, interrupted }: Views['at'] & { bench: string; interrupted: string[] }
): string {
  const also = elsewhere === null ? '' : `, to look and stop at ${elsewhere}`
  const broken = interrupted.length > 0 ? `; interrupted: ${interrupted.join(', ')}` : ''
  return `${bench} at ${url}${also}; bench off and read back${broken}`
}
