/**
 * What a sampling plan lets pass: operating characteristic, plans that accept on zero, estimates by
 * variables.
 */
import { assert } from '../../base/assert.ts'
import jStat from 'jstat'
import { binomialCdf } from '../binomial.ts'
import { betaCdf, bisect } from '../distributions.ts'

/**
 * Chance that a lot with share `p` bad is accepted by n parts and `ac` bad at most (a large lot; binomial).
 */
export function acceptance(p: number, n: number, ac: number): number {
  return ac >= n ? 1 : binomialCdf(ac, n, p)
}

/** The same by the Poisson distribution, for nonconformities of which one part may have several. */
export function acceptancePoisson(p: number, n: number, ac: number): number {
  assert(p >= 0 && n >= 1 && ac >= 0, 'acceptance needs p of 0 or more, n of 1 or more, ac of 0 or more')
  let term = Math.exp(-n * p)
  let total = term
  for (let k = 1; k <= ac; k++) { term *= n * p / k; total += term }
  return Math.min(1, total)
}

/** The same for a lot of `lotSize` with `bad` bad parts (sampling without putting back; hypergeometric). */
export function acceptanceOfLot(bad: number, lotSize: number, n: number, ac: number): number {
  assert([bad, lotSize, n, ac].every(v => Number.isInteger(v) && v >= 0), 'lot and sample are whole numbers')
  assert(bad <= lotSize && n <= lotSize, 'a sample and the bad parts are no more than the lot')
  let total = 0
  for (let k = Math.max(0, n - (lotSize - bad)); k <= Math.min(ac, bad, n); k++) {
    total += Math.exp(logChoose(bad, k) + logChoose(lotSize - bad, n - k) - logChoose(lotSize, n))
  }
  return Math.min(1, total)
}

const logChoose = (n: number, k: number): number =>
  jStat.gammaln(n + 1) - jStat.gammaln(k + 1) - jStat.gammaln(n - k + 1)

/** Share bad at which a lot is accepted with the given chance (0.95: producer's point; 0.10: consumer's). */
export function shareAtAcceptance(chance: number, n: number, ac: number, of = acceptance): number {
  assert(chance > 0 && chance < 1 && ac < n, 'needs a chance between 0 and 1, and ac below n')
  return bisect(p => of(p, n, ac) - chance, 0, 1)
}

/**
 * Chance of acceptance under switching between a normal and a tightened plan, from theirs (Stephens and
 * Larson's formula, read in a public package). Asserts both between 0 and 1, exclusive.
 */
export function acceptanceWithSwitching(normal: number, tightened: number): number {
  assert(normal > 0 && normal < 1 && tightened > 0 && tightened < 1, 'chances must be between 0 and 1')
  const a = (2 - normal ** 4) / ((1 - normal) * (1 - normal ** 4))
  const b = (1 - tightened ** 5) / ((1 - tightened) * tightened ** 5)
  return (a * normal + b * tightened) / (a + b)
}

/**
 * Sample size that, with none bad, shows with `confidence` that the share bad is below `p`: for a large lot,
 * or for one of `lotSize` (where p·lotSize, rounded up, are taken as bad). Asserts 0 < p < 1 and the same of
 * confidence.
 */
export function zeroAcceptanceSample(p: number, confidence: number, lotSize?: number): number {
  assert(p > 0 && p < 1 && confidence > 0 && confidence < 1, 'p and confidence must be between 0 and 1')
  const large = Math.ceil(Math.log1p(-confidence) / Math.log1p(-p) - 1e-9)
  if (lotSize === undefined) return large
  const bad = Math.ceil(p * lotSize - 1e-9)
  for (let n = 1; n < lotSize; n++) {
    if (acceptanceOfLot(bad, lotSize, n, 0) <= (1 - confidence) * (1 + 1e-9)) return n
  }
  return lotSize
}

/**
 * Estimated share beyond one limit from a normal sample: `quality` is the distance of the mean from the limit
 * in sample standard deviations, `n` 3 or more (the estimate of sampling by variables; formula from memory of
 * MIL-STD-414). A lot is accepted when `quality` reaches the plan's k.
 */
export function shareBeyondLimit(quality: number, n: number): number {
  assert(Number.isInteger(n) && n >= 3 && Number.isFinite(quality), 'needs three values and a finite quality')
  const x = 0.5 - 0.5 * quality * Math.sqrt(n) / (n - 1)
  return betaCdf(x, n / 2 - 1, n / 2 - 1)
}
