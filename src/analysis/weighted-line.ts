/**
 * A straight line through readings against time, in a few passes over the data and without matrices: it runs
 * for every position after every sweep. Its slope's uncertainty is inflated when successive residuals
 * resemble one another.
 */

export interface WeightedLine {
  n: number
  /** Weighted mean time in s, and the level there, in the unit of y. */
  centreS: number
  level: number
  uLevel: number
  /** Per second, and its standard uncertainty, which `dof` degrees of freedom support. */
  slope: number
  uSlope: number
  dof: number
  /** Weighted sum of squared residuals. */
  chi2: number
  /** Lag-1 correlation of the residuals, corrected for what fitting a line takes away, 0 to 0.9. */
  resemblance: number
}

/**
 * Fits the line; `u` is the random part of each reading (noise and resolution), used as weight and as the
 * least scatter believed; without it all readings weigh the same. Needs n >= 3, times not all the same, all
 * finite (the callers check).
 */
export function weightedLine(
  tS: ArrayLike<number>, y: ArrayLike<number>, u?: ArrayLike<number>,
): WeightedLine {
  const n = y.length
  const sigma = (i: number): number => (u ? u[i]! : 1)
  const w = (i: number): number => 1 / (sigma(i) * sigma(i))
  let sw = 0, st = 0, sy = 0
  for (let i = 0; i < n; i++) {
    const k = w(i)
    sw += k
    st += k * (tS[i]! - tS[0]!)
    sy += k * (y[i]! - y[0]!)
  }
  const tBar = st / sw
  const yBar = sy / sw
  let stt = 0, sty = 0
  for (let i = 0; i < n; i++) {
    const d = tS[i]! - tS[0]! - tBar
    stt += w(i) * d * d
    sty += w(i) * d * (y[i]! - y[0]! - yBar)
  }
  const slope = sty / stt
  const middleS = tS[0]! + tBar
  const level = y[0]! + yBar
  const residuals = Float64Array.from(y, (value, i) =>
    (value - y[0]! - yBar - slope * (tS[i]! - middleS)) / sigma(i))
  const chi2 = squaresOf(residuals)
  const bent = n >= fewestForResemblance
  if (bent) takeBendOut(residuals, tS, middleS, sigma)
  const resemblance = bent ? lag1(residuals) : 0
  const inflation = Math.sqrt((1 + resemblance) / (1 - resemblance))
  const left = n - (bent ? 3 : 2)
  const scatter = Math.sqrt(squaresOf(residuals) / left)
  // scatter below what the readings' own uncertainty promises is luck or resolution, not knowledge
  const believed = (u ? Math.max(1, scatter) : scatter) * inflation
  return {
    n, centreS: middleS, level, slope, resemblance, chi2,
    uLevel: believed / Math.sqrt(sw), uSlope: believed / Math.sqrt(stt),
    dof: Math.max(2, (n * (1 - resemblance)) / (1 + resemblance) - (n - left)),
  }
}

/**
 * Below this many readings neither their correlation nor a bend can be estimated; both are then taken as
 * none.
 */
const fewestForResemblance = 8

const squaresOf = (values: Float64Array): number => {
  let total = 0
  for (let i = 0; i < values.length; i++) total += values[i]! * values[i]!
  return total
}

/**
 * Removes the component along a parabola: a decay is bent, and a bend would pass for noise that resembles
 * itself. The slope stays that of the line, the mean slope of the window.
 */
function takeBendOut(
  residuals: Float64Array, tS: ArrayLike<number>, middleS: number, sigma: (i: number) => number,
): void {
  const n = residuals.length
  let s0 = 0, s2 = 0, s3 = 0
  for (let i = 0; i < n; i++) {
    const d = tS[i]! - middleS
    const k = 1 / (sigma(i) * sigma(i))
    s0 += k; s2 += k * d * d; s3 += k * d * d * d
  }
  const bend = (i: number): number => {
    const d = tS[i]! - middleS
    return (d * d - (s3 / s2) * d - s2 / s0) / sigma(i)
  }
  let along = 0, length = 0
  for (let i = 0; i < n; i++) { const b = bend(i); along += b * residuals[i]!; length += b * b }
  if (length === 0) return
  for (let i = 0; i < n; i++) residuals[i]! -= (along / length) * bend(i)
}

/**
 * Lag-1 correlation, corrected: fitting a parabola makes residuals look alternating. The correction was
 * chosen by simulation of correlated noise (0 to 0.8; 8 to 200 readings).
 */
function lag1(residuals: Float64Array): number {
  const n = residuals.length
  let products = 0
  for (let i = 1; i < n; i++) products += residuals[i]! * residuals[i - 1]!
  const squares = squaresOf(residuals)
  const r1 = squares > 0 ? products / squares : 0
  return Math.min(0.9, Math.max(0, (n * r1 + 3) / (n - 5)))
}
