/** The jobs that lots ask for, as plain data: what a thread is given, and what it gives back. */
import { compareRuns } from '../report/lot-compare.ts'
import { matchLot } from '../report/lot-match.ts'
import type { LotRun } from '../report/lot-parts.ts'
import type { CompareRequest, MatchRequest } from '../schema/lots.ts'
import { faultOf } from '../store/protocol.ts'

export type LotJob =
  | { readonly do: 'match'; readonly runs: readonly LotRun[]; readonly request: MatchRequest }
  | { readonly do: 'compare'; readonly runs: readonly LotRun[]; readonly request: CompareRequest }

/** An error as plain data: a thread hands over neither its class nor its code. */
export type LotOutcome =
  | { readonly value: unknown }
  | { readonly fault: ReturnType<typeof faultOf> }

export function doLotJob(job: LotJob): unknown {
  switch (job.do) {
    case 'match': return matchLot(job.runs, job.request)
    case 'compare': return compareRuns(job.runs, job.request)
  }
}

/** The same, and what is thrown as data. */
export function lotOutcome(job: LotJob): LotOutcome {
  try {
    return { value: doLotJob(job) }
  } catch (error) {
    return { fault: faultOf(error) }
  }
}
