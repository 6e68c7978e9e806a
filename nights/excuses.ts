/** What the troubles of a night together make impossible, for whatever software. */
import type { Cadence } from '../src/schema/bench.ts'
import type { Plan } from '../src/schema/application.ts'
import type { NightStage } from './bad-night.ts'
import type { Stroke } from './draw.ts'
import type { Excuse } from './invariants.ts'
import type { Struck } from './night-watch.ts'
import { busOverMs, busStaleMs, exchangeMs, pulseMs, readBackMs, sweepStaleMs } from './troubles.ts'

/** A part that was lifted with the bus falls again over its bleeder. */
const fallMs = 40_000
const touchV = 60
/** A part with one of these cannot bleed, or only over the bus. */
const keepsCharge = ['position relay welded', 'lead open', 'bleeder open', 'bus bleeder open', 'relay board deaf', 'watch relay stuck open']

const has = (struck: readonly Struck[], ...kinds: string[]): boolean =>
  struck.some(({ stroke }) => kinds.includes(stroke.trouble.kind))
const blinds = (struck: readonly Struck[], what: 'bus' | 'supply' | 'sense'): boolean =>
  struck.some(({ stroke }) => stroke.trouble.blinds?.includes(what))

const contactWelded = (struck: readonly Struck[]): boolean => has(struck, 'cutoff welded', 'cutoff welded unseen')

/** The supply's output fails on and the cutoff does not part: two independent failures at once. */
export const nothingCanSwitchOff = (struck: readonly Struck[]): boolean => has(struck, 'supply stays on') && contactWelded(struck)

/** The supply obeys nothing: behind a cutoff that does not part either, silence alone takes its output off. */
export const onlySilenceSwitchesOff = (struck: readonly Struck[]): boolean => has(struck, 'supply deaf') && contactWelded(struck)

/** As docs/safety.md derives it: stale bus readings, then one exchange; whole seconds, and what the supply can be set to. */
export const watchdogS = ({ busMs, busQuietMs }: Cadence, leastS: number): number =>
  Math.max(leastS, Math.ceil((3 * Math.max(busMs, busQuietMs) + 1000 + 2000) / 1000))

/** The safe-off and its read-back are the last that a supply hears that obeys nothing. */
const lastWordsMs = exchangeMs + 2000
/** A new daemon speaks to it once more: when a person starts one, until it gives up. */
const restartMs = 20_000 + 2 * lastWordsMs

/** After a layer acted: the most until a supply that hears and does not obey has gone off by itself, ms. */
export const silentOffMs = (struck: readonly Struck[], silenceMs: number): number =>
  lastWordsMs + (struck.some(({ stroke }) => stroke.trouble.excuse?.killed) ? restartMs : 0) + silenceMs

/** What the times of a night are reckoned from. `silenceMs`: after so long without a line the supply goes off. */
export interface Times { plan: Plan; cadence: Cadence; silenceMs: number }

/** The most that energy may stay on after this stroke, ms; null where it may go on. */
export function offWithinMs(
  { trouble }: Stroke, stage: NightStage | 'none', struck: readonly Struck[], { plan, cadence, silenceMs }: Times,
): number | null {
  // Nobody is hurt by a bus that falls where touch is safe anyway, and a meter that sticks shows no lead that falls off.
  const fallsUnwatched = plan.targetV < touchV || has(struck, 'bus meter stuck')
  if (['bus meter lead open', 'bus meter jumps'].includes(trouble.kind) && fallsUnwatched) return null
  const offMs = trouble.offMs?.(cadence, stage) ?? null
  // Its output element fails on: without power it forgets its volts, and the layers see those fall.
  if (trouble.kind === 'supply loses power' && has(struck, 'supply stays on')) {
    return plan.targetV < touchV ? null : slowestLayerMs(cadence)
  }
  if (offMs === null || !contactWelded(struck)) return offMs
  // Its read-back says that the contact is closed, as it was told, and the bus does not fall: nobody could know.
  if (coilFails.includes(trouble.kind) && has(struck, 'cutoff welded')) return null
  // A welded contact parts for nobody: what stands behind it, or nothing where all that opens it is a moment's bounce.
  if (trouble.kind === 'cover bounces') return null
  if (opensContact.includes(trouble.kind)) return Math.max(offMs, cadence.busQuietMs + exchangeMs)
  if (nobodyLives.includes(trouble.kind)) return Math.max(offMs, silenceMs + pulseMs)
  return offMs
}

/** The contact is what these open; the supply is next, once the read-back or the cover contact was looked at. */
const coilFails = ['cutoff drops', 'cutoff loses power']
const opensContact = [...coilFails, 'cover opened']
/** With the keeper gone and the contact welded, the supply's own watchdog is the next layer. */
const nobodyLives = ['keeper killed', 'keeper stands still', 'daemon and keeper killed']

/** The slowest of the layers that stand in for one that was made blind. */
export const slowestLayerMs = (cadence: Cadence): number =>
  Math.max(busStaleMs(cadence), sweepStaleMs(cadence), readBackMs(cadence))

export function tooHighAllowedMs(struck: readonly Struck[], { cadence, silenceMs }: Omit<Times, 'plan'>): number {
  const overshootMs = has(struck, 'supply overshoots') ? 400 : 0
  if (!struck.some(({ stroke }) => stroke.trouble.lifts)) return overshootMs
  // Without the bus meter the supply's own reading tells, and without both nothing does.
  if (blinds(struck, 'bus') && blinds(struck, 'supply')) return Infinity
  if (has(struck, ...keepsCharge) || nothingCanSwitchOff(struck)) return Infinity
  const silentMs = onlySilenceSwitchesOff(struck) ? silentOffMs(struck, silenceMs) : 0
  return (blinds(struck, 'bus') ? readBackMs(cadence) : busOverMs(cadence)) + silentMs + fallMs
}

/** Merged, with what only a pair makes impossible. */
export function excuseOf(struck: readonly Struck[], times: Omit<Times, 'plan'>): Excuse {
  const merged: Excuse = Object.assign({}, ...struck.map(({ stroke }) => stroke.trouble.excuse ?? {}))
  // What the supply's output holds leaves over the bus bleeder in its own time, and the last words say that it stands.
  if (contactWelded(struck)) merged.busLive = true
  if (merged.killed && has(struck, 'store slow')) merged.recordTorn = true
  return { ...merged, tooHighMs: tooHighAllowedMs(struck, times) }
}
