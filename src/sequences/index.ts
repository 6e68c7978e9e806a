/** The sequences that ship. Users' own are added beside them at start. */
import type { Sequence } from '../engine/sequence.ts'
import { leakageSoak, reform } from './reform.ts'
import { capacitorCheck, discharge } from './unpowered.ts'

// eslint-disable-next-line @typescript-eslint/no-explicit-any -- each sequence has parameters of its own; start parses them
export const shippedSequences: readonly Sequence<any>[] = [reform, leakageSoak, capacitorCheck, discharge]
