/**
 * Risks of a decision rule over a whole process, by numerical integration, and probability of conformity by
 * Monte Carlo for budgets that are not near normal.
 */
import { assert } from '../base/assert.ts'
import { SeededRandom } from '../base/random.ts'
import { type Limits, assertLimits } from './conformance.ts'
import { normalCdf, normalDensity } from './distributions.ts'
import type { UncertaintyComponent } from './uncertainty.ts'

export interface Process { mean: number; sd: number }

export interface GlobalRisks {
  /** Probability that a part is outside the limits and accepted. */
  consumer: number
  /** Probability that a part is within the limits and not accepted. */
  producer: number
}

/**
 * Consumer's and producer's risk of parts drawn from a normal process, measured with normal u, and accepted
 * inside the limits less `guardBand` (0 by default; negative widens). Simpson's rule between the limits and
 * to 10 sd: error below 1e-9. Asserts sd, u > 0 and that the guard band leaves an interval.
 */
export function globalRisks(process: Process, u: number, limits: Limits, guardBand = 0): GlobalRisks {
  assertLimits(limits)
  assert(process.sd > 0 && u > 0, 'risks need an sd and a u above 0')
  const { lower = -Infinity, upper = Infinity } = limits
  const [from, to] = [lower + guardBand, upper - guardBand]
  assert(from < to, 'the guard band leaves no acceptance interval')
  const density = (x: number): number => normalDensity((x - process.mean) / process.sd) / process.sd
  const accepted = (x: number): number => normalCdf((to - x) / u) - normalCdf((from - x) / u)
  const [low, high] = [process.mean - 10 * process.sd, process.mean + 10 * process.sd]
  const clip = (x: number): number => Math.min(high, Math.max(low, x))
  const wrong = (x: number): number => density(x) * accepted(x)
  return {
    consumer: simpson(wrong, low, clip(lower)) + simpson(wrong, clip(upper), high),
    producer: simpson(x => density(x) * (1 - accepted(x)), clip(lower), clip(upper)),
  }
}

function simpson(f: (x: number) => number, from: number, to: number, pieces = 2000): number {
  if (!(to > from)) return 0
  const h = (to - from) / pieces
  let total = f(from) + f(to)
  for (let i = 1; i < pieces; i++) total += f(from + i * h) * (i % 2 === 1 ? 4 : 2)
  return total * h / 3
}

export interface MonteCarloConformance {
  pConform: number
  /** Standard error of pConform from the finite number of draws. */
  uPConform: number
  /** Standard deviation of the drawn values: the combined standard uncertainty. */
  u: number
  /** Interval that holds the middle 95 % of the draws. */
  interval95: [lower: number, upper: number]
}

/**
 * Probability that the true value lies within the limits when the components have the shapes they say
 * (rectangular, triangular, U-shaped, normal, or t: scaled by u, whole dof). Same seed, same answer.
 */
export function pConformMonteCarlo(
  y: number, components: readonly UncertaintyComponent[], limits: Limits, seed: number | string,
  draws = 100_000,
): MonteCarloConformance {
  assertLimits(limits)
  assert(Number.isFinite(y) && components.length > 0, 'Monte Carlo needs a value and a budget')
  assert(draws >= 100, 'Monte Carlo needs 100 draws or more')
  for (const { u, label } of components) {
    assert(u >= 0 && u < Infinity, `u of ${label} must be a finite number`)
  }
  const { lower = -Infinity, upper = Infinity } = limits
  const random = new SeededRandom(seed)
  const values = new Float64Array(draws)
  let inside = 0, sum = 0, squares = 0
  for (let i = 0; i < draws; i++) {
    let off = 0
    for (const c of components) off += (c.sensitivity ?? 1) * c.u * draw(c, random)
    const value = y + off
    values[i] = value
    if (value >= lower && value <= upper) inside++
    sum += off
    squares += off * off
  }
  values.sort()
  const p = inside / draws
  return {
    pConform: p, uPConform: Math.sqrt(Math.max(p * (1 - p), 1 / draws) / draws),
    u: Math.sqrt(Math.max(0, squares - sum * sum / draws) / (draws - 1)),
    interval95: [values[Math.floor(0.025 * draws)]!, values[Math.ceil(0.975 * draws) - 1]!],
  }
}

/** A deviate with standard deviation 1 (t: with scale 1). */
function draw(component: UncertaintyComponent, random: SeededRandom): number {
  const { distribution = 'normal', dof = Infinity } = component
  switch (distribution) {
    case 'rectangular': return Math.sqrt(3) * random.uniform(-1, 1)
    case 'triangular': return Math.sqrt(6) * (random.next() + random.next() - 1)
    case 'u-shaped': return Math.SQRT2 * Math.cos(Math.PI * random.next())
    case 't': return studentDeviate(dof, random)
    case 'normal': return random.normal()
  }
}

function studentDeviate(dof: number, random: SeededRandom): number {
  const z = random.normal()
  if (dof > 200) return z
  assert(dof >= 1, 'a t component needs one degree of freedom or more')
  let chi2 = 0
  for (let i = 0; i < Math.floor(dof); i++) chi2 += random.normal() ** 2
  return z / Math.sqrt(chi2 / Math.floor(dof))
}
