/** The jobs that lots ask for, as plain data: what a thread is given, and what it gives back. */
import { gaugeResult } from '../report/gauge-result.ts'
import { compareRuns } from '../report/lot-compare.ts'
import { matchLot } from '../report/lot-match.ts'
import { lotCsv } from '../report/lot-csv.ts'
import { lotHtml } from '../report/lot-html.ts'
import type { LotRun } from '../report/lot-parts.ts'
import { sheetOfRuns } from '../report/lot-sheet.ts'
import type { RunEvents } from '../report/lot-standards.ts'
import type { GaugeRequest } from '../schema/gauge.ts'
import type { LotSheet } from '../schema/lot-sheet.ts'
import type { CompareRequest, MatchRequest, SheetRequest } from '../schema/lots.ts'
import { faultOf } from '../store/protocol.ts'

export type LotJob =
  | { readonly do: 'match'; readonly runs: readonly LotRun[]; readonly request: MatchRequest }
  | { readonly do: 'compare'; readonly runs: readonly LotRun[]; readonly request: CompareRequest }
  | { readonly do: 'gauge'; readonly runs: readonly LotRun[]; readonly request: GaugeRequest }
  | {
    readonly do: 'sheet'; readonly runs: readonly LotRun[]; readonly request: SheetRequest
    readonly sessions: readonly RunEvents[]
  }

/** An error as plain data: a thread hands over neither its class nor its code. */
export type LotOutcome =
  | { readonly value: unknown }
  | { readonly fault: ReturnType<typeof faultOf> }

export function doLotJob(job: LotJob): unknown {
  switch (job.do) {
    case 'match': return matchLot(job.runs, job.request)
    case 'compare': return compareRuns(job.runs, job.request)
    case 'gauge': return gaugeResult(job.runs, job.request)
    case 'sheet': {
      const { runs, sessions, request: { choice, format } } = job
      return sheetText(sheetOfRuns(runs, choice, sessions), format)
    }
  }
}

/** As a text: what a thread hands over whole costs the bench least. */
function sheetText(sheet: LotSheet, format: SheetRequest['format']): string {
  switch (format) {
    case 'html': return lotHtml(sheet)
    case 'csv': return lotCsv(sheet)
    case 'json': return `${JSON.stringify(sheet, null, 2)}\n`
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
