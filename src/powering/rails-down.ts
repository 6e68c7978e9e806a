/** Follows the rails of a unit down once its mains is open, and says and records what may be touched. */
import { sleep } from '../base/clock.ts'
import { leakShare } from './arm.ts'
import { deadWords, freshTrace, judgeRail, type RailDeadness } from './rails-dead.ts'
import type { Power } from './power.ts'

/** How long a rail is waited for, beyond what its profile says. */
const patience = 2
const lookEveryMs = 500

/**
 * Resolves with whether every rail is dead, when all are or time is up; on record either way. `sweep`: one
 * look at every probe. Never rejects: what cannot be read is UNMEASURED.
 */
export async function railsDown(power: Power, sweep: () => Promise<void>): Promise<boolean> {
  const { clock, profile, state, recorder, touchSafeV } = power
  const untilMs = clock.monotonicMs() + 1000 * patience * profile.railsDownS
  state.stage = 'rails go down'
  // A look that was under way as the mains opened counts for nothing.
  for (const [name, trace] of state.rails) state.rails.set(name, { ...trace, looks: 0 })
  let found = judged(power)
  const isOver = (): boolean => found.every(([, { verdict }]) => verdict === 'dead') && hasLooked(power)
  while (whyNotOpen(power) === null && clock.monotonicMs() < untilMs && !isOver()) {
    if (!await looked(power, sweep)) break
    found = judged(power)
  }
  const said = deadWords(found, touchSafeV, clock.wallMs())
  const notOpen = whyNotOpen(power)
  const isDead = said.isDead && notOpen === null
  const text = notOpen === null ? said.text : `NOT SAFE TO TOUCH: ${notOpen}`
  state.isDead = isDead
  void recorder.event({
    kind: 'touch', severity: isDead ? 'info' : 'warning', text,
    data: { unit: power.request.specimen, isDead },
  }).catch(() => {})
  return isDead
}

/** Mains and rails below touch-safe say nothing of the primary side. */
function whyNotOpen({ state, places, profile }: Power): string | null {
  if (!state.openSeen) return 'the mains was not read open'
  const last = state.last.get(places.mains.current.name)
  if (last?.quality !== 'good' || last.atMs <= state.switchedAtMs + afterOpenMs) return null
  const leastA = Math.abs(last.value) - 2 * last.u
  const mostA = leakShare * profile.supply.currentMaxA
  return leastA < (state.onA > 0 ? Math.min(mostA, fallenShare * state.onA) : mostA) ? null
    : `the unit still takes ${last.value.toPrecision(3)} A, though its mains reads open`
}

/** A reading that began before the contactor parted is over by then. */
const afterOpenMs = 2000
/** What the unit takes falls below this share of what it took, or its mains is not open. */
const fallenShare = 0.5
/** A power meter that has said nothing by then says nothing: then the contact alone is believed. */
const meterMostMs = 6000

/** The mains current was read since the contactor was told to open, or no reading will come. */
function hasLooked({ state, places, clock }: Power): boolean {
  if (!state.wasOn) return true
  const last = state.last.get(places.mains.current.name)
  return last !== undefined && last.atMs > state.switchedAtMs + afterOpenMs
    || clock.monotonicMs() > state.switchedAtMs + meterMostMs
}

/** False where nothing can be read any more. */
async function looked({ clock, reading }: Power, sweep: () => Promise<void>): Promise<boolean> {
  try {
    await sweep()
    await sleep(clock, lookEveryMs, reading)
    return true
  } catch {
    return false
  }
}

function judged({ places, state, touchSafeV }: Power): [string, RailDeadness][] {
  return places.rails.map(({ spec: { name, nominalV }, channel }) => {
    const last = state.last.get(channel.name)
    const trace = last?.quality === 'good' ? state.rails.get(name) ?? freshTrace : freshTrace
    return [name, judgeRail(trace, last?.u ?? 0, Math.abs(nominalV), touchSafeV)]
  })
}
