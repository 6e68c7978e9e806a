/** The sequences that ship. Users' own are added beside them at start. */
import type { AnySequence } from '../engine/sequence.ts'
import { benchCheck } from './bench-check.ts'
import { leakageSoak, reform } from './reform.ts'
import { capacitorCheck, discharge } from './unpowered.ts'

export const shippedSequences: readonly AnySequence[] = [
  reform, leakageSoak, capacitorCheck, discharge, benchCheck,
]
