/**
 * Making one instrument safe through a link that may be dead, busy or out of step. Order: send blind
 * on the link there is; then get in step and send again; if that fails, the same on a fresh link.
 * Bounded in time; never throws.
 */
import { sleep } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import type { BenchError } from '../base/errors.ts'
import { asBenchError } from '../base/errors.ts'
import type { Link } from './link.ts'
import type { Settled } from './options.ts'
import { exchangeOnce } from './recovery.ts'

export interface SafeOffReport {
  /** When the commands were first written to a live link, monotonic ms; null when they never were. */
  readonly sentAtMs: number | null
  /** A new link had to be opened. */
  readonly freshLink: boolean
  /** The link is in step, and the commands were sent again, in order, after that: read-back may follow. */
  readonly resynchronised: boolean
  /** Why it is not resynchronised; null when it is. */
  readonly error: BenchError | null
}

export interface SafeOffWork {
  readonly options: Settled
  readonly commands: readonly string[]
  readonly sentAtMs: number | null
  current(): Link | null
  drop(): Promise<void>
  openFresh(): Promise<Link>
  stopOpening(): void
  bringInStep(link: Link, fresh: boolean): Promise<void>
}

/** Writes a line end and the commands at once. False when the link is not up. Never throws. */
export function blindNow(link: Link, options: Settled, commands: readonly string[]): boolean {
  try {
    link.writeBlind(options.txTerminator)
    for (const command of commands) link.writeBlind(command + options.txTerminator)
    return true
  } catch {
    return false
  }
}

export async function runSafeOff(work: SafeOffWork): Promise<SafeOffReport> {
  const { options } = work
  const report = {
    sentAtMs: work.sentAtMs, freshLink: false, resynchronised: false, error: null as BenchError | null,
  }
  try {
    await withDeadline(options.linkClock, options.safeOffMs, `${options.name}: safe-off`, async () => {
      await attempts(work, report)
    })
    report.resynchronised = true
  } catch (error) {
    report.error = asBenchError(error)
    work.stopOpening()
    await work.drop().catch(() => {})
  }
  return report
}

interface Progress { sentAtMs: number | null; freshLink: boolean }

async function attempts(work: SafeOffWork, report: Progress): Promise<void> {
  const { linkClock, safeOffMs, name } = work.options
  const old = work.current()
  if (old !== null && work.sentAtMs !== null) {
    try {
      // Half the time, so that a fresh link still gets its chance.
      await withDeadline(linkClock, safeOffMs / 2, `${name}: old link`, () => confirm(work, old, false))
      return
    } catch { /* the old link is of no use */ }
  }
  // A port that will not close must not use up the time of the fresh link.
  await withDeadline(linkClock, safeOffMs / 4, `${name}: closing`, () => work.drop()).catch(() => {})
  report.freshLink = true
  const fresh = await work.openFresh()
  if (blindNow(fresh, work.options, work.commands)) report.sentAtMs ??= work.options.clock.monotonicMs()
  await confirm(work, fresh, true)
}

/**
 * Gets in step, then sends the commands again one at a time: the blind ones may have met a half-read line.
 */
async function confirm(work: SafeOffWork, link: Link, fresh: boolean): Promise<void> {
  const { options } = work
  await work.bringInStep(link, fresh)
  for (const command of work.commands) {
    if (options.pacingMs > 0) await sleep(options.linkClock, options.pacingMs)
    await exchangeOnce(link, options, { command, expect: 'nothing', echo: options.echo, recovery: false })
  }
}
