/** Risks of a decision rule over a whole process, by numerical integration. */
import { assert } from '../base/assert.ts'
import { type Limits, assertLimits } from './conformance.ts'
import { normalCdf, normalDensity } from './distributions.ts'

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
