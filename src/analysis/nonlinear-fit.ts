/**
 * Nonlinear least squares. The library's Levenberg-Marquardt search finds the neighbourhood from several
 * dampings (it damps by the identity, so parameters are scaled by their start first); our own Marquardt steps
 * on a QR decomposition then finish, because the library has no test of convergence. Covariance from the
 * Jacobian at the solution. Checked against the NIST StRD nonlinear sets.
 */
import { assert } from '../base/assert.ts'
import { levenbergMarquardt } from 'ml-levenberg-marquardt'
import { Matrix, QrDecomposition } from 'ml-matrix'
import { allFinite, allPositive, assertNumbers, assertSameLength } from './inputs.ts'
import { invertUpper } from './linear-fit.ts'

/** Given parameters, the function of x. A model of several predictors takes the row number as x. */
export type Model = (parameters: number[]) => (x: number) => number

export interface NonlinearFitInput {
  model: Model
  x: ArrayLike<number>
  y: ArrayLike<number>
  /** Standard uncertainty of each y, in its unit. Without it all points weigh the same. */
  u?: ArrayLike<number>
  start: readonly number[]
  lower?: readonly number[]
  upper?: readonly number[]
  /** Tries our own steps from the start alone first, and searches only if they do not arrive: much faster. */
  startIsNear?: boolean
}

export interface NonlinearFit {
  parameters: number[]
  standardErrors: number[]
  /** Absolute with u; scaled by the residual variance without. */
  covariance: number[][]
  /** Sum of squares of (y - model)/u, or of y - model without u. */
  rss: number
  residualSd: number
  dof: number
  /** True when a parameter rests on a bound: its uncertainty then means nothing. */
  atBound: boolean
}

export type NonlinearFitResult = ({ ok: true } & NonlinearFit) | { ok: false; reason: NonlinearFailure }
export type NonlinearFailure =
  'too few points' | 'start outside model' | 'not converged' | 'parameters depend'

/**
 * Fits the model from `start`. Asserts finite, equally long arrays; returns ok:false, with the reason, where
 * it does not converge. `ok` means the gradient is orthogonal to the residuals to 1e-7 of what noise allows.
 */
export function fitNonlinear(input: NonlinearFitInput): NonlinearFitResult {
  const { x, y, u, start, lower, upper } = input
  assertNumbers(x, 'x')
  assertNumbers(y, 'y')
  assertNumbers(start, 'start')
  assertSameLength(x, y, 'x and y')
  if (u) { assertSameLength(u, y, 'u and y'); assert(allPositive(u), 'u must be above 0') }
  if (lower) assertSameLength(lower, start, 'lower and start')
  if (upper) assertSameLength(upper, start, 'upper and start')
  const fewest = start.length + (u ? 0 : 1)
  if (y.length < fewest) return { ok: false, reason: 'too few points' }
  const problem = new Problem(input)
  if (!allFinite(problem.residuals([...start]))) return { ok: false, reason: 'start outside model' }
  const direct = finish(problem, [...start])
  const found = input.startIsNear && direct.converged
    ? [direct] : [direct, ...searchFrom(problem, input).map(c => finish(problem, c))]
  const best = found.filter(f => f.converged).sort((a, b) => a.rss - b.rss)[0]
  if (!best) return { ok: false, reason: 'not converged' }
  return summary(problem, best.parameters, best.rss, u !== undefined)
}

const dampings = [1e-4, 1e-1, 1e2]

/** The library's result for each damping, in raw parameters. */
function searchFrom(problem: Problem, input: NonlinearFitInput): number[][] {
  const { x, y, u, start, model, lower, upper } = input
  const unit = start.map(v => Math.abs(v) || 1)
  const yScale = Math.max(...Array.from(y, Math.abs)) || 1
  const scaledModel = (q: number[]) => {
    const f = model(q.map((v, i) => v * unit[i]!))
    return (at: number): number => f(at) / yScale
  }
  const bound = (values: readonly number[] | undefined) =>
    (values ? { values: values.map((v, i) => v / unit[i]!) } : undefined)
  const [low, high] = [bound(lower), bound(upper)]
  const found: number[][] = []
  for (const damping of dampings) {
    try {
      const { parameterValues } = levenbergMarquardt(
        { x, y: Array.from(y, v => v / yScale) }, scaledModel, {
          initialValues: start.map((v, i) => v / unit[i]!), damping, maxIterations: 200, errorTolerance: 0,
          centralDifference: true, gradientDifference: 1e-6, improvementThreshold: 1e-3,
          ...(u && { weights: Array.from(u, v => v / yScale) }),
          ...(low && { minValues: low.values }), ...(high && { maxValues: high.values }),
        })
      const parameters = parameterValues.map((v, i) => v * unit[i]!)
      if (allFinite(parameters) && allFinite(problem.residuals(parameters))) found.push(parameters)
    } catch {
      // a singular step inside the library: the next damping, or our own steps, may still arrive
    }
  }
  return found
}

class Problem {
  readonly n: number
  readonly #input: NonlinearFitInput
  constructor(input: NonlinearFitInput) { this.#input = input; this.n = input.y.length }

  /** Weighted residuals (y - model)/u. */
  residuals(parameters: number[]): Float64Array {
    const { model, x, y, u } = this.#input
    const f = model(parameters)
    return Float64Array.from(y, (value, i) => (value - f(x[i]!)) / (u ? u[i]! : 1))
  }

  /** Sum of squares of the data themselves: what a residual must be compared with to be rounding alone. */
  dataSquares(): number {
    const { y, u } = this.#input
    return squares(Float64Array.from(y, (value, i) => value / (u ? u[i]! : 1)))
  }

  clamp(parameters: number[]): number[] {
    const { lower, upper } = this.#input
    return parameters.map((v, i) => Math.min(Math.max(v, lower?.[i] ?? -Infinity), upper?.[i] ?? Infinity))
  }

  /** -1 on the lower bound, 1 on the upper, 0 between. */
  side(parameters: number[]): number[] {
    const { lower, upper } = this.#input
    return parameters.map((v, i) => {
      if (v <= (lower?.[i] ?? -Infinity)) return -1
      return v >= (upper?.[i] ?? Infinity) ? 1 : 0
    })
  }

  /** Derivatives of the weighted model by each parameter (n rows), by central differences of fourth order. */
  jacobian(parameters: number[]): Matrix {
    const { model, x, u } = this.#input
    const columns = parameters.map((value, j) => {
      const h = 3e-4 * (Math.abs(value) || 1e-3)
      const at = (k: number) => model(parameters.map((v, i) => (i === j ? v + k * h : v)))
      const [a, b, c, d] = [at(-2), at(-1), at(1), at(2)]
      return Array.from({ length: this.n }, (_, i) => {
        const xi = x[i]!
        return (a(xi) - 8 * b(xi) + 8 * c(xi) - d(xi)) / (12 * h * (u ? u[i]! : 1))
      })
    })
    return new Matrix(columns).transpose()
  }
}

/**
 * Columns have length one: a diagonal of R below this means that two parameters do the same thing to the
 * model.
 */
const dependent = 1e-10

const squares = (r: Float64Array): number => r.reduce((s, v) => s + v * v, 0)

interface Finished { parameters: number[]; rss: number; converged: boolean }

/** Marquardt steps with column scaling until the gradient vanishes; bounds by clamping. */
function finish(problem: Problem, from: number[]): Finished {
  const rounding = 1e-24 * problem.dataSquares()
  let parameters = problem.clamp(from)
  let residuals = problem.residuals(parameters)
  let rss = squares(residuals)
  let lambda = 1e-3
  for (let pass = 0; pass < 400; pass++) {
    const slope = slopeAt(problem, parameters, residuals)
    if (!slope) break
    if (slope.offset < 1e-7 || rss <= 1e-4 * rounding) return { parameters, rss, converged: true }
    let moved = false
    for (let attempt = 0; attempt < 14 && !moved; attempt++) {
      const step = marquardtStep(slope, residuals, lambda)
      const next = problem.clamp(parameters.map((v, i) => v + step[i]!))
      const nextResiduals = problem.residuals(next)
      const nextRss = squares(nextResiduals)
      moved = nextRss < rss
      if (moved) { parameters = next; residuals = nextResiduals; rss = nextRss }
      lambda = moved ? Math.max(lambda / 10, 1e-15) : lambda * 10
    }
    if (!moved) return { parameters, rss, converged: slope.offset < 1e-4 || rss < rounding }
  }
  return { parameters, rss, converged: false }
}

/** The Jacobian less its scale; columns of parameters held by a bound are zero. */
interface Slope { scaled: Matrix; scale: number[]; offset: number }

function slopeAt(problem: Problem, parameters: number[], residuals: Float64Array): Slope | undefined {
  const jacobian = problem.jacobian(parameters)
  const side = problem.side(parameters)
  const columns = parameters.map((_, j) => {
    const column = jacobian.getColumn(j)
    const downhill = column.reduce((s, v, i) => s + v * residuals[i]!, 0)
    return side[j]! * downhill > 0 ? column.map(() => 0) : column
  })
  const scale = columns.map(c => Math.hypot(...c) || 1)
  if (!scale.every(Number.isFinite)) return undefined
  const scaled = new Matrix(columns.map((c, j) => c.map(v => v / scale[j]!))).transpose()
  return { scaled, scale, offset: relativeOffset(scaled, residuals) }
}

/**
 * Share of the residual vector that lies in the tangent plane: zero at a minimum (Bates and Watts'
 * criterion).
 */
function relativeOffset(scaled: Matrix, residuals: Float64Array): number {
  const free = freeColumns(scaled)
  const length = Math.sqrt(squares(residuals))
  if (length === 0 || free.columns === 0) return 0
  const qr = new QrDecomposition(free)
  const along = qr.orthogonalMatrix.transpose().mmul(Matrix.columnVector(Array.from(residuals))).to1DArray()
  const r = qr.upperTriangularMatrix
  return Math.hypot(...along.filter((_, j) => Math.abs(r.get(j, j)) > dependent)) / length
}

function freeColumns(scaled: Matrix): Matrix {
  const free = Array.from({ length: scaled.columns }, (_, j) => scaled.getColumn(j))
    .filter(column => column.some(v => v !== 0))
  return free.length === 0 ? Matrix.zeros(scaled.rows, 0) : new Matrix(free).transpose()
}

/** Least squares of [J; sqrt(lambda)·I]·step = [r; 0], in scaled columns. */
function marquardtStep({ scaled, scale }: Slope, residuals: Float64Array, lambda: number): number[] {
  const p = scaled.columns
  const augmented = Matrix.zeros(scaled.rows + p, p)
  augmented.setSubMatrix(scaled, 0, 0)
  const right = Matrix.zeros(scaled.rows + p, 1)
  residuals.forEach((v, i) => right.set(i, 0, v))
  for (let j = 0; j < p; j++) augmented.set(scaled.rows + j, j, Math.sqrt(lambda))
  return new QrDecomposition(augmented).solve(right).to1DArray().map((v, j) => v / scale[j]!)
}

function summary(problem: Problem, parameters: number[], rss: number, absolute: boolean): NonlinearFitResult {
  const jacobian = problem.jacobian(parameters)
  const scale = parameters.map((_, j) => jacobian.getColumnVector(j).norm() || 1)
  const scaled = jacobian.clone()
  scale.forEach((s, j) => scaled.mulColumn(j, 1 / s))
  const r = new QrDecomposition(scaled).upperTriangularMatrix
  for (let j = 0; j < scale.length; j++) {
    if (!(Math.abs(r.get(j, j)) > dependent)) return { ok: false, reason: 'parameters depend' }
  }
  const inverse = invertUpper(r)
  const dof = problem.n - parameters.length
  const variance = dof > 0 ? rss / dof : 0
  const covariance = inverse.mmul(inverse.transpose()).to2DArray()
    .map((row, i) => row.map((v, j) => v / (scale[i]! * scale[j]!) * (absolute ? 1 : variance)))
  return {
    ok: true, parameters, covariance, rss, dof, residualSd: Math.sqrt(variance),
    standardErrors: covariance.map((row, i) => Math.sqrt(row[i]!)),
    atBound: problem.side(parameters).some(s => s !== 0),
  }
}
