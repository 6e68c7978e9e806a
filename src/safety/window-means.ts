/**
 * Means over windows of time that double: noise falls, and a slow bend shows, at the cost of a later answer.
 * Each reading touches the shortest window alone. Pure; ms and the unit of the values.
 */

export interface WindowMean {
  readonly mean: number
  /** Readings in it. */
  readonly n: number
}
export interface WindowLadder {
  /** Null before the first reading. */
  readonly fromMs: number | null
  readonly sum: number
  readonly n: number
  /** By scale, the shortest first: the last means, oldest first. */
  readonly means: readonly (readonly WindowMean[])[]
  /** How many windows of each scale have closed since the ladder began. */
  readonly closed: readonly number[]
  /** Scales that closed a window with the last reading. */
  readonly news: number
}
export interface LadderRules {
  /** Length of the shortest window; each scale is twice as long as the one before. */
  readonly windowMs: number
  readonly scales: number
  /** Means kept of each scale. */
  readonly keep: number
}

export const freshLadder: WindowLadder = { fromMs: null, sum: 0, n: 0, means: [], closed: [], news: 0 }

/** A window that passed without a reading ends what was gathered: its means are no longer side by side. */
export function stepLadder(
  rules: LadderRules, ladder: WindowLadder, atMs: number, value: number,
): WindowLadder {
  const { fromMs, sum, n } = ladder
  if (fromMs === null) return { ...freshLadder, fromMs: atMs, sum: value, n: 1 }
  const passed = Math.floor((atMs - fromMs) / rules.windowMs)
  if (passed === 0) return { ...ladder, sum: sum + value, n: n + 1, news: 0 }
  if (passed !== 1 || n === 0) return { ...freshLadder, fromMs: atMs, sum: value, n: 1 }
  const { means, closed, news } = close(rules, ladder, { mean: sum / n, n })
  return { fromMs: fromMs + rules.windowMs, sum: value, n: 1, means, closed, news }
}

function close(
  { scales, keep }: LadderRules, { means, closed }: WindowLadder, first: WindowMean,
): Pick<WindowLadder, 'means' | 'closed' | 'news'> {
  const [nextMeans, nextClosed] = [[...means], [...closed]]
  let window = first
  for (let scale = 0; scale < scales; scale++) {
    const kept = [...nextMeans[scale] ?? [], window].slice(-keep)
    nextMeans[scale] = kept
    nextClosed[scale] = (nextClosed[scale] ?? 0) + 1
    if (nextClosed[scale]! % 2 === 1) return { means: nextMeans, closed: nextClosed, news: scale + 1 }
    const before = kept[kept.length - 2]!
    const n = before.n + window.n
    window = { mean: (before.mean * before.n + window.mean * window.n) / n, n }
  }
  return { means: nextMeans, closed: nextClosed, news: scales }
}
