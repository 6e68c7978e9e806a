/** What the application object is made of. */
import type { Clock } from '../base/clock.ts'
import type { AnySequence } from '../engine/sequence.ts'
import type { Keeper } from '../keeper/client.ts'
import type { Store } from '../schema/store.ts'
import type { RunMark } from '../store/run-mark.ts'
import type { ComposedBench } from './compose.ts'
import type { LoadedBench, ProfileFolder } from './files.ts'
import type { Origin } from './own-sequences.ts'

export interface DaemonDeps {
  clock: Clock
  /** Real time, for the heartbeat. */
  livenessClock: Clock
  bench: LoadedBench
  composed: ComposedBench
  keeper: Keeper
  store: Store
  /** Where the record lies in a folder of its own. */
  mark?: RunMark
  profiles: ProfileFolder
  sequences: readonly (AnySequence & { readonly origin?: Origin })[]
  software: string
}
