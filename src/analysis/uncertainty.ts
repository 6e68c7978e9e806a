/**
 * Combination of standard uncertainties the GUM way: first-order propagation, optional correlation,
 * Welch-Satterthwaite degrees of freedom, expanded uncertainty. Type B helpers turn a bound into a standard
 * uncertainty. Formulas as given by open descriptions of the method; see tests/checks for worked values.
 */
import { assert } from '../base/assert.ts'
import { tQuantile } from './distributions.ts'

/** One input of a budget. `u` is the standard uncertainty in the input's own unit. */
export interface UncertaintyComponent {
  label: string
  u: number
  /** Degrees of freedom of u; Infinity (default) when u is taken as known. */
  dof?: number
  /** Change of the result per unit of this input; 1 by default. */
  sensitivity?: number
}

export interface Correlation { a: number; b: number; r: number }

export interface CombinedUncertainty {
  /** Combined standard uncertainty, in the unit of the result. */
  u: number
  /** Effective degrees of freedom, not truncated; Infinity when every component is known. */
  dof: number
  /** |sensitivity|·u of each component, in the order given. */
  contributions: number[]
}

/** Standard uncertainty of a bound ±a with equal chance inside: a/sqrt3. */
export const uRectangular = (halfWidth: number): number => nonNegative(halfWidth) / Math.sqrt(3)

/**
 * Standard uncertainty of a meter whose limit is ±(share of reading + share of range), taken as rectangular.
 * `readingShare` and `rangeShare` are fractions (0.007 % is 7e-5); result in the unit of `reading`.
 */
export function uOfAccuracy(
  reading: number, readingShare: number, range: number, rangeShare: number,
): number {
  return uRectangular(Math.abs(reading) * readingShare + Math.abs(range) * rangeShare)
}

/**
 * Combines components. `correlations` name pairs by index with r from -1 to 1. With correlation the Welch-
 * Satterthwaite formula does not hold strictly; it is still applied to the whole variance and is then only an
 * estimate. Asserts finite u >= 0.
 */
export function combineUncertainty(
  components: readonly UncertaintyComponent[], correlations: readonly Correlation[] = [],
): CombinedUncertainty {
  assert(components.length > 0, 'an uncertainty budget needs a component')
  const signed = components.map(c => {
    assert(c.u >= 0 && Number.isFinite(c.u), `uncertainty of ${c.label} must be a finite number, 0 or more`)
    return (c.sensitivity ?? 1) * c.u
  })
  let variance = 0
  for (const part of signed) variance += part * part
  for (const { a, b, r } of correlations) {
    const named = a !== b && signed[a] !== undefined && signed[b] !== undefined
    assert(named, 'a correlation names two components')
    assert(Math.abs(r) <= 1, `a correlation lies between -1 and 1, got ${r}`)
    variance += 2 * r * signed[a]! * signed[b]!
  }
  const u = Math.sqrt(Math.max(0, variance))
  return { u, dof: effectiveDof(u, components, signed), contributions: signed.map(Math.abs) }
}

/** Welch-Satterthwaite: u^4 / sum(u_i^4/dof_i). */
function effectiveDof(
  u: number, components: readonly UncertaintyComponent[], parts: readonly number[],
): number {
  let sum = 0
  components.forEach((c, i) => {
    const dof = c.dof ?? Infinity
    assert(dof > 0, `degrees of freedom of ${c.label} must be above 0`)
    if (u > 0) sum += (parts[i]! / u) ** 4 / dof
  })
  return sum === 0 ? Infinity : 1 / sum
}

export interface ExpandedUncertainty { expanded: number; k: number; dofUsed: number; coverage: number }

/**
 * Expanded uncertainty U = k·u for a two-sided `coverage` (0.95 by default). The degrees of freedom are
 * truncated to a whole number, never rounded up, and never below 1.
 */
export function expandUncertainty(u: number, dof = Infinity, coverage = 0.95): ExpandedUncertainty {
  assert(coverage > 0 && coverage < 1, `coverage lies between 0 and 1, got ${coverage}`)
  // 1e-9: a count of degrees of freedom that is whole but for rounding stays what it is
  const dofUsed = Number.isFinite(dof) ? Math.max(1, Math.floor(dof + 1e-9)) : Infinity
  const k = tQuantile((1 + coverage) / 2, dofUsed)
  return { expanded: k * nonNegative(u), k, dofUsed, coverage }
}

/**
 * Partial derivatives of `model` at `inputs`, by central differences over ±step. `steps` default to the
 * inputs' own standard uncertainties where given (the GUM's own numerical recipe), else to 1e-5 of the input.
 */
export function numericalSensitivities(
  model: (inputs: number[]) => number, inputs: readonly number[], steps?: readonly number[],
): number[] {
  return inputs.map((value, i) => {
    const wanted = steps?.[i]
    const step = wanted !== undefined && wanted > 0 ? wanted : 1e-5 * (Math.abs(value) || 1)
    const at = (x: number): number => model(inputs.map((v, j) => (j === i ? x : v)))
    return (at(value + step) - at(value - step)) / (2 * step)
  })
}

/**
 * Propagates a covariance matrix through several model functions: C = J·V·Jᵀ, J by central differences of
 * 1e-5 of each input or 1e-3 of its u, whichever is more. Returns values, standard uncertainties and
 * covariance.
 */
export function propagateCovariance(
  models: readonly ((inputs: number[]) => number)[], inputs: readonly number[],
  covariance: readonly (readonly number[])[],
): { values: number[]; u: number[]; covariance: number[][] } {
  const steps = inputs.map((x, i) => Math.max(1e-5 * Math.abs(x), 1e-3 * Math.sqrt(covariance[i]![i]!)))
  const jacobian = models.map(model => numericalSensitivities(model, inputs, steps))
  const left = jacobian.map(row =>
    inputs.map((_, j) => row.reduce((s, c, i) => s + c * covariance[i]![j]!, 0)))
  const result = left.map(row => jacobian.map(other => row.reduce((s, c, j) => s + c * other[j]!, 0)))
  return {
    values: models.map(model => model([...inputs])),
    u: result.map((row, i) => Math.sqrt(Math.max(0, row[i]!))),
    covariance: result,
  }
}

function nonNegative(value: number): number {
  assert(value >= 0 && Number.isFinite(value), `a finite number, 0 or more, is needed, got ${value}`)
  return value
}
