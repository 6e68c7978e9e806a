/** A figure from its value and what it is not known by. */
import {
  combineUncertainty, expandUncertainty, type Correlation, type UncertaintyComponent,
} from '../analysis/uncertainty.ts'
import { figureUnits, type Conditions, type Figure, type FigureQuantity } from '../schema/figure.ts'

export interface FigureOf {
  readonly quantity: FigureQuantity
  readonly channel: string | null
  readonly value: number
  /** In the unit of the value, or with its sensitivity. */
  readonly parts: readonly UncertaintyComponent[]
  readonly correlations?: readonly Correlation[]
  readonly bound?: Figure['bound']
  readonly conditions: Conditions
  readonly notes?: readonly string[]
}

export function figureOf(
  { quantity, channel, value, parts, correlations = [], bound, conditions, notes = [] }: FigureOf,
): Figure {
  const { u, dof, contributions } = combineUncertainty(parts, correlations)
  return {
    quantity, channel, value, unit: figureUnits[quantity], u: asNormal(u, dof),
    ...bound === undefined ? {} : { bound }, conditions: defined(conditions),
    notes: [...notes, ...budgetNote(parts, contributions)],
  }
}

/** A figure carries no degrees of freedom: few of them widen it, so that 1.96·u still holds 95 %. */
const asNormal = (u: number, dof: number): number =>
  Number.isFinite(dof) ? expandUncertainty(u, dof).expanded / expandUncertainty(1).expanded : u

/** What counts, from most to least; less than a tenth of the largest is left out. */
function budgetNote(parts: readonly UncertaintyComponent[], contributions: readonly number[]): string[] {
  const most = Math.max(...contributions)
  if (!(most > 0)) return []
  const named = parts.map(({ label }, i) => ({ label, u: contributions[i]! }))
    .filter(({ u }) => u >= most / 10)
    .sort((a, b) => b.u - a.u).map(({ label, u }) => `${label} ${u.toPrecision(2)}`)
  return [`uncertainty is of ${named.join(', ')}`]
}

const defined = (conditions: Conditions): Conditions =>
  Object.fromEntries(Object.entries(conditions).filter(([, value]) => value !== undefined)) as Conditions

/** Of a ratio of two volts in dB: by the relative uncertainty of one of them. */
export const perShareDb = 20 / Math.LN10
