/** A resistor: its value, with two or four wires, and whether it lies still while current flows. */
import { formatSi } from '../../base/format.ts'
import type { Measured } from '../../schema/reading.ts'
import type { Jig, Pair } from '../../schema/jig.ts'
import { faulty, found, type Proof } from '../proof.ts'
import { valueLimit, type Contact, type Resistor } from '../to-prove.ts'

/** Below this, leads and contacts are a share of the value that four wires take off (common practice). */
const fourWireBelowOhm = 1000
/** A range that holds the upper limit with room, so that a part just beyond it is still read. */
const rangeRoom = 1.25
/** A part that reads more than this many times its nominal value is open, for all that matters. */
const openFactor = 1e3
/**
 * Two readings one after the other; more apart than this many standard uncertainties is drift or a poor
 * contact.
 */
const driftFactor = 6
const betweenMs = 400

export async function proveResistor(jig: Jig, pair: Pair, part: Resistor): Promise<Proof> {
  const { nominal, plus } = part.ohm
  const wires = jig.reach.ohms!.wires.includes(4) && nominal < fourWireBelowOhm ? 4 : 2
  const first = await jig.resistance(pair, { mostOhm: nominal * (1 + plus) * rangeRoom, wires })
  if (first.quality === 'over-range') return beyond(jig, pair, part)
  const shorted = shortBelow(nominal)
  if (first.value < shorted && first.value + 2 * first.u < shorted) {
    return faulty('short', `it is a short: ${formatSi(first.value, 'Ω', 3)}`, { resistanceOhm: first.value })
  }
  await jig.rest(betweenMs)
  const second = await jig.resistance(pair, { mostOhm: nominal * (1 + plus) * rangeRoom, wires })
  return steady(part, first, second, `${wires} wires`)
}

/** A thousandth of the nominal value, and never more than 1 Ω below which nothing is told apart. */
const shortBelow = (nominal: number): number => Math.min(nominal / openFactor, nominal / 2)

async function beyond(jig: Jig, pair: Pair, part: Resistor): Promise<Proof> {
  const { nominal } = part.ohm
  const wide = await jig.resistance(pair, { mostOhm: nominal * openFactor, wires: 2 })
  if (wide.quality !== 'good')
    return faulty('open', `it is open, or above ${formatSi(nominal * openFactor, 'Ω', 2)}`)
  return steady(part, wide, wide, '2 wires')
}

function steady(part: Resistor, first: Measured, second: Measured, conditions: string): Proof {
  const apart = Math.abs(second.value - first.value)
  const ohm = second.value
  const u = Math.hypot(second.u, apart / Math.sqrt(12))
  const { nominal } = part.ohm
  if (apart > driftFactor * Math.hypot(first.u, second.u) && apart > 0.002 * nominal) {
    return faulty(
      'poor contact',
      `it moved by ${formatSi(apart, 'Ω', 3)} while it was read: a poor contact, or noise`,
      { resistanceOhm: ohm, movedOhm: apart },
    )
  }
  return found(
    [
      {
        name: 'resistance',
        measured: { value: ohm, u },
        unit: 'Ω',
        limit: valueLimit(part.ohm),
        conditions,
      },
    ],
    { resistanceOhm: ohm, resistanceU: u },
  )
}

/** A switch, relay contact, fuse or link: low resistance, with four wires where the jig has them. */
export async function proveContact(jig: Jig, pair: Pair, part: Contact): Promise<Proof> {
  const wires = jig.reach.ohms!.wires.includes(4) ? 4 : 2
  const { high = 1 } = part.ohm
  const first = await jig.resistance(pair, { mostOhm: 100 * high, wires })
  if (first.quality !== 'good')
    return faulty('open', `it does not close: above ${formatSi(100 * high, 'Ω', 2)}`)
  await jig.rest(betweenMs)
  const second = await jig.resistance(pair, { mostOhm: 100 * high, wires })
  const moved = Math.abs(second.value - first.value)
  if (second.quality !== 'good' || (moved > driftFactor * Math.hypot(first.u, second.u) && moved > high)) {
    return faulty('poor contact', `it moved by ${formatSi(moved, 'Ω', 3)} while it was read`)
  }
  return found(
    [
      {
        name: 'contact resistance',
        measured: { value: second.value, u: Math.hypot(second.u, moved / Math.sqrt(12)) },
        unit: 'Ω',
        limit: part.ohm,
        conditions: `${wires} wires`,
      },
    ],
    { contactOhm: second.value },
  )
}
