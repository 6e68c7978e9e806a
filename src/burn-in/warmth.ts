/**
 * Whether a place has come to rest, and what is still to come of its rise: its readings since the drive
 * began, in slots of time, held against a named criterion. Pure; °C, K, s. What is kept is bounded.
 */
import type { Estimate } from '../analysis/decay-fit.ts'
import { fitLateApproach } from '../analysis/thermal/approach.ts'
import { steadyCriteria, type SteadyAnswer, type SteadyName } from '../analysis/thermal/steady-state.ts'
import type { Series } from '../analysis/trend.ts'
import type { Warmth } from '../schema/unit-findings.ts'

export interface Slot { readonly atS: number; readonly celsius: number; readonly n: number }
interface OpenSlot {
  readonly index: number; readonly sumS: number; readonly sumC: number; readonly n: number
}
export interface Warming {
  /** Of the drive that it warms under. */
  readonly key: string
  /** Means of closed slots, oldest first. */
  readonly slots: readonly Slot[]
  readonly open: OpenSlot | null
  /** Counted time at which it was first called steady under this drive, s. */
  readonly steadyAtS: number | null
  readonly answer: SteadyAnswer | null
}
export interface WarmthRules {
  readonly place: string
  readonly by: SteadyName
  readonly limitC: number
  /** Random part of a reading's u, and its last digit, K. */
  readonly noiseK: number
  readonly stepK: number
}
export interface WarmthReading { readonly atS: number; readonly celsius: number; readonly countedS: number }

/** Short enough for six of them about an instant, long enough for a thermometer that is read every 5 s. */
const slotS = 20
/** Criteria look back an hour at most; a fit of what remains wants the way before it too: four hours. */
const slotsMost = 720
const judgedMost = 200
/** Slots from one judgement to the next. */
const judgedEach = 3
const judgedSeldom = 15

export const freshWarming = (key: string): Warming =>
  ({ key, slots: [], open: null, steadyAtS: null, answer: null })

/** One reading under the drive of `key`; another drive begins anew. */
export function seeWarmth(
  rules: WarmthRules, before: Warming, key: string, { atS, celsius, countedS }: WarmthReading,
): Warming {
  const warming = before.key === key ? before : freshWarming(key)
  const index = Math.floor(atS / slotS)
  const { open } = warming
  if (open !== null && open.index === index) {
    return { ...warming, open: { ...open, sumS: open.sumS + atS, sumC: open.sumC + celsius, n: open.n + 1 } }
  }
  const fresh = { index, sumS: atS, sumC: celsius, n: 1 }
  if (open === null) return { ...warming, open: fresh }
  const closed = { atS: open.sumS / open.n, celsius: open.sumC / open.n, n: open.n }
  const slots = [...warming.slots, closed].slice(-slotsMost)
  const { by, limitC } = rules
  // Lines through readings are dear: looked at each minute, and seldom once it has come to rest.
  if (index % (warming.steadyAtS === null ? judgedEach : judgedSeldom) !== 0) {
    return { ...warming, slots, open: fresh }
  }
  const answer = steadyCriteria[by].judge(seriesOf(rules, slots.slice(-judgedMost)), limitC)
  const isFirst = warming.steadyAtS === null && answer.verdict === 'steady'
  return { ...warming, slots, open: fresh, answer, steadyAtS: isFirst ? countedS : warming.steadyAtS }
}

/** A still reading hides within its last digit, which no mean makes smaller; in noise the digit is noise. */
function seriesOf({ noiseK, stepK }: WarmthRules, slots: readonly Slot[]): Series {
  const digitK = stepK / Math.sqrt(12)
  const isHidden = noiseK < stepK / 2
  const randomK = isHidden ? noiseK : Math.hypot(noiseK, digitK)
  const hiddenK = Math.max(isHidden ? digitK : 0, leastK)
  return {
    tS: slots.map(({ atS }) => atS), y: slots.map(({ celsius }) => celsius),
    u: slots.map(({ n }) => Math.hypot(randomK / Math.sqrt(n), hiddenK)),
  }
}
/** Of a thermometer whose profile says neither. */
const leastK = 1e-3

/** What is said of it in the end. `u` of the last reading: its whole uncertainty. */
export function warmthOf(rules: WarmthRules, { slots, steadyAtS, answer }: Warming, u: number): Warmth {
  const { place, by } = rules
  const last = slots[slots.length - 1]
  const { words, source } = steadyCriteria[by]
  const isSteady = answer?.verdict === 'steady'
  const remaining = remainingOf(rules, slots, isSteady)
  return {
    place, isSteady, steadyAtS, celsius: last?.celsius ?? NaN, u,
    remainingK: remaining?.value ?? null, remainingU: remaining?.u ?? null, rule: `${words} (${source})`,
  }
}

/**
 * What is still to come, K; null where the readings carry no law. A steady one without change has none, by
 * what two readings could have shown of it.
 */
export function remainingOf(
  rules: WarmthRules, slots: readonly Slot[], isSteady: boolean,
): Estimate | null {
  const series = seriesOf(rules, slots)
  const fit = fitLateApproach(series)
  if (fit.ok) return fit.remaining
  const lastU = series.u[slots.length - 1]
  if (!isSteady || fit.reason !== 'no change' || lastU === undefined) return null
  return { value: 0, u: Math.SQRT2 * lastU }
}
