/** One look at all of it: whether time counts, whether places come to rest, what is kept for the drift. */
import { countedS, disturbed, hoursWords, type BurnIn } from './burn-in.ts'
import { lookAtClock } from './clock.ts'
import type { Seen } from './drift.ts'
import { driveKey } from './parameters.ts'
import type { Due } from './programme.ts'
import { driveName } from './drive.ts'
import { failingNow } from './sight.ts'
import { freshWarming, remainingOf, seeWarmth, type Warming, type WarmthRules } from './warmth.ts'
import { settled } from '../powering/mains.ts'

/** What a run that ends without its end leaves unknown of its time, at most, s. */
const tellEveryS = 600
/** Gaps are told as they come; a night of flicker is told by its sum. */
const gapsTold = 200

/** `failing`: what keeps time from counting beside what is seen. */
export async function look(b: BurnIn, due: Due, failing: readonly string[] = []): Promise<void> {
  b.drive = driveName(b, due)
  const isCounting = await count(b, [...failing, ...failing.length > 0 ? [] : failingNow(b, due)])
  const seen = newReadings(b)
  seeWarm(b, due)
  const isCalm = isCounting && b.isWarm && countedS(b) >= b.calmFromS
  b.book.see(isCalm ? b.key : null, countedS(b), seen)
}

async function count(b: BurnIn, failing: readonly string[]): Promise<boolean> {
  const { power: { clock, recorder, state }, askedS } = b
  const before = b.clock
  b.clock = lookAtClock(before, { atMs: clock.monotonicMs(), wallMs: clock.wallMs(), failing })
  const atS = countedS(b)
  state.counted = { countedS: atS, askedS, waits: failing.length === 0 ? null : failing.join('; ') }
  state.endsAtMs = clock.monotonicMs() + 1000 * (askedS - atS + b.parameters.restS)
  const isTold = b.clock.gapCount <= gapsTold
  if (isTold && before.gap === null && failing.length > 0) {
    await recorder.event({ kind: 'not-counting', text: `time does not count: ${failing.join('; ')}` })
  }
  if (isTold && before.gap !== null && b.clock.gap === null) {
    const { lengthMs, reasons } = b.clock.gaps[b.clock.gaps.length - 1]!
    await recorder.event({
      kind: 'counting', data: { lostS: lengthMs / 1000, countedS: atS },
      text: `time counts again after ${(lengthMs / 1000).toFixed(0)} s: ${reasons.join('; ')}`,
    })
  }
  if (atS - b.toldAtS >= tellEveryS) await tellCounted(b)
  return failing.length === 0
}

/** What a run that goes on later begins with. */
export async function tellCounted(b: BurnIn): Promise<void> {
  b.toldAtS = countedS(b)
  await b.power.recorder.event({
    kind: 'counted', data: { countedS: b.toldAtS, askedS: b.askedS },
    text: `${hoursWords(b.toldAtS)} of ${hoursWords(b.askedS)} have counted`,
  })
}

/** Good readings that came since the last look. */
function newReadings(b: BurnIn): Seen[] {
  const { power: { places, state }, levels, seenAtMs } = b
  const seen: Seen[] = []
  for (const { name } of places.all) {
    const last = state.last.get(name)
    if (last === undefined || last.quality !== 'good' || seenAtMs.get(name) === last.atMs) continue
    seenAtMs.set(name, last.atMs)
    seen.push({ of: b.tone !== null && name.startsWith('idle.') ? `${name} under drive` : name, ...last })
  }
  for (const [channel, { volts, levelV }] of levels) {
    const of = `${channel}.gain`
    if (!isOneTone(b) || volts.quality !== 'good' || seenAtMs.get(of) === volts.atMs) continue
    seenAtMs.set(of, volts.atMs)
    seen.push({ of, value: volts.value / levelV, u: volts.u / levelV })
  }
  return seen
}

/** Gains at one frequency and another are two quantities. */
const isOneTone = ({ phase, parameters }: BurnIn): boolean =>
  phase !== null && 'frequencyHz' in parameters.programme[phase]!

function seeWarm(b: BurnIn, due: Due): void {
  const { power: { clock, state }, warmthRules, parameters } = b
  if (due.phase === null || state.way === null && due.mains === 'on') return
  const key = driveKey(parameters.programme[due.phase]!)
  if (key !== b.key) changeKey(b, key)
  for (const rules of warmthRules) {
    const last = state.last.get(rules.channel)
    const seen = `${rules.channel} warmth`
    if (last?.quality !== 'good' || b.seenAtMs.get(seen) === last.atMs) continue
    b.seenAtMs.set(seen, last.atMs)
    const before = b.warming.get(rules.place) ?? freshWarming(key)
    const after = seeWarmth(rules, before, key,
      { atS: last.atMs / 1000, celsius: last.value, countedS: countedS(b) })
    b.warming.set(rules.place, after)
    if (before.steadyAtS === null && after.steadyAtS !== null) tellSteady(b, rules, after)
  }
  if (b.isWarm || !isWarm(b)) return
  b.isWarm = true
  b.nextSpotS = countedS(b)
  disturbed(b)
  b.nextRestS = b.calmFromS + 2 * b.parameters.lookS
  if (state.isSettled) settled(b.power, true)
  void b.power.recorder.event({
    kind: 'warm', data: { countedS: countedS(b) },
    text: `warm after ${((clock.monotonicMs() - b.closedAtMs!) / 60_000).toFixed(0)} min on mains`,
  }).catch(() => {})
}

/** Another drive, or mains that came back: it is not warm under it yet. */
export function changeKey(b: BurnIn, key: string): void {
  b.key = key
  b.keySinceS = countedS(b)
  b.isWarm = false
  b.warming.clear()
  if (b.power.state.isSettled) settled(b.power, false)
}

function isWarm({ warmthRules, warming, parameters, keySinceS, clock }: BurnIn): boolean {
  const since = parameters.alreadyCountedS + clock.countedMs / 1000 - keySinceS
  const isSteady = (place: string): boolean => (warming.get(place)?.steadyAtS ?? null) !== null
  return since >= parameters.warmMostS
    || warmthRules.length > 0 && warmthRules.every(({ place }) => isSteady(place))
}

/** Criteria stop at different distances from the end: what is still to come is said with it. */
function tellSteady(b: BurnIn, rules: WarmthRules, { slots }: Warming): void {
  const { place, by } = rules
  const { celsius } = slots[slots.length - 1]!
  const remaining = remainingOf(rules, slots, true)
  const { value: remainingK = null, u: remainingU = null } = remaining ?? {}
  const rest = remaining === null ? 'what is still to come cannot be told'
    : `${remaining.value.toFixed(1)} ± ${(2 * remaining.u).toFixed(1)} K still to come`
  void b.power.recorder.event({
    kind: 'steady', data: { place, celsius, remainingK, remainingU, countedS: countedS(b) },
    text: `${place} has come to rest at ${celsius.toFixed(1)} °C by ${by}; ${rest}`,
  }).catch(() => {})
}
