/**
 * Proof of dead. A reading of zero shows nothing by itself: the same path must have read a known voltage
 * before, and the charge that came back must be about C·V. Pure; SI units.
 */
export type Deadness =
  | { verdict: 'dead'; belowV: number; atWallMs: number; text: string }
  | { verdict: 'live'; volts: number; text: string }
  | { verdict: 'unmeasured'; text: string }

export interface DeadEvidence {
  /**
   * What the part is known or taken to have stood at, volts; null only for one that was not on the bus in
   * this run and gave no good reading before: of it a low reading alone may tell, in weaker words.
   */
  knownV: number | null
  /** What the path reads now, volts, with its standard uncertainty; null when the reading is not good. */
  nowV: number | null
  uV: number
  /** Charge that came back through the bleeder, and what C·V says it should be; null where not measured. */
  returnedC: number | null
  expectedC: number | null
  /** What the part stood at when its discharge stopped at once instead of dying away, volts, or null. */
  brokeAtV?: number | null
  /** The most that this path showed of the part in this run, volts; left out where it is `knownV`. */
  seenV?: number
  touchSafeV: number
  atWallMs: number
}

/** Absorption brings back this share at most of what a part stood at (10 to 15 %, trade reference). */
export const mayComeBack = 0.15

/** Charge below this part of what was expected means that the path lost its part. */
export const chargeRatioMin = 0.5

/**
 * Less than this harms nothing that meets the part, volts: what the input clamp of a bridge takes (common
 * practice).
 */
export const harmlessV = 3

/** No discharge is this many times quicker than its slowest reckoning: what stops sooner lost its path. */
const quickest = 3

/** Whether volts that fell so far in `gapMs` cannot have left through a path of time constant `tauMs`. */
export const brokeOff = (beforeV: number, nowV: number, gapMs: number, tauMs: number): boolean =>
  nowV < beforeV * Math.exp(-quickest * gapMs / tauMs)

/** One look at a part through a path, volts. */
export interface Look { volts: number; atMs: number }

/** A path that opened shows nothing at once; noise does not halve what was there. */
const goneShare = 0.5

/**
 * What a part surely stands at when its recovery watch ends, volts, from what was seen of it: absorption only
 * adds to a discharge through the watch path, of time constant `tauMs` at least. Where `leastV` or more went
 * at once, the path opened and the part keeps what it stood at before.
 */
export function leftByWatch(
  looks: readonly Look[], tauMs: number, endMs: number, leastV: number,
): { volts: number; opened: boolean } {
  for (const [i, { volts, atMs }] of looks.entries()) {
    const then = looks[i + 1]
    if (!then || volts < leastV) continue
    if (brokeOff(goneShare * volts, then.volts, then.atMs - atMs, tauMs)) return { volts, opened: true }
  }
  const last = looks.at(-1)
  const volts = last === undefined ? 0 : last.volts * Math.exp(-(endMs - last.atMs) / tauMs)
  return { volts, opened: false }
}

/**
 * Absorption never brings back less than this share within minutes (modelling choice, below what the
 * simulated parts show).
 */
const sureToComeBack = 0.001

/** So many equal looks at what must rise are no coincidence (modelling choice). */
const frozenLooks = 5

/**
 * Why a recovery watch shows nothing of a part that stood at `knownV` and may have come back past what is
 * harmless, or null: nothing came, so its bleeder may have opened after it was bled; or the looks are equal
 * to the bit, so the sense meter froze. Where it cannot see so little, `noiseV` of it, that tells nothing.
 */
export function whyUnseen(looks: readonly Look[], knownV: number, noiseV: number): string | null {
  if (mayComeBack * knownV < harmlessV || noiseV >= sureToComeBack * knownV) return null
  if (looks.every(({ volts }) => volts < noiseV)) return 'nothing came back: its bleeder may be open'
  const isFrozen = looks.length >= frozenLooks && looks.every(({ volts }) => volts === looks[0]!.volts)
  return isFrozen ? 'its reading stood still while its recovery was watched' : null
}

const clock = (wallMs: number): string => new Date(wallMs).toISOString().slice(11, 16)
export const unmeasured = (why: string): Deadness =>
  ({ verdict: 'unmeasured', text: `NOT SAFE TO TOUCH: UNMEASURED (${why})` })

export function judgeDead(e: DeadEvidence): Deadness {
  if (e.nowV === null || !Number.isFinite(e.nowV)) return unmeasured('the reading is not good')
  const worstV = Math.abs(e.nowV) + 2 * e.uV
  if (worstV >= e.touchSafeV) {
    return { verdict: 'live', volts: e.nowV, text: `NOT SAFE TO TOUCH: ${e.nowV.toFixed(1)} V` }
  }
  const brokeAtV = e.brokeAtV ?? 0
  // What stays behind an open path still rises by what the part absorbed.
  const mostV = brokeAtV + mayComeBack * Math.max(Math.abs(e.knownV ?? 0), e.seenV ?? 0)
  if (brokeAtV > 0 && mostV >= e.touchSafeV) {
    const atV = brokeAtV.toFixed(0)
    return unmeasured(`the discharge stopped at once at ${atV} V: the path may have opened`)
  }
  if (e.knownV !== null && Math.abs(e.knownV) >= e.touchSafeV) {
    if (e.returnedC === null || e.expectedC === null) {
      return unmeasured('the charge that came back was not measured')
    }
    if (e.returnedC < chargeRatioMin * e.expectedC) {
      return unmeasured('less charge came back than the part held')
    }
  }
  return { verdict: 'dead', belowV: e.touchSafeV, atWallMs: e.atWallMs, text: lowWords(e) }
}

/** Less than this on a path may be the offset of its meter: it shows no charge (common practice). */
const shownV = 1

/** By a path that showed nothing but zero nothing is measured: were it open, it would read the same. */
function lowWords({ knownV, seenV = 0, uV, touchSafeV, atWallMs }: DeadEvidence): string {
  const shown = Math.max(Math.abs(knownV ?? 0), seenV) >= Math.max(shownV, 3 * uV)
  const at = `below ${touchSafeV} V at ${clock(atWallMs)} UTC`
  const what = shown ? `measured ${at}` : `read ${at} by a path that showed no charge`
  return `${what}; prove dead before touching`
}
