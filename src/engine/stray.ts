/**
 * A position that was released, or never connected, takes no current from a live bus. One that does is welded
 * to it: it would rise with the bus while everything said of it belongs to a part on its bleeder.
 */
import type { Watch } from '../safety/watch.ts'
import { watchBy } from '../safety/watch.ts'
import type { Measured } from '../schema/reading.ts'
import { isKnownLow } from '../safety/held.ts'
import { withdraw } from './discharge.ts'
import type { Night } from './night.ts'
import { emptyHolder } from './position.ts'
import type { PositionState } from './position.ts'

/** More than this, and than three times its own uncertainty, is no offset of the meter (common practice). */
const strayA = 1e-6
const readings = 3
const strayId = '.stray'
export const isStray = ({ id }: { id: string }): boolean => id.endsWith(strayId)

/** Whether a current flows into a part. Not a number counts as one. */
export const flowsIn = ({ value, u }: Measured): boolean => !(value < Math.max(strayA, 3 * u))

/** Holders without a part are left out: bench-check looks at their insulation by the current they take. */
export const straysOf = (night: Night): Watch[] =>
  night.positions.filter(({ profile }) => profile !== emptyHolder).map(position => stray(night, position))

function stray(night: Night, position: PositionState): Watch {
  const { name } = position.spec
  const machine = {
    fresh: 0, step: (count: number, strays: boolean) => strays ? count + 1 : 0,
    says: (count: number) =>
      count >= readings ? `flows into ${name}, which is off the bus: its relay is welded` : null,
  }
  // No position: a drop takes the watches of its position away, and this one must stay.
  return watchBy({
    id: `${name}${strayId}`, channels: [night.channels.current[position.index]!.name], reaction: 'stop',
  }, machine, reading => {
    if (position.wiring === 'bus' || position.ordered === 'bus' || !night.state.live) return false
    const flows = reading.quality === 'good' && flowsIn(reading)
    // One reading is enough to take back what was said of touching it.
    if (flows && isKnownLow(position.held)) {
      void withdraw(night, position, 'current flows into it though it is off the bus')
    }
    return flows
  })
}

/**
 * What takes current off the bus has a welded relay, or shows another's current: then, where a scanner leads
 * one meter to several, none is known to be its own.
 */
export function mayBeMisrouted({ roles, positions, state }: Night, why: string): void {
  if (roles.scanner && positions.length > 1) state.misrouted ??= `${why}: the scanner may mix up positions`
}
