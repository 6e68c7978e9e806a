/**
 * The page of a unit: which designators are proven, by what, and what is missing. From its parts list, what a
 * policy wants of each, and the newest result on record. Pure; SI units.
 */
import { formatSi, formatWall, formatWithU } from '../base/format.ts'
import { gradeWords, type Criterion, type PartResult, type UpTo } from '../schema/run.ts'
import type { InService } from '../schema/service.ts'
import type { Newest, UnitParts } from '../schema/unit.ts'
import { html, type Markup } from './markup.ts'
import { page } from './page.ts'
import { inServiceWords } from './service.ts'

export const standings = [
  'proven', 'accepted to fewer volts', 'provisional', 'marginal', 'to form', 'to retest', 'to replace',
  'not measured', 'undecided', 'left as it is', 'replaced, not proven',
] as const
export type Standing = (typeof standings)[number]
/** With these nothing remains to be done. */
const settled: readonly Standing[] = ['proven', 'left as it is']

/** What the list says of a designator, and the policy where there is one. */
export interface UnitLine {
  readonly designator: string
  readonly what: string
  readonly ratedV: number | null
  readonly wanted: {
    readonly action: 'prove' | 'replace' | 'replace-and-prove-new' | 'leave' | null
    readonly reason: string
  }
}

export interface UnitRow extends UnitLine {
  readonly standing: Standing
  /** What decides. */
  readonly newest: Newest | null
  /** A newer result, found without the volts at which the deciding one was. */
  readonly passedOver: Newest | null
  /** An estimate, which decides nothing. */
  readonly inService: InService | null
}

export interface UnitPage {
  readonly unit: string
  readonly policy: string | null
  readonly rows: readonly UnitRow[]
  readonly counts: Readonly<Partial<Record<Standing, number>>>
  readonly complete: boolean
  /** What a person should know of how this was found. */
  readonly remarks: readonly string[]
}

/** `parts` has an entry for each line. */
export function unitPage(
  lines: readonly UnitLine[], { unit, parts, runs, wasAll }: UnitParts, policy: string | null,
): UnitPage {
  const found = new Map(parts.map(part => [part.designator, part]))
  const rows = lines.map(line => {
    const part = found.get(line.designator)
    const { newest, passedOver } = deciding(line, part)
    return {
      ...line, newest, passedOver, inService: part?.inService ?? null, standing: standingOf(line, newest),
    }
  })
  const counts: Partial<Record<Standing, number>> = {}
  for (const { standing } of rows) counts[standing] = (counts[standing] ?? 0) + 1
  return {
    unit, policy, rows, counts, complete: rows.every(({ standing }) => settled.includes(standing)),
    remarks: [
      ...wasAll ? [] : [`Only the newest ${runs} runs were looked through: older results are not seen.`],
      ...rows.some(({ wanted, newest }) => wanted.action === 'replace-and-prove-new' && newest)
        ? ['Where the policy replaces a part, its newest result is taken to be of the one that went in.']
        : [],
    ],
  }
}

/**
 * What showed under a part's volts stands until it is put under as many again: a good word at fewer does not
 * undo it, a bad one does. Where the policy replaces the part, the newest is of the one that went in.
 */
function deciding(
  { wanted }: UnitLine, part: UnitParts['parts'][number] | undefined,
): Pick<UnitRow, 'newest' | 'passedOver'> {
  const { newest = null, stands = null } = part ?? {}
  return stands !== null && wanted.action !== 'replace-and-prove-new' ? { newest: stands, passedOver: newest }
    : { newest, passedOver: null }
}

function standingOf({ wanted: { action }, ratedV }: UnitLine, newest: Newest | null): Standing {
  if (action === null) return 'undecided'
  if (action === 'leave') return 'left as it is'
  if (action === 'replace') return 'replaced, not proven'
  if (newest === null) return 'not measured'
  const { grade, disposition, provisional } = newest.result
  if (disposition === 'form') return 'to form'
  if (grade === 'accept' && fewerVolts(newest, ratedV)) return 'accepted to fewer volts'
  if (grade === 'accept') return provisional ? 'provisional' : 'proven'
  if (grade === 'marginal') return 'marginal'
  return grade === 'reject' ? 'to replace' : 'to retest'
}

/** A source at the jig is never quite at the volts it was set to. */
const wholeShare = 0.95

/** Volts to which alone a good word holds, and those of list and profile; null where it was all of them. */
function fewerVolts({ volts, ratedV, result }: Newest, listedV: number | null): UpTo | null {
  const askedV = Math.max(listedV ?? 0, ratedV ?? 0)
  const wholeV = result.figures['leakageV'] === undefined ? askedV : wholeShare * askedV
  return volts !== null && volts < wholeV ? { volts, ratedV: askedV } : null
}

/** What was measured, the first few comparisons. */
export const measuredWords = ({ criteria }: PartResult): string =>
  criteria.slice(0, 3).map(criterionWords).join('; ')

const criterionWords = ({ name, value, expandedU, unit }: Criterion): string =>
  `${name} ${formatWithU(value, expandedU, unit)}`

/** One sentence on all of it. */
export function unitSummary({ unit, rows, counts, complete }: UnitPage): string {
  const parts = standings.flatMap(standing => counts[standing] ? [`${counts[standing]} ${standing}`] : [])
  return `${unit}: ${rows.length} parts, ${parts.join(', ')}.${complete ? ' Nothing is missing.' : ''}`
}

export const byWords = (newest: Newest | null): string => newest === null ? ''
  : `${newest.run} (${newest.sequence}), ${formatWall(newest.startedWallMs)}, ${newest.person}`

/** Rows of which something is to be done first, each group in the order of the list. */
export function byUrgency(rows: readonly UnitRow[]): UnitRow[] {
  const isOpen = ({ standing }: UnitRow): boolean => !settled.includes(standing)
  return [...rows.filter(isOpen), ...rows.filter(row => !isOpen(row))]
}

export function unitHtml(shown: UnitPage): string {
  const { unit, policy, rows, remarks } = shown
  return page(`Parts of ${unit}`, html`<p class="verdict">${unitSummary(shown)}</p>
${policy && html`<p class="quiet">By policy ${policy}.</p>`}
${remarks.map(text => html`<p class="quiet">${text}</p>`)}
<div class="wide"><table><thead><tr>${headings.map(heading => html`<th>${heading}</th>`)}</tr></thead>
<tbody>${byUrgency(rows).map(tableRow)}</tbody></table></div>
${rows.some(({ inService }) => inService) && serviceSection(rows)}
<p class="quiet">Prove dead before touching; a part that is proven was so when it was measured.</p>`)
}

const ofNewParts = 'Estimates, of new parts that are always on; they change no grade.'

function serviceSection(rows: readonly UnitRow[]): Markup {
  return html`<h2>In the unit</h2><p class="quiet">${ofNewParts}</p>
<div class="wide"><table><thead><tr><th>designator</th><th>in its unit</th><th>made of</th></tr></thead>
<tbody>${rows.map(({ designator, inService }) => inService && html`<tr><td class="tight">${designator}</td>
<td class="${inService.cautions.length > 0 ? 'warn' : ''}">${inServiceWords(inService)}</td>
<td>${inService.madeOf.join('; ')}</td></tr>`)}</tbody></table></div>`
}

/** For a screen: a line a part, and once what they are made of. */
export function serviceLines(rows: readonly UnitRow[]): string[] {
  const told = rows.flatMap(({ designator, inService }) => inService ? [{ designator, inService }] : [])
  if (told.length === 0) return []
  return [
    `In the unit. ${ofNewParts}`,
    ...told.map(({ designator, inService }) => `  ${designator} ${inServiceWords(inService)}`),
    'Made of:', ...[...new Set(told.flatMap(({ inService }) => inService.madeOf))].map(line => `  - ${line}`),
  ]
}

export const headings = ['designator', 'part', 'stands', 'by', 'measured', 'why'] as const

function tableRow(row: UnitRow): Markup {
  const { designator, what, standing, newest } = row
  const tone = settled.includes(standing) ? 'accept' : standing === 'to replace' ? 'reject' : 'marginal'
  return html`<tr><td class="tight">${designator}</td><td>${what}</td>
<td class="${tone}">${standsWords(row)}</td>
<td>${byWords(newest)}</td><td>${newest && measuredWords(newest.result)}</td>
<td>${whyWords(row)}</td></tr>`
}

/** The same as rows of text, for a table on screen. */
export const unitCells = (row: UnitRow): string[] => [
  row.designator, row.what, standsWords(row), byWords(row.newest),
  row.newest ? measuredWords(row.newest.result) : '', whyWords(row),
]

export const csvHeadings = [...headings, 'in its unit', 'made of'] as const
export const csvCells = (row: UnitRow): string[] => [
  ...unitCells(row), row.inService ? inServiceWords(row.inService) : '',
  row.inService?.madeOf.join('; ') ?? '',
]

/** A good word says up to where it holds. */
export function standsWords({ standing, ratedV, newest }: UnitRow): string {
  const upTo = standing === 'accepted to fewer volts' && newest ? fewerVolts(newest, ratedV) : null
  if (!upTo || !newest) return standing
  const accepted = gradeWords({ grade: 'accept', provisional: newest.result.provisional })
    .replace('accept', 'accepted')
  const ofV = formatSi(upTo.ratedV, 'V')
  return upTo.volts === 0 ? `${accepted} without volts, of ${ofV}`
    : `${accepted} to ${formatSi(upTo.volts, 'V')} of ${ofV}`
}

export const whyWords = ({ wanted, newest, passedOver }: UnitRow): string => [
  wanted.reason, newest?.result.reason ?? '',
  passedOver ? `${passedOver.run} accepted it since, ${atVolts(passedOver)}: that does not count` : '',
].filter(Boolean).join('; ')

const atVolts = ({ volts }: Newest): string =>
  volts === null || volts === 0 ? 'without its volts' : `at ${formatSi(volts, 'V')}`
