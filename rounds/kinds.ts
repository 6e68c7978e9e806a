/** What is done to a bench in the middle of a night, kind by kind. */
import { setTimeout as pause } from 'node:timers/promises'
import type { SeededRandom } from '../src/base/random.ts'
import { stopByKeeper } from '../src/keeper/stop.ts'
import { signal, type LiveBench, type LiveDaemon } from './processes.ts'
import type { SmallDisk } from './small-disk.ts'

export interface Scene {
  bench: LiveBench; daemon: LiveDaemon; dataFolder: string; random: SeededRandom; disk: SmallDisk | null
}

export interface Kind {
  readonly name: string
  readonly what: string
  /** What shows that energy is off: the supply's output; where no program is left, the contact. */
  readonly off: 'output' | 'contact'
  /** The most that the 99th percentile of the time to off may be, ms; null where nothing states one. */
  readonly p99Ms: number | null
  /** Only over pseudo terminals. */
  readonly serialOnly?: true
  readonly fullDisk?: true
  /** The bench cannot be used again afterwards. */
  readonly spoilsBench?: true
  /** Does it; time is counted from the call. */
  act(scene: Scene): void | Promise<unknown>
}

/** Heartbeat limit and half a second. */
const beatP99Ms = 1500
/** The contact's own hold time and a tenth. */
const holdP99Ms = 4400
const serialLinks = ['psu', 'relays', 'cutoff']

export const kinds: readonly Kind[] = [
  { name: 'daemon-killed', what: 'kill -9 of the daemon', off: 'output', p99Ms: 500,
    act: ({ daemon }) => { daemon.process.kill('SIGKILL') } },
  { name: 'daemon-stopped', what: 'SIGSTOP of the daemon', off: 'output', p99Ms: beatP99Ms,
    act: ({ daemon }) => { daemon.process.kill('SIGSTOP') } },
  { name: 'daemon-spinning', what: 'event loop of the daemon busy for 3 s', off: 'output', p99Ms: beatP99Ms,
    act: ({ daemon }) => { daemon.process.kill('SIGUSR2') } },
  { name: 'daemon-ended', what: 'SIGTERM or SIGINT to the daemon', off: 'output', p99Ms: 500,
    act: ({ daemon, random }) => { daemon.process.kill(random.next() < 0.5 ? 'SIGTERM' : 'SIGINT') } },
  { name: 'keeper-killed', what: 'kill -9 of the keeper', off: 'output', p99Ms: holdP99Ms,
    act: ({ daemon }) => { signal(daemon.keeperPid(), 'SIGKILL') } },
  { name: 'keeper-stopped', what: 'SIGSTOP of the keeper', off: 'output', p99Ms: holdP99Ms,
    act: ({ daemon }) => { signal(daemon.keeperPid(), 'SIGSTOP') } },
  { name: 'keeper-ended', what: 'SIGTERM or SIGINT to the keeper', off: 'output', p99Ms: 500,
    act: ({ daemon, random }) => { signal(daemon.keeperPid(), random.next() < 0.5 ? 'SIGTERM' : 'SIGINT') } },
  { name: 'both-killed', what: 'kill -9 of both', off: 'contact', p99Ms: holdP99Ms,
    act: ({ daemon }) => both(daemon, 'SIGKILL') },
  { name: 'both-stopped', what: 'SIGSTOP of both', off: 'contact', p99Ms: holdP99Ms,
    act: ({ daemon }) => both(daemon, 'SIGSTOP') },
  { name: 'unplugged', what: 'a pseudo terminal taken away', off: 'contact', p99Ms: holdP99Ms,
    serialOnly: true, spoilsBench: true,
    act: ({ bench, random }) => bench.ask({ do: 'fault', fault: { kind: 'disconnect' },
      instrument: serialLinks[random.integer(0, serialLinks.length - 1)] }) },
  { name: 'disk-full', what: 'nothing more can be written', off: 'output', p99Ms: null, fullDisk: true,
    act: ({ disk, daemon }) => disk!.fill(daemon.process.pid!) },
  { name: 'stop', what: 'stop through the keeper, the daemon under SIGSTOP', off: 'output', p99Ms: 300,
    act: async ({ daemon, dataFolder }) => {
      daemon.process.kill('SIGSTOP')
      // At once: the heartbeat has not been missed yet, so it is this stop that does it.
      await stopByKeeper(dataFolder, 'smell of burning', { by: 'rounds' })
    } },
]

/** The keeper first: it must not see the daemon go. */
function both(daemon: LiveDaemon, name: NodeJS.Signals): void {
  signal(daemon.keeperPid(), name)
  daemon.process.kill(name)
}

/** A moment of the night, ms after its start: while arming, at a few volts, rarely while the bus rises. */
export function momentOf(random: SeededRandom): number {
  const x = random.next()
  if (x < 0.1) return random.uniform(0, 4000)
  return x < 0.95 ? random.uniform(4000, 9000) : random.uniform(45_000, 70_000)
}

export const waitMs = async (ms: number): Promise<void> => { await pause(ms) }
