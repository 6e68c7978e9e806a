/**
 * How steeply a place of a sound unit warms at each rise over the air, learned from warm-ups that went well.
 * By the rise, not by the time: the same rise comes at another time after a pause. Pure; K, ms.
 */
import { freshLadder, stepLadder } from './window-means.ts'

export interface SlopeEnvelope {
  readonly binK: number
  /** Steepest slope seen in each bin of rise, K/ms; the last holds for all rises above it. */
  readonly slopes: readonly number[]
}
export interface RiseAt { readonly atMs: number; readonly riseK: number }

/** Warm-ups of one unit at one drive. Null where there is none of two windows. */
export function learnEnvelope(
  warmUps: Iterable<Iterable<RiseAt>>, windowMs: number, binK = 5,
): SlopeEnvelope | null {
  const slopes: number[] = []
  for (const warmUp of warmUps) {
    let ladder = freshLadder
    for (const { atMs, riseK } of warmUp) {
      ladder = stepLadder({ windowMs, scales: 1, keep: 2 }, ladder, atMs, riseK)
      const [before, last] = ladder.means[0] ?? []
      if (ladder.news === 0 || !before || !last) continue
      const bin = Math.max(0, Math.floor(before.mean / binK))
      slopes[bin] = Math.max(slopes[bin] ?? 0, (last.mean - before.mean) / windowMs)
    }
  }
  if (slopes.length === 0) return null
  // A bin that nobody passed slowly enough to be seen: as steep as the one before it.
  for (let bin = 0; bin < slopes.length; bin++) slopes[bin] ??= slopes.slice(bin).find(s => s !== undefined)!
  return { binK, slopes }
}

/** Steepest slope of a sound unit at this rise, K/ms. */
export const steepest = ({ binK, slopes }: SlopeEnvelope, riseK: number): number =>
  slopes[Math.min(slopes.length - 1, Math.max(0, Math.floor(riseK / binK)))]!
