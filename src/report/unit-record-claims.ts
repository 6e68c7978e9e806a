/** Figures against claims: every figure once, with an id that claims name it by; every claim once. Pure. */
import { claimWords } from '../claims/words.ts'
import type { ClaimVerdict } from '../schema/claims.ts'
import { figureUnits, type Figure } from '../schema/figure.ts'
import type { Curve, UnitFindings } from '../schema/unit-findings.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import { numberOr } from './unit-record-runs.ts'
import {
  coverageFactor, type UnitRecordClaim, type UnitRecordCurve, type UnitRecordFigure,
} from './unit-record-schema.ts'

export interface Proven {
  readonly claims: UnitRecordClaim[]
  readonly figures: UnitRecordFigure[]
  readonly curves: UnitRecordCurve[]
}

/** `findings` null: nothing was measured. `profile`: of the run that measured, whose claims these are. */
export function proven(profile: UnitProfile | null, findings: UnitFindings | null): Proven {
  const { claims = [], figures = [], curves = [] } = findings ?? {}
  const numbered = numberedFigures(figures, claims)
  const order = wordsOf(profile)
  const placeOf = ({ words }: UnitRecordClaim): number =>
    order.includes(words) ? order.indexOf(words) : order.length
  return {
    claims: [
      ...claims.map(verdict => claimRow(verdict, numbered)),
      ...notMeasured(profile, new Set(claims.map(({ words }) => words))),
    ].sort((a, b) => placeOf(a) - placeOf(b)),
    figures: numbered.map(figureRow), curves: curves.map(curveRow),
  }
}

interface Numbered { readonly id: string; readonly figure: Figure; readonly key: string }

/** Claims hold copies of figures; each figure is one, however often it answers. */
function numberedFigures(figures: readonly Figure[], claims: readonly ClaimVerdict[]): Numbered[] {
  const seen = new Map<string, Figure>()
  for (const figure of [...figures, ...claims.flatMap(one => one.figures)]) {
    const key = keyOf(figure)
    if (!seen.has(key)) seen.set(key, figure)
  }
  return [...seen].map(([key, figure], i) => ({ id: `F${i + 1}`, figure, key }))
}

/** Numbers as text, so that two that are none are one; conditions in whatever order. */
const keyOf = ({ quantity, channel, value, u, bound, conditions }: Figure): string => JSON.stringify([
  quantity, channel, String(value), String(u), bound ?? null,
  Object.entries(conditions).filter(([, set]) => set !== undefined).sort(([a], [b]) => a < b ? -1 : 1),
])

const figureRow = (
  { id, figure: { quantity, channel, value, unit, u, bound, conditions, notes } }: Numbered,
): UnitRecordFigure => ({
  id, quantity, channel, value: numberOr(value), unit,
  u: numberOr(u), expandedU: numberOr(coverageFactor * u),
  bound: bound ?? null, conditions: { ...conditions }, notes: [...notes],
})

function claimRow(
  { words, claim, end, margin, pConform, figures, reason }: ClaimVerdict, numbered: readonly Numbered[],
): UnitRecordClaim {
  const keys = figures.map(keyOf)
  return {
    words, understood: claimWords(claim), quantity: claim.quantity, channel: claim.channel ?? null,
    least: claim.least ?? null, most: claim.most ?? null, unit: figureUnits[claim.quantity],
    conditions: { ...claim.conditions }, end, margin: numberOr(margin), pConform: numberOr(pConform), reason,
    figures: keys.map(key => numbered.find(one => one.key === key)!.id),
  }
}

const entryWords = (entry: UnitProfile['claims'][number]): string =>
  typeof entry === 'string' ? entry : claimWords(entry)
const wordsOf = (profile: UnitProfile | null): string[] => (profile?.claims ?? []).map(entryWords)

/** Claims of the profile that no verdict is about. */
function notMeasured(profile: UnitProfile | null, told: ReadonlySet<string>): UnitRecordClaim[] {
  return (profile?.claims ?? []).flatMap(entry => {
    const words = entryWords(entry)
    if (told.has(words)) return []
    return [{
      words, understood: null, quantity: typeof entry === 'string' ? null : entry.quantity, channel: null,
      least: null, most: null, unit: null, conditions: null, end: 'not measured' as const, margin: null,
      pConform: null, reason: 'It was not measured.', figures: [],
    }]
  })
}

const curveRow = ({ name, channel, x, y, under }: Curve): UnitRecordCurve => ({
  name, channel, under,
  x: { ...x, values: x.values.map(numberOr) }, y: { ...y, values: y.values.map(numberOr) },
})
