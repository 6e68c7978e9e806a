/** Points of a plot: thinned to what an eye tells apart, in runs without gaps, without their peaks. Pure. */
type Value = number | null
export interface Point { readonly x: number; readonly y: number; readonly low: Value; readonly high: Value }

/** Columns of points: more than these no eye tells apart. */
const columns = 480

/** Of many points the lowest and highest of each column: no line of a spectrum is lost. */
export function thinned(points: readonly (Point | null)[], isLog: boolean): readonly (Point | null)[] {
  const good = points.flatMap(point => point ? [point] : [])
  if (good.length <= 2 * columns) return points
  const along = (point: Point): number => isLog ? Math.log(point.x) : point.x
  const [first, last] = [along(good[0]!), along(good.at(-1)!)]
  const kept: (Point | null)[] = []
  let [column, low, high] = [-1, good[0]!, good[0]!]
  const close = (): void => {
    kept.push(...low === high ? [low] : low.x < high.x ? [low, high] : [high, low])
  }
  for (const point of points) {
    if (point === null) {
      if (column >= 0) {
        close()
        kept.push(null)
      }
      column = -1
      continue
    }
    const here = Math.floor((along(point) - first) / (last - first || 1) * columns)
    if (here !== column) {
      if (column >= 0) close()
      ;[column, low, high] = [here, point, point]
      continue
    }
    if (point.y < low.y) low = point
    if (point.y > high.y) high = point
  }
  if (column >= 0) close()
  return kept
}

/** In runs that no gap breaks. */
export function unbroken(points: readonly (Point | null)[]): Point[][] {
  const runs: Point[][] = [[]]
  for (const point of points) {
    if (point) runs.at(-1)!.push(point)
    else if (runs.at(-1)!.length > 0) runs.push([])
  }
  return runs.filter(run => run.length > 0)
}

/** Of every hundred values one at either end may be a peak, and is one where it is this far from the rest. */
const [peakShare, peakSpans] = [0.01, 2]

/** Without those of either end that are peaks: so many times farther away than all the rest spans. */
export function withoutPeaks(heights: readonly number[]): readonly number[] {
  const sorted = [...heights].sort((a, b) => a - b)
  const skipped = Math.ceil(peakShare * sorted.length)
  const rest = sorted.slice(skipped, sorted.length - skipped)
  const [low, high] = [rest[0] ?? NaN, rest.at(-1) ?? NaN]
  const room = peakSpans * (high - low)
  if (!(room > 0)) return heights
  const isKept = (value: number): boolean => value >= low && value <= high
    || value < low && sorted[0]! >= low - room || value > high && sorted.at(-1)! <= high + room
  const kept = sorted.filter(isKept)
  return kept.length === sorted.length ? heights : kept
}
