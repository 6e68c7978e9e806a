/**
 * Weighted linear least squares by orthogonal (QR) decomposition of centred and scaled columns, with one step
 * of iterative refinement. Coefficients, their uncertainties and covariance, residual sd, R². Checked against
 * the NIST StRD linear sets.
 */
import { assert } from '../base/assert.ts'
import { Matrix, QrDecomposition } from 'ml-matrix'
import { allPositive, assertNumbers, assertSameLength } from './inputs.ts'
import { sum } from './statistics.ts'

export interface LinearFitInput {
  /**
   * Predictors, one array per predictor, all as long as y. The constant is not among them; see `intercept`.
   */
  columns: readonly ArrayLike<number>[]
  y: ArrayLike<number>
  /** Standard uncertainty of each y, in its unit. Without it all points weigh the same. */
  u?: ArrayLike<number>
  /** Adds a constant term as the first coefficient; true by default. */
  intercept?: boolean
}

export interface LinearFit {
  /** Constant first (if any), then one per column. */
  coefficients: number[]
  standardErrors: number[]
  covariance: number[][]
  residuals: Float64Array
  /**
   * Root of the weighted residual sum of squares over dof: in the unit of y without u, a pure number with u.
   */
  residualSd: number
  dof: number
  /** Centred when there is a constant, about zero otherwise (as NIST certifies it). */
  rSquared: number
}

export type LinearFitResult =
  | ({ ok: true } & LinearFit)
  | { ok: false; reason: 'too few points' | 'columns depend' }

/**
 * Fits y = b0 + b1·x1 + … With `u` the covariance is absolute (it trusts u); without, it is scaled by the
 * residual variance. Asserts finite, equally long arrays and u > 0; returns ok:false where the data cannot
 * carry the fit.
 */
export function fitLinear({ columns, y, u, intercept = true }: LinearFitInput): LinearFitResult {
  assertNumbers(y, 'y')
  for (const column of columns) {
    assertSameLength(column, y, 'a column and y')
    assertNumbers(column, 'column')
  }
  if (u) { assertSameLength(u, y, 'u and y'); assert(allPositive(u), 'u must be above 0') }
  const n = y.length
  const p = columns.length + (intercept ? 1 : 0)
  assert(p > 0, 'a fit needs a coefficient')
  if (n < p || (n === p && !u)) return { ok: false, reason: 'too few points' }
  const weights = Float64Array.from(y, (_, i) => (u ? 1 / u[i]! : 1))
  const solved = solve(conditioned(columns, weights, intercept), columns, y, weights, intercept)
  if (!solved) return { ok: false, reason: 'columns depend' }
  return { ok: true, ...finish(solved, y, weights, intercept, u !== undefined) }
}

/** x, x², … x^degree, for polynomial fits with an intercept. */
export function polynomialColumns(x: ArrayLike<number>, degree: number): Float64Array[] {
  assert(Number.isInteger(degree) && degree >= 1, `degree must be a whole number above 0, got ${degree}`)
  return Array.from({ length: degree }, (_, k) => Float64Array.from(x, v => v ** (k + 1)))
}

interface Conditioned { matrix: Matrix; shift: number[]; scale: number[] }
interface Solved { coefficients: number[]; unscaledCovariance: number[][]; residuals: Float64Array }

/** Columns less their weighted mean (with a constant), each of unit length: what keeps the digits. */
function conditioned(columns: LinearFitInput['columns'], w: Float64Array, intercept: boolean): Conditioned {
  const weight = sum(w.map(v => v * v))
  const weighted = (c: ArrayLike<number>): number => sum(Float64Array.from(c, (v, i) => v * w[i]! ** 2))
  const shift = columns.map(c => (intercept ? weighted(c) / weight : 0))
  const moved = columns.map((c, j) => Float64Array.from(c, (v, i) => (v - shift[j]!) * w[i]!))
  const scale = moved.map(c => Math.sqrt(sum(c.map(v => v * v))) || 1)
  const scaled = moved.map((c, j) => c.map(v => v / scale[j]!))
  const parts = intercept ? [w.map(v => v / Math.sqrt(weight)), ...scaled] : scaled
  return {
    matrix: new Matrix(parts.map(c => Array.from(c))).transpose(),
    shift: intercept ? [0, ...shift] : shift, scale: intercept ? [Math.sqrt(weight), ...scale] : scale,
  }
}

function solve(
  { matrix, shift, scale }: Conditioned, columns: LinearFitInput['columns'], y: ArrayLike<number>,
  w: Float64Array, intercept: boolean,
): Solved | undefined {
  const qr = new QrDecomposition(matrix)
  const r = qr.upperTriangularMatrix
  // columns have length one, so a diagonal this small means that one is a combination of the others
  if (!diagonal(r).every(d => Math.abs(d) > 1e-13)) return undefined
  const back = (scaled: number[]): number[] => {
    const b = scaled.map((v, j) => v / scale[j]!)
    if (intercept) b[0] = sum([b[0]!, ...b.slice(1).map((v, j) => -v * shift[j + 1]!)])
    return b
  }
  let coefficients = back(qr.solve(Matrix.columnVector(Array.from(y, (v, i) => v * w[i]!))).to1DArray())
  for (let pass = 0; pass < 2; pass++) {
    const residuals = residualsOf(coefficients, columns, y, intercept)
    const change = back(qr.solve(Matrix.columnVector(Array.from(residuals, (v, i) => v * w[i]!))).to1DArray())
    coefficients = coefficients.map((b, j) => b + change[j]!)
  }
  const inverse = invertUpper(r)
  const transform = transformRows(inverse, shift, scale, intercept)
  const unscaledCovariance = transform.mmul(transform.transpose()).to2DArray()
  return { coefficients, unscaledCovariance, residuals: residualsOf(coefficients, columns, y, intercept) }
}

/** Rows of T·R⁻¹, where T takes conditioned coefficients to those of the raw columns. */
function transformRows(inverse: Matrix, shift: number[], scale: number[], intercept: boolean): Matrix {
  const rows = inverse.to2DArray().map((row, j) => row.map(v => v / scale[j]!))
  if (intercept) {
    rows[0] = rows[0]!.map((v, k) => rows.slice(1).reduce((s, row, j) => s - row[k]! * shift[j + 1]!, v))
  }
  return new Matrix(rows)
}

function residualsOf(
  b: number[], columns: LinearFitInput['columns'], y: ArrayLike<number>, intercept: boolean,
): Float64Array {
  const slopes = intercept ? b.slice(1) : b
  return Float64Array.from(y, (value, i) => {
    const terms = [value]
    if (intercept) terms.push(-b[0]!)
    slopes.forEach((slope, j) => addProduct(terms, -slope, columns[j]![i]!))
    return sum(terms)
  })
}

/** Pushes a·b as two numbers whose sum is the product without rounding (Dekker's split). */
function addProduct(terms: number[], a: number, b: number): void {
  const product = a * b
  const [aHigh, bHigh] = [upperHalf(a), upperHalf(b)]
  const [aLow, bLow] = [a - aHigh, b - bHigh]
  const lost = ((aHigh * bHigh - product) + aHigh * bLow + aLow * bHigh) + aLow * bLow
  terms.push(product)
  if (Number.isFinite(lost)) terms.push(lost)
}

function upperHalf(value: number): number {
  const wide = value * 134217729
  return wide - (wide - value)
}

function finish(
  { coefficients, unscaledCovariance, residuals }: Solved, y: ArrayLike<number>, w: Float64Array,
  intercept: boolean, absolute: boolean,
): LinearFit {
  const dof = y.length - coefficients.length
  const rss = sum(residuals.map((v, i) => (v * w[i]!) ** 2))
  const variance = dof > 0 ? rss / dof : 0
  const covariance = unscaledCovariance.map(row => row.map(v => (absolute ? v : v * variance)))
  const weight = sum(w.map(v => v * v))
  const middle = intercept ? sum(w.map((v, i) => v * v * y[i]!)) / weight : 0
  const total = sum(Float64Array.from(y, (v, i) => ((v - middle) * w[i]!) ** 2))
  return {
    coefficients, covariance, residuals, dof,
    standardErrors: covariance.map((row, i) => Math.sqrt(row[i]!)),
    residualSd: Math.sqrt(variance),
    rSquared: total === 0 ? 1 : 1 - rss / total,
  }
}

const diagonal = (matrix: Matrix): number[] =>
  Array.from({ length: matrix.columns }, (_, i) => matrix.get(i, i))

/** Inverse of an upper triangular matrix by back substitution. */
export function invertUpper(r: Matrix): Matrix {
  const p = r.columns
  const inverse = Matrix.zeros(p, p)
  for (let column = 0; column < p; column++) {
    for (let row = column; row >= 0; row--) {
      let value = row === column ? 1 : 0
      for (let k = row + 1; k <= column; k++) value -= r.get(row, k) * inverse.get(k, column)
      inverse.set(row, column, value / r.get(row, row))
    }
  }
  return inverse
}
