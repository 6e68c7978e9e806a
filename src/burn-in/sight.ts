/** What stands at the unit beside what is due: whether time counts, and why not. */
import { failingConditions, type BurnInSight } from './conditions.ts'
import type { BurnIn } from './burn-in.ts'
import type { Due } from './programme.ts'

export const comingUp = 'the unit comes up'
export const waitsForPerson = 'a person is to say to go on'

/** A meter behind the contactor shows its volts only after so long, ms. */
const seenAfterMs = 2000

/** In words that stay the same while it is so. */
export function failingNow(b: BurnIn, due: Due): string[] {
  const { parameters: { conditions }, power: { state } } = b
  const isOn = state.way !== null
  const isAsDue = isOn === (due.mains === 'on')
  return [
    ...isAsDue ? [] : [isOn ? 'the mains is on and should be off' : 'the mains is off and should be on'],
    ...b.tone === null && due.tone !== null ? [comingUp] : [],
    ...failingConditions({ ...conditions, ageMostMs: ageMostMs(b) }, sightOf(b, due)),
  ]
}

/** So many readings may fail before there is none (our choice). */
const missed = 3
const ageLeastMs = 15_000

const ageMostMs = ({ power: { stand: { cadence } } }: BurnIn): number =>
  Math.max(ageLeastMs, missed * cadence.temperatureMs, missed * cadence.mainsMs)

function sightOf(b: BurnIn, due: Due): BurnInSight {
  const { power: { clock, places, state, stand } } = b
  const nowMs = clock.monotonicMs()
  const isSwitching = nowMs - state.switchedAtMs < seenAfterMs
  return {
    nowMs, airC: places.air === null ? null : state.last.get(places.air.channel.name),
    temperatures: places.temperatures.map(({ spec: { place }, channel }) =>
      ({ place, celsius: state.last.get(channel.name) })),
    // What is off is seen by its contact, and by the current past it.
    mains: due.mains === 'off' || isSwitching ? null
      : { nominalV: stand.mainsV, volts: state.last.get(places.mains.voltage.name) },
    outputs: b.tone === null || due.tone === null ? [] : [...b.levels].map(([channel, { dueV, volts }]) =>
      ({ channel, dueV, volts })),
  }
}
