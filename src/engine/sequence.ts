/** What a sequence is. Users write their own in a folder of theirs and get the same protection. */
import type { z } from 'zod'
import type { BenchFile } from '../schema/bench.ts'
import type { Plan } from '../schema/application.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import type { RoleName, Supply } from '../schema/roles.ts'
import type { LoadedPart, StartRequest } from '../schema/run.ts'
import type { Night } from './night.ts'

export interface PlanInput<P> {
  bench: BenchFile
  supply: Supply['ratings']
  parts: readonly { loaded: LoadedPart; profile: PartProfile }[]
  parameters: P
  request: StartRequest
  /** Time of one whole sweep with these instruments, seconds. */
  sweepS: number
  /** Seconds since the last forming of a part ended, by part id; none where it is not on record. */
  formedAgoS: ReadonlyMap<string, number>
}

export interface Sequence<P = unknown> {
  readonly name: string
  readonly summary: string
  readonly cautions: readonly string[]
  readonly parameters: z.ZodType<P>
  readonly roles: readonly RoleName[]
  /** Whether it puts energy on the bus: then it is armed first. */
  readonly energises: boolean
  /**
   * Whether every position of the fixture takes part, with or without a part; only those
   * of the request when left out.
   */
  readonly everyPosition?: boolean
  /** Pure: what would be done. Refusals in it forbid the start. */
  plan(input: PlanInput<P>): Plan
  /** Runs armed; whatever it does or throws, safe-off follows. */
  run(night: Night, parameters: P): Promise<void>
}

/** Declares a sequence with its types checked. */
export function defineSequence<P>(sequence: Sequence<P>): Sequence<P> { return sequence }

/** A sequence whose parameters are not known here; whoever starts it parses them with its own schema. */
// eslint-disable-next-line @typescript-eslint/no-explicit-any -- parameters differ from sequence to sequence
export type AnySequence = Sequence<any>
