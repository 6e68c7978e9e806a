/** A resistor: its value, with two or four wires, and whether it lies still while current flows. */
import { formatSi } from '../../base/format.ts'
import type { Jig, Pair } from '../../schema/jig.ts'
import { faulty, found, type Proof } from '../proof.ts'
import { valueLimit, type Contact, type Resistor } from '../to-prove.ts'
import { readSteady, type Steady } from './steady.ts'

/** Below this, leads and contacts are a share of the value that a good meter tells; four wires see none. */
export const fourWireBelowOhm = 100e3
/** What a reading leaves open once leads are counted, and a scanner on the way; `ohm`: what was read. */
export const withLeads = ({ residuals }: Jig, pair: Pair, u: number, wires: 2 | 4, ohm = 0): number =>
  Math.hypot(u, wires === 2 ? residuals.leadsU(pair) : 0, residuals.ohmsU?.(ohm) ?? 0)
/** A range that holds the upper limit with room, so that a part just beyond it is still read. */
const rangeRoom = 1.25
/** A part that reads this many times less than its nominal value is a short. */
const grossFactor = 1e3

export async function proveResistor(jig: Jig, pair: Pair, part: Resistor): Promise<Proof> {
  const { nominal, plus } = part.ohm
  const wires = jig.reach.ohms!.wires.includes(4) && nominal < fourWireBelowOhm ? 4 : 2
  const read = (mostOhm: number | 'any', by: 2 | 4): Promise<Steady> =>
    readSteady(() => jig.resistance(pair, { mostOhm, wires: by }))
  const near = await read(nominal * (1 + plus) * rangeRoom, wires)
  const of = (steady: Steady, by: 2 | 4): Proof =>
    ofResistor(part, { ...steady, u: withLeads(jig, pair, steady.u, by, steady.value) }, by)
  if (near.quality === 'good') return of(near, wires)
  if (near.quality !== 'over-range')
    return faulty('cannot tell', `the meter gave no number: ${near.quality}`)
  // As far as the meter reaches, whatever that is: a range that it does not have would be refused.
  const far = await read('any', 2)
  return far.quality === 'good'
    ? of(far, 2)
    : faulty('open', 'it is open, or above what the meter reads')
}

function ofResistor(part: Resistor, { value, u, moved, isSteady }: Steady, wires: 2 | 4): Proof {
  const figures = { resistanceOhm: value, resistanceU: u, movedOhm: moved }
  if (value + 2 * u < part.ohm.nominal / grossFactor) {
    const mostOhm = formatSi(value + 2 * u, 'Ω', 2)
    return faulty('short', `it reads less than ${mostOhm}: a short, or another part`, figures)
  }
  if (!isSteady) return unsteady(moved, figures)
  return found(
    [{
      name: 'resistance', measured: { value, u }, unit: 'Ω', limit: valueLimit(part.ohm),
      conditions: `${wires} wires`,
    }],
    figures,
  )
}

const unsteady = (moved: number, figures: Record<string, number>): Proof =>
  faulty(
    'poor contact',
    `it moved by ${formatSi(moved, 'Ω', 3)} while it was read: a poor contact, or noise`,
    figures,
  )

/** A switch, relay contact, fuse or link: low resistance, with four wires where the jig has them. */
export async function proveContact(jig: Jig, pair: Pair, part: Contact): Promise<Proof> {
  const wires = jig.reach.ohms!.wires.includes(4) ? 4 : 2
  const { high = 1 } = part.ohm
  const { value, u, moved, isSteady, quality } = await readSteady(() =>
    jig.resistance(pair, { mostOhm: 100 * high, wires }),
  )
  if (quality !== 'good') return faulty('open', `it does not close: above ${formatSi(100 * high, 'Ω', 2)}`)
  const figures = { contactOhm: value, movedOhm: moved }
  if (!isSteady && moved > high) return unsteady(moved, figures)
  return found(
    [
      {
        name: 'contact resistance',
        measured: { value, u: withLeads(jig, pair, u, wires, value) },
        unit: 'Ω',
        limit: part.ohm,
        conditions: `${wires} wires`,
      },
    ],
    figures,
  )
}
