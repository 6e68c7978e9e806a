/** A parts list in words: what was understood, what was not, and what a policy says. */
import { formatCount, noNumber } from '../base/format.ts'
import { noRatings } from '../marks/mark.ts'
import { written } from '../marks/written.ts'
import type { Decided, Decision } from '../parts/decide.ts'
import type { ReadParts } from '../parts/read-list.ts'
import type { ListRemark, PartsLine } from '../schema/parts-list.ts'
import { describeProblem } from '../schema/read-file.ts'
import { limitWords } from '../schema/stated-limits.ts'
import { shownRatings, shownTolerance } from './mark-text.ts'
import { renderTable } from './table.ts'

const columns = ['line', 'parts', 'count', 'kind', 'value', 'tolerance', 'rated', 'where']
  .map(heading => ({ heading, right: heading === 'line' || heading === 'count' }))

/** Lines for a terminal: the parts, remarks, and what could not be read. */
export function partsLines({ list, problems }: ReadParts): string[] {
  const count = list.parts.reduce((sum, { quantity }) => sum + quantity, 0)
  return [
    ...renderTable(columns, list.parts.map(partCells)), '',
    `${formatCount(count, 'part')} in ${formatCount(list.parts.length, 'line')} understood`,
    ...list.remarks.map(remark => `  ${placed(remark)}${remark.text}`),
    ...problems.length === 0 ? [] : ['', `Not understood (${problems.length}; line:column):`],
    ...problems.map(problem => `  ${describeProblem(problem)}`),
  ]
}

function partCells(part: PartsLine): string[] {
  const kind = [part.material, part.kind ?? noNumber].filter(Boolean).join(' ')
  return [
    String(part.line), ranges(part.designators), String(part.quantity),
    part.kindFrom === 'list' || part.kind === null ? kind : `${kind}?`, shownValueOf(part),
    shownTolerance(part), ratedOf(part), part.where ?? '',
  ]
}

const sortOf = { resistance: 'resistor', capacitance: 'capacitor', inductance: 'inductor' } as const
function shownValueOf({ value, valueText }: PartsLine): string {
  return value === null ? valueText || noNumber : written(sortOf[value.quantity], value.si)
}

function ratedOf(part: PartsLine): string {
  const { ratedV, ratedForm, ratedW, tempcoPpmPerK, dielectrics, safetyClasses, ratingText, limits } = part
  const made = dielectrics.filter(name => !name.startsWith('class'))
  const rated = shownRatings({ ...noRatings, ratedV, ratedForm, ratedW, tempcoPpmPerK, safetyClasses })
  return [rated, ...made, ...(limits ?? []).map(limitWords), ratingText].filter(Boolean).join(', ')
}

function placed({ lines }: ListRemark): string {
  if (lines.length === 0) return ''
  const more = lines.length > 8 ? ` and ${lines.length - 8} more` : ''
  const shown = lines.slice(0, 8).join(', ') + more
  return `${lines.length === 1 ? 'line' : 'lines'} ${shown}: `
}

/** `C1-C4, C7`; designators in the order given, neighbours joined. */
export function ranges(names: readonly string[]): string {
  const runs: string[][] = []
  for (const name of names) {
    const run = runs.at(-1)
    if (run && follows(run.at(-1)!, name)) run.push(name)
    else runs.push([name])
  }
  return runs.map(run => run.length > 2 ? `${run[0]}-${run.at(-1)}` : run.join(', ')).join(', ')
}

function follows(before: string, name: string): boolean {
  const [a, b] = [before, name].map(one => /^([A-Z]+)(\d+)$/.exec(one))
  return a !== null && b !== null && a?.[1] === b?.[1] && Number(a?.[2]) + 1 === Number(b?.[2])
}

/** Lines for a terminal: what is to be done with which parts, by which rule, and what is left open. */
export function policyLines(
  name: string, { decisions, remarks }: Decided, parts: readonly PartsLine[],
): string[] {
  const groups = new Map<string, Decision[]>()
  for (const decision of decisions) {
    const { designator, line, ...said } = decision
    const key = JSON.stringify(designator === null ? [line, said] : said)
    groups.set(key, [...groups.get(key) ?? [], decision])
  }
  const headings = ['parts', 'action', 'by', 'because'].map(heading => ({ heading }))
  return [
    '', `Policy ${name}:`, ...renderTable(headings, [...groups.values()].map(group => [
      group[0]!.designator === null ? reelName(group[0]!, parts) : ranges(group.map(one => one.designator!)),
      actionWords(group[0]!), group[0]!.rules.join(', ') || noNumber, becauseWords(group[0]!),
    ])),
    ...remarks.map(remark => `  ${remark}`),
  ]
}

function reelName({ line }: Decision, parts: readonly PartsLine[]): string {
  const part = parts.find(one => one.line === line)
  return part ? `${part.quantity} x ${shownValueOf(part)}` : `line ${line}`
}

function actionWords({ action, requires, conflicts }: Decision): string {
  if (action === null) return conflicts.length > 0 ? 'CONFLICT' : 'OPEN'
  return requires.length === 0 ? action : `${action} with ${requires.join(' and ')}`
}

function becauseWords({ action, reason, conflicts, unsure }: Decision): string {
  if (conflicts.length > 0) return conflicts.map(one => `${one.rule}: ${one.action}`).join('; ')
  if (action === null) return unsure.map(({ rule, missing }) => `${rule} needs ${missing}`).join('; ')
  return reason
}

