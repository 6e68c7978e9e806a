/** What a lot sheet says of one quantity of a lot. */
import { assertNumbers } from '../inputs.ts'
import { mean, median, robustSd, sd } from '../statistics.ts'
import { capability, type Capability, type Limits } from './capability.ts'
import { histogram, type Bin } from './histogram.ts'
import { grubbsTest, robustOutliers, type GrubbsResult } from './outliers.ts'
import { yieldOf, type Yield } from './yield.ts'

export interface LotSummary {
  n: number
  /** In the unit of the values, as all that follow; s (divisor n-1) is undefined for one part. */
  mean: number
  s: number | undefined
  median: number
  /** 1.4826 times the median absolute deviation. */
  robustS: number
  least: number
  most: number
  bins: Bin[]
  /** Undefined without limits, or where the parts do not differ. */
  capability: Capability | undefined
  /** Grubbs' two-sided test at 5 %; undefined for fewer than three parts or parts that do not differ. */
  grubbs: GrubbsResult | undefined
  /** Indices of parts more than 3.5 robust standard deviations from the median. */
  outliers: number[]
  /** Parts within the limits (a value on a limit is within); undefined without limits. */
  yield: Yield | undefined
}

/** Summarises a lot, one value a part. Asserts finite values, one at least, and sane limits. */
export function summariseLot(values: ArrayLike<number>, limits: Limits = {}): LotSummary {
  assertNumbers(values, 'values')
  const n = values.length
  const middle = mean(values)
  const s = n >= 2 ? sd(values) : undefined
  const limited = limits.lower !== undefined || limits.upper !== undefined
  const differ = s !== undefined && s > 0
  const all = Array.from(values)
  const within = (v: number): boolean => v >= (limits.lower ?? -Infinity) && v <= (limits.upper ?? Infinity)
  return {
    n, mean: middle, s, median: median(values), robustS: robustSd(values),
    least: all.reduce((a, b) => Math.min(a, b)), most: all.reduce((a, b) => Math.max(a, b)),
    bins: histogram(values),
    capability: limited && differ ? capability({ n, mean: middle, s }, limits) : undefined,
    grubbs: n >= 3 && differ ? grubbsTest(values) : undefined,
    outliers: robustOutliers(values),
    yield: limited ? yieldOf(all.filter(within).length, n) : undefined,
  }
}
