/**
 * Opens a real bench (or one simulated as a whole): lock, clocks, store, keeper process,
 * sessions, application.
 */
import { existsSync } from 'node:fs'
import { join, resolve } from 'node:path'
import type { Clock } from '../base/clock.ts'
import { RealClock } from '../base/clock.ts'
import { closeAll } from '../base/close-all.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import { LedClock } from '../base/led-clock.ts'
import type { Log } from '../base/log.ts'
import { softwareVersion } from '../base/version.ts'
import { forkKeeper } from '../keeper/client.ts'
import type { LinkSettings } from '../keeper/protocol.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { SessionOptions } from '../scpi/options.ts'
import { shippedSequences } from '../sequences/index.ts'
import { RunMark } from '../store/run-mark.ts'
import { openWorkerStore } from '../store/remote.ts'
import { openTransport } from '../transport/open.ts'
import { compose, energyInstruments, optionsFor, type ComposedBench } from './compose.ts'
import { Daemon } from './daemon.ts'
import type { LoadedBench } from './files.ts'
import { loadBench, ProfileFolder } from './files.ts'
import { LastingKeeper } from './lasting-keeper.ts'
import { lockLinks } from './link-locks.ts'
import { loadOwnSequences } from './own-sequences.ts'
import { realInstrument } from './simulated.ts'
import { isSeenOff, notSeenOff, refuseSpoiled, takeDataFolder } from './start-safe.ts'

export interface OpenBench {
  daemon: Daemon
  bench: LoadedBench
  /** Its process may be replaced; `pid` is the one that lives. */
  keeper: LastingKeeper
  /** Runs that stood as running and are interrupted now. */
  interrupted: string[]
  close(): Promise<void>
}

/**
 * Rejects without having energised anything, with ENERGY_UNKNOWN where links that are nobody else's were not
 * seen off. Data folder and links have one owner at a time.
 */
export async function openBench(benchPath: string, dataFolder: string, log: Log): Promise<OpenBench> {
  const ownProfiles = join(dataFolder, 'profiles')
  const profiles = new ProfileFolder(existsSync(ownProfiles) ? ownProfiles : null)
  const bench = loadBench(benchPath, profiles)
  const { lock, spoiled } = takeDataFolder(dataFolder)
  const undo: (() => Promise<void> | void)[] = [() => lock?.release()]
  const close = (): Promise<void> => closeAll(undo.splice(0).reverse())
  let [ours, seenOff] = [false, false]
  try {
    const links = lockLinks(
      Object.values(bench.file.instruments).map(({ url }) => url), undefined, resolve(dataFolder))
    undo.push(() => links.release())
    ours = true
    const { clock, linkClock, ledUrl } = await clocks(bench, log, undo)
    const start = (): ReturnType<typeof forkKeeper> => forkKeeper({
      links: energyInstruments(bench).map(name => ({
        name, url: bench.file.instruments[name]!.url,
        settings: settingsOf(optionsFor(bench, name, clock, linkClock)),
      })),
      dataFolder: spoiled ? null : dataFolder,
      clock: ledUrl === null ? { kind: 'real' } : { kind: 'led', url: ledUrl },
      benchClock: clock, livenessClock: linkClock,
    })
    const keeper = await LastingKeeper.start({ start, benchClock: clock, livenessClock: linkClock, log })
    const closeKeeper = (): Promise<void> => keeper.close()
    undo.push(closeKeeper)
    const composed = compose(bench, {
      clock, linkClock, open: url => openTransport(url), keeperPort: name => keeper.port(name),
    })
    seenOff = isSeenOff(await makeSafeFirst(keeper, composed))
    if (spoiled) throw spoiled
    refuseSpoiled(dataFolder)
    const own = await loadOwnSequences(join(dataFolder, 'sequences'), shippedSequences)
    for (const { name, origin } of own) {
      log.warn({ sequence: name, ...origin },
        'a sequence of your own: it is program code, and may do what you may')
    }
    const store = await openWorkerStore(join(dataFolder, 'record.db'))
    const daemon = new Daemon({
      clock, livenessClock: linkClock, bench, composed, keeper, store, profiles,
      mark: new RunMark(dataFolder),
      sequences: [...shippedSequences, ...own], software: softwareVersion,
    })
    undo.splice(undo.indexOf(closeKeeper), 1, () => daemon.close())
    for (const session of composed.sessions.values()) await session.connect()
    const interrupted = await daemon.recover()
    return { daemon, bench, keeper, interrupted, close }
  } catch (error) {
    await close().catch(later => log.error({ err: later }, 'closing after a failed start'))
    // Links of another daemon are its business.
    const isOthers = !ours && hasCode(error, 'REFUSED')
    throw seenOff || isOthers ? error : notSeenOff(error)
  }
}

/**
 * Before anything that can fail: whatever killed the last daemon may have left the supply on, and a record
 * that is damaged or a meter that is off must not keep it on. Needs the energy links alone; what is not
 * read back is told later.
 */
async function makeSafeFirst(keeper: LastingKeeper, { table }: ComposedBench): Promise<SafeOffReport> {
  await keeper.configure(table, true)
  const report = await keeper.safeOff('start of the daemon')
  await keeper.reset()
  return report
}

async function clocks(bench: LoadedBench, log: Log, undo: (() => void)[]): Promise<{
  clock: Clock; linkClock: Clock; ledUrl: string | null
}> {
  const linkClock = new RealClock()
  const { simulated } = bench.file
  if (!simulated) return { clock: linkClock, linkClock, ledUrl: null }
  const outside = realInstrument(bench.file)
  if (outside !== undefined) {
    throw new BenchError('REFUSED', `${outside} is a real instrument; a bench with one keeps real time`, {
      expected: 'no `simulated` in the bench file', got: simulated.timeUrl,
    })
  }
  const clock = await LedClock.connect(simulated.timeUrl, 'daemon',
    { onLost: error => log.error({ err: error }, 'the simulated bench is gone') })
  undo.push(() => clock.close())
  return { clock, linkClock, ledUrl: simulated.timeUrl }
}

/** Session options as the data that crosses to the keeper. */
function settingsOf(options: SessionOptions): LinkSettings {
  const {
    name: _name, clock: _clock, linkClock: _linkClock, ignoreLines, onNotice: _onNotice, identity, ...rest
  } = options
  const data = {
    ...rest, ignoreLines: (ignoreLines ?? []).map(pattern => pattern.source),
    ...(identity === undefined ? {} : {
      identity: {
        query: identity.query,
        ...(identity.expected === undefined ? {} : { expected: typeof identity.expected === 'string'
          ? identity.expected
          : { pattern: identity.expected.source } }),
      },
    }),
  }
  return JSON.parse(JSON.stringify(data)) as LinkSettings
}
