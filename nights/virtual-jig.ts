/** A bench with a jig in virtual time and one process: the real stack over simulated instruments and hands. */
import { VirtualClock } from '../src/base/clock.ts'
import type { ComposedBench } from '../src/app/compose.ts'
import type { Daemon } from '../src/app/daemon.ts'
import type { KeeperHost } from '../src/keeper/host.ts'
import type { Store } from '../src/schema/store.ts'
import { openInlineStore } from '../src/store/inline.ts'
import type { MemoryLink } from '../src/transport/memory.ts'
import { JigBench } from '../mocks/bench/jig-bench.ts'
import type { ErrorModel } from '../mocks/instruments/accuracy.ts'
import { virtualDaemon } from './virtual-daemon.ts'

export interface VirtualJig {
  clock: VirtualClock; sim: JigBench; daemon: Daemon; store: Store; keeper: KeeperHost
  composed: ComposedBench; links: ReadonlyMap<string, MemoryLink>
  /** Kills daemon and keeper where they stand, and starts others over the same bench and record. */
  restart(): Promise<Daemon>
}

export interface VirtualJigOptions {
  readonly seed?: number
  /** Given where the record is to be looked into; in memory when left out. */
  readonly store?: Store
  /** Instruments answer at once. */
  readonly instant?: boolean
  readonly errors?: ErrorModel
  /** With a cover that locks. */
  readonly covered?: boolean
  /** Positions of a tray; none when left out. */
  readonly tray?: number
}

export async function virtualJig(options: VirtualJigOptions = {}): Promise<VirtualJig> {
  const { seed = 3, store = openInlineStore(':memory:'), instant = false, errors = 'inside', covered = false, tray = 0 } = options
  const clock = new VirtualClock()
  const sim = new JigBench({ clock, seed, instant, errors, covered, tray })
  const { host, ...living } = await virtualDaemon(clock, sim, store)
  return { clock, sim, store, keeper: host, ...living }
}
