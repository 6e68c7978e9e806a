/** What the exit code of a command says. */
import { catalogue, type BenchError } from '../base/errors.ts'
import { leftOutOf } from '../report/left-out.ts'
import { isUnitSequence } from '../schema/powering.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'

export const exitCodes = { accepted: 0, notAccepted: 1, usage: 2, stopped: 3, fault: 4 } as const
export type ExitCode = (typeof exitCodes)[keyof typeof exitCodes]

export function exitOfError(error: BenchError): ExitCode {
  switch (catalogue[error.code].kind) {
    case 'usage': case 'file': case 'refused': return exitCodes.usage
    case 'trip': return exitCodes.stopped
    case 'link': case 'instrument': case 'host': return exitCodes.fault
  }
}

/**
 * Of a run; one that goes on has accepted nothing yet. A part that was loaded and has no result is not
 * accepted.
 */
export function exitOfRun(run: RunRecord, results: readonly PartResult[]): ExitCode {
  switch (run.state) {
    case 'done': {
      const accepted = results.filter(result => result.grade === 'accept').length
      const all = accepted >= Math.max(results.length, partsLoaded(run)) && settledAccepted(run)
      return all ? exitCodes.accepted : exitCodes.notAccepted
    }
    case 'tripped': case 'stopped': return exitCodes.stopped
    case 'refused': return exitCodes.usage
    case 'interrupted': return exitCodes.fault
    // Nothing is accepted while it goes on.
    case 'prepared': case 'running': return exitCodes.notAccepted
  }
}

export const hasEnded = (run: RunRecord): boolean => run.state !== 'running' && run.state !== 'prepared'

/** Of a screening session: parts that it did not ask for again. */
function settledAccepted({ setup }: RunRecord): boolean {
  const plan = setup['plan'] as { settled?: unknown } | undefined
  const settled = Array.isArray(plan?.settled) ? plan.settled as { grade?: unknown }[] : []
  return settled.every(({ grade }) => grade === 'accept')
}

/** A screening session says itself how many parts it was to ask for. What an earlier half dropped counts. */
function partsLoaded(run: RunRecord): number {
  if (isUnitSequence(run.sequence)) return 1
  const asked = run.setup['asked']
  if (typeof asked === 'number') return asked
  const request = run.setup['request'] as { parts?: unknown } | undefined
  return (Array.isArray(request?.parts) ? request.parts.length : 0) + leftOutOf(run).length
}
