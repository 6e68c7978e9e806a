/** Limits that a line states of a transistor, in its value, rating or note: `hFE 110-220 @ 2 mA`. */
import { statedLimits, type FoundLimit, type Limited } from '../marks/stated-limits.ts'
import { aKind, limitsOf, type PartKind, type PartsLine } from '../schema/parts-list.ts'
import { limitWords } from '../schema/stated-limits.ts'
import type { Column } from './headings.ts'
import { quoted, type Told } from './told.ts'

type Limits = NonNullable<PartsLine['limits']>

const symbolOf: Readonly<Record<Limited, string>> = {
  gain: 'hFE', 'drain current': 'IDSS', 'cut-off voltage': 'VGS(off)', 'threshold voltage': 'Vth',
}
const columns = ['value', 'rating', 'note'] as const satisfies readonly Column[]

/**
 * Empty of parts of other kinds: of those such words are none of ours. What cannot be, and what contradicts
 * itself, is told and does not count.
 */
export function readLimits(told: Told, kind: PartKind | null): Limits {
  const fitting = kind === null ? undefined : limitsOf[kind]
  if (kind === null || !fitting) return []
  const limits: Limits = []
  for (const column of columns.filter(one => told.has(one))) {
    const { found, problems, bare } = statedLimits(told.text(column))
    for (const { column: at, expected, got } of problems) told.wrong(column, expected, got, at - 1)
    for (const symbol of bare) {
      told.remarks.push(`${symbol} stands there without limits, so none is taken from it`)
    }
    for (const one of found) {
      if (column === 'rating') told.take(column, one.at, one.end)
      const wrong = unfit(one, kind, fitting) ?? clash(one, limits)
      if (wrong !== null) told.wrong(column, wrong, quoted(told.text(column).slice(one.at, one.end)), one.at)
      else if (!limits.some(({ of }) => of === one.limit.of)) limits.push(one.limit)
    }
  }
  return limits
}

/** What would fit, where this is no limit of such a part; null where it is one. */
function unfit(
  { limit: { of }, sign }: FoundLimit, kind: PartKind, fitting: readonly Limited[],
): string | null {
  if (!fitting.includes(of)) {
    return `what is stated of ${aKind(kind)}: ${fitting.map(one => symbolOf[one]).join(' or ')}`
  }
  const usual = signOf(of, kind)
  return sign === null || sign === usual ? null
    : `${symbolOf[of]} of ${aKind(kind)} ${usual === '-' ? 'below' : 'above'} 0, or without a sign`
}

/** Volts from gate to source and what flows into the drain, as data sheets have them. */
function signOf(of: Limited, kind: PartKind): '+' | '-' {
  const isP = kind.startsWith('jfet-p') || kind.startsWith('mosfet-p')
  return (of === 'cut-off voltage') === isP || of === 'gain' ? '+' : '-'
}

const clash = ({ limit }: FoundLimit, limits: Limits): string | null => {
  const before = limits.find(({ of }) => of === limit.of)
  return before === undefined || limitWords(before) === limitWords(limit) ? null
    : `the same as elsewhere in the line: ${limitWords(before)}`
}
