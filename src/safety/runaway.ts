/**
 * Thermal runaway: heat that makes more heat. Four signs, any of which trips: the temperature gains ever
 * faster, it gains faster than a sound unit does, the idle current grows while nothing is asked of the unit,
 * or the limit comes nearer than the time it takes to get out of its way. All four are rules of our own.
 * Pure; °C, A, ms.
 */
import { steepest, type SlopeEnvelope } from './slope-envelope.ts'
import type { Machine } from './watch.ts'
import { freshLadder, stepLadder, type WindowLadder, type WindowMean } from './window-means.ts'

export interface RunawayInput {
  readonly atMs: number
  /** A good reading of the place, or of its idle current, or of both. */
  readonly celsius?: number
  readonly idleA?: number
  /** Of the room; absent where nothing reads it: then a room that warms by itself counts. */
  readonly airC?: number
  /**
   * Names what is asked of the unit: signal, level, mains. While it stays the same, the drive is constant.
   */
  readonly drive: string
}

export interface RunawayRules {
  /** Limit of the place. */
  readonly maxC: number
  /** Random part of a reading's u, and its last digit, K. */
  readonly noiseK: number
  readonly stepK: number
  /** Of the idle current, A; null where it is not read. */
  readonly noiseA: number | null
  /** Shortest window; signs are looked for in this and in windows of twice the length, six times over. */
  readonly windowMs: number
  /** After a change of drive the inner masses warm before the sensor does: no bend is judged so long … */
  readonly settleMs: number
  /** … and the idle current of a sound unit still moves so long. */
  readonly warmMs: number
  /** From a reading to no power: sampling, persistence, links, switch. */
  readonly reactionMs: number
  /** Heat that is still on its way to the sensor by then. */
  readonly marginMs: number
  /** By drive, as learned from sound warm-ups; none for drives that nobody has seen yet. */
  readonly envelopes: Readonly<Record<string, SlopeEnvelope>>
}

/** What our rules take where a unit gives nothing (our choice). */
export const usualRunaway = {
  windowMs: 20_000, settleMs: 10 * 60_000, warmMs: 30 * 60_000, reactionMs: 10_000, marginMs: 60_000,
} as const

export interface RunawayState {
  readonly drive: string | null
  readonly sinceMs: number
  /** Never begun anew: what nears the limit nears it whatever is asked. */
  readonly near: WindowLadder
  /** Begun anew after each change of drive. */
  readonly rise: WindowLadder
  readonly idle: WindowLadder
  /** Windows in a row that were steeper than the envelope. */
  readonly steep: number
  readonly why: string | null
}

/** Windows that must show growth, one after another. */
const growing = 3
const keep = growing + 2
const scales = 7
/** A fast rise to the limit shows in short windows, one that noise hides in longer ones. */
const nearScales = 4
/** Growth must stand out of the noise of its four means by so much: a night has thousands of windows. */
const sure = 5
/** The last step against the first of them; less may be a room that warms. */
const growthLeast = 1.05
/** Slower than this in the last window, nothing runs away tonight: 0.05 K/min. */
const slopeLeastKPerMs = 0.05 / 60_000
/** Steeper than what a sound unit does by so much, in so many windows. */
const steepShare = 1.5
const steepLeastKPerMs = 0.2 / 60_000
const steepWindows = 2
/** In short windows noise is as steep as a warm-up. */
const envelopeScale = 3
/** Window of an envelope that these rules can be held against. */
export const envelopeWindowMs = (windowMs: number): number => windowMs * 2 ** envelopeScale
/** Idle current that grew by so much over its windows, after the warm-up. */
const idleShare = 0.1
const perMin = 60_000

export function runawayMachine(rules: RunawayRules): Machine<RunawayState, RunawayInput> {
  const ladderRules = { windowMs: rules.windowMs, scales, keep }
  return {
    fresh: {
      drive: null, sinceMs: 0, near: freshLadder, rise: freshLadder, idle: freshLadder, steep: 0, why: null,
    },
    step: (before, input) => {
      if (before.why !== null) return before
      let state = sameDrive(before, input)
      const { atMs, celsius, idleA, airC } = input
      if (celsius !== undefined) {
        const near = stepLadder({ ...ladderRules, scales: nearScales, keep: 2 }, state.near, atMs, celsius)
        const rise = stepLadder(ladderRules, state.rise, atMs, celsius - (airC ?? 0))
        state = seeSlope(rules, { ...state, near, rise }, input)
      }
      if (idleA !== undefined && state.why === null) {
        state = seeIdle(rules, { ...state, idle: stepLadder(ladderRules, state.idle, atMs, idleA) }, input)
      }
      return state
    },
    says: ({ why }) => why,
  }
}

const sameDrive = (state: RunawayState, { drive, atMs }: RunawayInput): RunawayState =>
  drive === state.drive ? state
    : { ...state, drive, sinceMs: atMs, rise: freshLadder, idle: freshLadder, steep: 0 }

type Noise = (mean: WindowMean) => number

/**
 * Noise of a window's mean: readings are not quite independent, and a still reading hides within its digit.
 */
function noiseOf({ n }: WindowMean, noise: number, step: number): number {
  const readings = Math.min(n, 50)
  return Math.hypot(noise / Math.sqrt(readings), noise < step / 2 ? step / Math.sqrt(12) : 0)
}

function seeSlope(rules: RunawayRules, state: RunawayState, input: RunawayInput): RunawayState {
  const why = nearsLimit(rules, state) ?? bends(rules, state, input)
  if (why !== null) return { ...state, why }
  return steeper(rules, state, input)
}

function nearsLimit(rules: RunawayRules, { near }: RunawayState): string | null {
  const { maxC, noiseK, stepK, windowMs, reactionMs, marginMs } = rules
  for (let scale = 0; scale < near.news; scale++) {
    const [before, last] = near.means[scale]!
    if (!before || !last) continue
    const lengthMs = windowMs * 2 ** scale
    const noise = Math.hypot(noiseOf(before, noiseK, stepK), noiseOf(last, noiseK, stepK))
    const slope = (last.mean - before.mean - 3 * noise) / lengthMs
    // The mean stands for the middle of its window: half a window has passed since.
    const leftMs = (maxC - last.mean) / slope - lengthMs / 2
    if (!(slope > 0) || leftMs >= reactionMs + marginMs) continue
    return `reaches ${maxC} °C in ${Math.max(0, leftMs / 1000).toFixed(0)} s or less `
      + `at ${(slope * perMin).toFixed(2)} K/min; `
      + `switching off takes ${((reactionMs + marginMs) / 1000).toFixed(0)} s with its margin`
  }
  return null
}

function bends(rules: RunawayRules, state: RunawayState, { atMs }: RunawayInput): string | null {
  const { noiseK, stepK, windowMs, settleMs } = rules
  if (atMs - state.sinceMs < settleMs) return null
  const noise: Noise = mean => noiseOf(mean, noiseK, stepK)
  const scale = growingScale(state.rise, state.sinceMs + settleMs, windowMs, noise)
  if (scale === null) return null
  const steps = stepsOf(state.rise.means[scale]!)
  const lengthMs = windowMs * 2 ** scale
  const slope = steps[steps.length - 1]! / lengthMs
  return slope < slopeLeastKPerMs ? null
    : `gains ever faster at constant drive: ${steps.map(step => step.toPrecision(3)).join(', ')} K `
      + `in windows of ${(lengthMs / 1000).toFixed(0)} s`
}

const stepsOf = (means: readonly WindowMean[]): number[] =>
  means.slice(1).map(({ mean }, i) => mean - means[i]!.mean)

/**
 * The first scale with news whose steps grew one after another, out of the noise; windows before `settleMs`
 * do not count.
 */
function growingScale(
  { means, news, fromMs }: WindowLadder, afterMs: number, windowMs: number, noise: Noise,
): number | null {
  for (let scale = 0; scale < news; scale++) {
    const kept = means[scale]!
    if (kept.length < keep || fromMs! - keep * windowMs * 2 ** scale < afterMs) continue
    const steps = stepsOf(kept)
    const [first, last] = [steps[0]!, steps[steps.length - 1]!]
    if (!steps.every((step, i) => i === 0 || step > steps[i - 1]!)) continue
    const spread = Math.hypot(...[0, 1, keep - 2, keep - 1].map(i => noise(kept[i]!)))
    if (last - first > sure * spread && last > growthLeast * first) return scale
  }
  return null
}

function steeper(rules: RunawayRules, state: RunawayState, { airC, drive }: RunawayInput): RunawayState {
  const envelope = rules.envelopes[drive]
  const [before, last] = state.rise.means[envelopeScale]?.slice(-2) ?? []
  if (!envelope || airC === undefined || state.rise.news <= envelopeScale || !before || !last) return state
  const { noiseK, stepK } = rules
  const noise = Math.hypot(noiseOf(before, noiseK, stepK), noiseOf(last, noiseK, stepK))
  const slope = (last.mean - before.mean - 3 * noise) / envelopeWindowMs(rules.windowMs)
  const most = steepShare * steepest(envelope, before.mean) + steepLeastKPerMs
  const steep = slope > most ? state.steep + 1 : 0
  const why = steep < steepWindows ? null
    : `gains ${(slope * perMin).toFixed(2)} K/min at ${before.mean.toFixed(1)} K over the air, `
      + `where it is sound up to ${(most * perMin).toFixed(2)} K/min`
  return { ...state, steep, why }
}

function seeIdle(rules: RunawayRules, state: RunawayState, { atMs }: RunawayInput): RunawayState {
  const { noiseA, windowMs, settleMs, warmMs } = rules
  if (noiseA === null || state.idle.news === 0 || atMs - state.sinceMs < settleMs) return state
  const noise: Noise = mean => noiseOf(mean, noiseA, 0)
  const scale = growingScale(state.idle, state.sinceMs + settleMs, windowMs, noise)
    ?? risingScale(state.idle, state.sinceMs + warmMs, windowMs, noise)
  if (scale === null) return state
  const means = state.idle.means[scale]!
  const [first, last] = [means[0]!.mean, means[means.length - 1]!.mean]
  if (last - first < idleShare * Math.abs(first)) return state
  const overS = (means.length - 1) * windowMs * 2 ** scale / 1000
  return {
    ...state,
    why: `idle current grew from ${(1000 * first).toPrecision(3)} mA to `
      + `${(1000 * last).toPrecision(3)} mA in ${overS.toFixed(0)} s while the drive is constant`,
  }
}

/**
 * After the warm-up an idle current need not even bend: that every window is above the one before is enough.
 */
function risingScale(
  { means, news, fromMs }: WindowLadder, afterMs: number, windowMs: number, noise: Noise,
): number | null {
  for (let scale = 0; scale < news; scale++) {
    const kept = means[scale]!
    if (kept.length < keep || fromMs! - keep * windowMs * 2 ** scale < afterMs) continue
    const isRising = stepsOf(kept)
      .every((step, i) => step > 3 * Math.hypot(noise(kept[i]!), noise(kept[i + 1]!)))
    if (isRising) return scale
  }
  return null
}
