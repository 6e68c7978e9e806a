/** What the rest of the bench tells of a part that crosses a limit: is it at fault, or something else? */
import type { Explained } from '../safety/limit.ts'
import { unfinished, untold } from '../safety/verdict.ts'
import type { Watch } from '../safety/watch.ts'
import { watchBy } from '../safety/watch.ts'
import { shortOf } from '../schema/fixture.ts'
import type { Reading } from '../schema/reading.ts'
import { busTolerance } from './bus.ts'
import { takenA } from './bus-reader.ts'
import type { Night } from './night.ts'
import type { Peak, PositionState } from './position.ts'
import { mayBeAnothers } from './standing.ts'

/** A current that fell to this share of its most on a standing bus is one that oxide still brings down. */
const fallenShare = 0.9

/** Never trips: it keeps the most that the part took since the bus stands where it is. */
export function followPeak(night: Night, position: PositionState): Watch {
  const { spec: { name }, index } = position
  const machine = { fresh: null, step: () => null, says: () => null }
  return watchBy({
    id: `${name}.peak`, channels: [night.channels.current[index]!.name], reaction: 'drop', position: name,
  }, machine, ({ quality, value }) => {
    if (quality === 'good' && position.wiring === 'bus') {
      position.peak = higher(position.peak, { setV: night.state.setV, amps: value })
    }
    return null
  })
}

const higher = (peak: Peak | null, now: Peak): Peak =>
  peak === null || peak.setV !== now.setV || now.amps > peak.amps ? now : peak

/**
 * Oxide that forms turns as much to heat as a part that fails: the limiting resistor feeds both alike. But
 * its current falls while the bus stands, and that of a part which heats itself does not. One that was hot
 * before anything flowed into it, or all at once, did not heat itself.
 */
export function warmedOtherwise(
  { state }: Night, { peak, current, caseSeen }: PositionState,
): Explained | null {
  if (caseSeen !== null && caseSeen.doubt !== null) {
    return { verdict: untold, says: `${caseSeen.doubt}: its sensor, or what stands beside it` }
  }
  if (peak === null || current?.quality !== 'good' || peak.setV !== state.setV) return null
  if (!(current.value <= fallenShare * peak.amps)) return null
  const says = 'forming warmed the can, and its current falls: form it in smaller steps'
  return { verdict: unfinished, says }
}

/**
 * Over-range says that there is more than the meter can tell, or that the meter cannot tell: it ranges by
 * itself, and no range is left to raise. The part is condemned only where something else shows its current,
 * and not where another position shows the same: one of them is sound then, or both are. Nor is one that is
 * off the bus: what flows there is no doing of the part.
 */
export function beyondRange(
  night: Night, position: PositionState, { quality }: Reading,
): Explained | null {
  if (position.wiring !== 'bus' && quality === 'good') {
    return { verdict: untold, says: 'though it is off the bus: its relay is welded, or this is another\'s' }
  }
  if (mayBeAnothers(night, position)) {
    return { verdict: untold, says: 'and another position shows the same: meter or scanner cannot tell' }
  }
  if (quality !== 'over-range' || showsShort(night, position)) return null
  return { verdict: untold, says: 'the meter cannot tell, and neither bus nor supply shows a short' }
}

/** At its limit the supply is taken to be from this share of it, as its own limit is (common practice). */
const atLimitShare = 0.98

/** The bus fell, the supply is at its limit, or it gives half a short more than everything else takes. */
function showsShort(night: Night, position: PositionState): boolean {
  const { plan, sampler: { busV, supplyA }, state } = night
  if (!state.live || state.setV <= 0 || position.wiring !== 'bus' || busV?.quality !== 'good') return false
  if (busV.value < state.setV - 2 * busTolerance(night)) return true
  if (supplyA?.quality !== 'good') return false
  if (supplyA.value >= atLimitShare * plan.supplyLimitA) return true
  const others = night.positions.filter(other => other !== position)
  const leftA = supplyA.value - takenA(night, others, busV.value)
  return leftA >= 0.5 * shortOf(night.bench.fixture, busV.value) + 3 * supplyA.u
}
