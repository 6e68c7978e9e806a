/** What one screening session is made from, and what it tells to whoever made it. */
import type { BenchJig } from '../engine/jig.ts'
import type { ScannedTray } from '../engine/tray.ts'
import type { Behind } from '../schema/behind.ts'
import type { PartResult, RunEvent, RunRecord } from '../schema/run.ts'
import type { ScreenRequest } from '../schema/screening.ts'
import type { ScreenPlan } from '../screening/plan.ts'
import type { NullsPlan } from './compensation.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import type { PreparedTray } from './tray-prepare.ts'

export type Noted = Pick<RunEvent, 'kind' | 'severity' | 'text' | 'data'>

export interface ScreeningRunInput {
  readonly deps: DaemonDeps
  readonly record: RunRecord
  readonly request: ScreenRequest
  readonly plan: ScreenPlan
  readonly nulls: NullsPlan
  readonly settled: number
  readonly jig: BenchJig
  /** What an earlier session left behind the cover, and nobody has settled. */
  readonly behind: Behind | null
  /** Where parts are laid on a tray first. */
  readonly onTray: { readonly tray: ScannedTray; readonly prepared: PreparedTray } | null
  readonly abort: AbortController
  /** A session that ended otherwise than by a person or its end. */
  latch(text: string): void
  publish(item: { type: 'result'; runId: string; result: PartResult }): void
  /** There is something new to see in `status`. */
  changed(): void
  /** What there is to say when a session has come to its end, by the grades of its parts, if anything. */
  conclude(grades: ReadonlyMap<string, PartResult['grade']>): Noted | null
}
