/**
 * What two windings are to each other: which ends are in phase, from the windings in line both ways, and
 * their leakage inductance, from the larger with the smaller one shorted.
 */
import { coupling } from '../../analysis/devices/transformer.ts'
import type { ImpedanceReading, Jig } from '../../schema/jig.ts'
import type { Guide } from './guide.ts'
import { Joining } from './joining.ts'
import { nearestHz } from './reactive.ts'
import { coreOf, type Quantity, type Seen, type Winding } from './winding-core.ts'

export interface Coupled {
  readonly isTurned: boolean | null
  readonly share: Quantity | null
  readonly figures: Record<string, number>
  readonly notes: readonly string[]
}

/** Both ways in line, then the larger with the smaller one shorted: by relays, or by the person's hands. */
export async function inLine(jig: Jig, seen: Seen, guide: Guide): Promise<Coupled> {
  const joining = new Joining(jig, guide)
  const { high, low, frequencyHz, levels } = seen
  if (levels.inLineV === null) {
    const notes = ['its phase and leakage would need less than the bridge gives']
    return { isTurned: null, share: null, figures: {}, notes }
  }
  const setup = { frequencyHz, levelV: levels.inLineV }
  const openOhm = 20 * (high.sizeOhm + low.sizeOhm)
  const [a, b] = [high.pair, low.pair]
  const ends =
    await joining.read({ high: a.high, low: b.low }, { high: a.low, low: b.high }, setup, openOhm)
  const crossed =
    await joining.read({ high: a.high, low: b.high }, { high: a.low, low: b.low }, setup, openOhm)
  const phase = phaseOf(high, low, ends, crossed)
  const leak = await leakageOf(jig, seen, joining)
  const whole = high.at.henry
  if (leak === null)
    return { ...phase, share: null, notes: [...phase.notes, 'its leakage inductance was not measured'] }
  return {
    ...phase, figures: { ...phase.figures, leakageH: leak.value },
    share: { value: leak.value / whole.value,
      u: Math.hypot(leak.u, leak.value * whole.u / whole.value) / whole.value },
  }
}

/** So many times the frequency: what is shorted shall be its inductance, not its resistance. */
const leakageFactor = 10
/** What is left open by where the loss of the core lies. */
const leakageShareU = 0.02

/**
 * What is left of the larger winding's inductance with the other one shorted; the loss of the core beside it
 * and the resistance of the shorted winding are reckoned off.
 */
async function leakageOf(
  jig: Jig, { high, low, frequencyHz, levels: { eachV } }: Seen, joining: Joining,
): Promise<Quantity | null> {
  const setup = { frequencyHz: nearestHz(leakageFactor * frequencyHz, jig.reach), levelV: eachV }
  const omega = 2 * Math.PI * setup.frequencyHz
  const core = coreOf(await jig.impedance(high.pair, setup), high.ohm)
  const read = await joining.read(high.pair, low.pair, setup, omega * high.at.henry.value / 2)
  if (read === null || read.xOhm.quality !== 'good' || read.rOhm.quality !== 'good') return null
  // Above its resonance the open winding says nothing of its core.
  const lossS = 'says' in core ? 0 : 1 / (omega * core.henry.value * core.quality.value)
  const left = reactanceWithout(lossS, read.rOhm.value - high.ohm.value, read.xOhm.value)
  const resistive = (low.ohm.value / (omega * low.at.henry.value)) ** 2
  const value = left / omega - high.at.henry.value * resistive / (1 + resistive)
  return { value, u: Math.hypot(read.xOhm.u / omega, leakageShareU * value) }
}

/** Reactance of r + jx once a conductance beside it is taken away. */
function reactanceWithout(siemens: number, r: number, x: number): number {
  const size = r * r + x * x
  const [real, imaginary] = [r / size - siemens, -x / size]
  return -imaginary / (real ** 2 + imaginary ** 2)
}

/** The windings help each other where the end of one joins the beginning of the other. */
function phaseOf(
  { pair: a, ohm: aOhm, at: aAt }: Winding, { pair: b, ohm: bOhm, at: bAt }: Winding,
  ends: ImpedanceReading | null, crossed: ImpedanceReading | null,
): Pick<Coupled, 'isTurned' | 'figures' | 'notes'> {
  const both = { value: aOhm.value + bOhm.value, u: Math.hypot(aOhm.u, bOhm.u) }
  const one = ends && coreOf(ends, both)
  const other = crossed && coreOf(crossed, both)
  const untold = { isTurned: null, figures: {}, notes: ['which ends are in phase was not found'] }
  if (!one || !other || 'says' in one || 'says' in other) return untold
  const apart = one.henry.value - other.henry.value
  if (Math.abs(apart) < 3 * Math.hypot(one.henry.u, other.henry.u)) return untold
  const [aiding, opposing] = apart > 0 ? [one, other] : [other, one]
  // Of two windings that are alike next to nothing is left where they oppose each other.
  const { mutualH, factor } =
    coupling(aAt.henry.value, bAt.henry.value, aiding.henry.value, opposing.henry.value)
  const isAsAsked = [a, b].every(({ high, low }) => high % 2 === 1 && low === high + 1)
  return {
    isTurned: apart < 0 && isAsAsked,
    figures: { mutualH, couplingFactor: factor },
    notes: [`legs ${a.high} and ${apart > 0 ? b.high : b.low} are in phase`],
  }
}
