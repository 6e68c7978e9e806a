/**
 * The value of something that may still be moving, at one instant, from a few readings around or before it.
 */
import { assert } from '../base/assert.ts'
import { allFinite, assertAscending, assertSameLength } from './inputs.ts'
import { fitLinear, polynomialColumns } from './linear-fit.ts'

export interface EndValue {
  value: number
  /**
   * Standard uncertainty from the scatter of the readings alone: what is common to all of them is not in it.
   */
  u: number
  /** Degrees of freedom of u; Infinity where it could not be estimated and is 0. */
  dof: number
}

/** A curve of second degree wants this many readings, a straight line this many; fewer are averaged. */
const fewestForCurve = 6
const fewestForLine = 4

/**
 * Value at `atS` of readings `y` at times `tS`: by least squares a parabola through six readings or more, a
 * line through four or five, their mean below that. A mean over a window that ends at `atS` would lag behind
 * a current that falls or rises. Asserts a reading, equal lengths, rising times; NaN where a reading is not a
 * number.
 */
export function valueAt(tS: readonly number[], y: readonly number[], atS: number): EndValue {
  assert(y.length > 0, 'a value needs a reading')
  assertSameLength(tS, y, 'tS and y')
  if (!allFinite(y) || !allFinite(tS)) return { value: NaN, u: NaN, dof: Infinity }
  assertAscending(tS)
  const n = y.length
  const degree = n >= fewestForCurve ? 2 : n >= fewestForLine ? 1 : 0
  if (degree === 0) return meanOf(y)
  const fit = fitLinear({ columns: polynomialColumns(tS.map(t => t - atS), degree), y })
  if (!fit.ok) return meanOf(y)
  return { value: fit.coefficients[0]!, u: fit.standardErrors[0]!, dof: fit.dof }
}

function meanOf(y: readonly number[]): EndValue {
  const n = y.length
  const value = y.reduce((sum, one) => sum + one, 0) / n
  if (n < 2) return { value, u: 0, dof: Infinity }
  const squares = y.reduce((sum, one) => sum + (one - value) ** 2, 0)
  return { value, u: Math.sqrt(squares / (n - 1) / n), dof: n - 1 }
}
