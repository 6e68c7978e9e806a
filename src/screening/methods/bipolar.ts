/**
 * A bipolar transistor: legs found, collector leakage with the base open, gain at the stated collector
 * current with the leakage taken off, base-emitter voltage, saturation. Currents and volts are
 * magnitudes; polarity turns them.
 */
import { thermalVoltageV } from '../../analysis/devices/diode.ts'
import { formatSi } from '../../base/format.ts'
import type { Measured } from '../../schema/reading.ts'
import type { Force, Jig, Pair, Point, Terminal } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { Bipolar } from '../to-prove.ts'
import { findBase, movingLeg } from './pin-out.ts'

const pulseMs = 20
const leakMs = 300
/** First guess of the gain, and how near to the stated collector current the base is driven. */
const firstGain = 100
const nearShare = 0.1
const triesMost = 8
/** Collector current over base current in saturation, as the trade states it (from memory). */
const forcedGain = 10

interface Placed {
  readonly collector: Terminal
  readonly base: Terminal
  readonly emitter: Terminal
  readonly sign: 1 | -1
}

export async function proveBipolar(jig: Jig, part: Bipolar): Promise<Proof> {
  const legs = await findBase(jig)
  if ('fault' in legs) return faulty(legs.fault, legs.says)
  if (part.polarity !== null && part.polarity !== legs.polarity) {
    return faulty('other kind', `it is ${legs.polarity}, not ${part.polarity}`)
  }
  const moving = await movingLeg(jig, legs)
  if (moving !== null) return faulty('poor contact', moving)
  const sign = legs.polarity === 'npn' ? 1 : -1
  const [a, b] = legs.others
  const one: Placed = { collector: a, base: legs.base, emitter: b, sign }
  const other: Placed = { ...one, collector: b, emitter: a }
  const [gainOne, gainOther] = [await roughGain(jig, part, one), await roughGain(jig, part, other)]
  if (Math.max(gainOne, gainOther) < 1) return faulty('other kind', 'it does not amplify either way round')
  const placed = gainOne >= gainOther ? one : other
  const proof = await characterise(jig, part, placed, Math.max(gainOne, gainOther))
  const { base, collector, emitter } = placed
  const says = `base ${base}, collector ${collector}, emitter ${emitter}, ${legs.polarity}`
  // Symmetrical parts exist: legs that are told apart by less than a factor of two are said to be uncertain.
  const near = Math.min(gainOne, gainOther) > Math.max(gainOne, gainOther) / 2
  return { ...proof, notes: [...proof.notes, near ? `${says}; collector and emitter hardly differ` : says] }
}

const turned = (force: Force, sign: 1 | -1): Force =>
  'voltageV' in force
    ? { voltageV: sign * force.voltageV, limitA: force.limitA }
    : { currentA: sign * force.currentA, limitV: force.limitV }

const collectorPair = ({ collector, emitter }: Placed): Pair => ({ high: collector, low: emitter })

/** Base driven by a small current at low collector volts: which way round, no more. */
async function roughGain(jig: Jig, part: Bipolar, placed: Placed): Promise<number> {
  const baseA = Math.min(10e-6, part.collectorA / 10)
  const { main, control } = await drive(jig, placed, { voltageV: 2, limitA: 2 * part.collectorA }, baseA)
  const idle = await idleCurrent(jig, placed, 2, 2 * part.collectorA)
  const drivenA = Math.abs(control.current.value)
  return drivenA > 0 ? (Math.abs(main.current.value) - Math.abs(idle.current.value)) / drivenA : 0
}

const drive = (
  jig: Jig,
  placed: Placed,
  force: Force,
  baseA: number,
): Promise<{ main: Point; control: Point }> =>
  jig.drive(
    collectorPair(placed),
    turned(force, placed.sign),
    placed.base,
    turned({ currentA: baseA, limitV: 2 }, placed.sign),
    pulseMs,
  )

const idleCurrent = (jig: Jig, placed: Placed, voltageV: number, limitA: number): Promise<Point> =>
  jig.force(collectorPair(placed), turned({ voltageV, limitA }, placed.sign), leakMs)

async function characterise(jig: Jig, part: Bipolar, placed: Placed, rough: number): Promise<Proof> {
  const limitA = Math.min(jig.reach.source!.currentMaxA, 3 * part.collectorA)
  const leak = await idleCurrent(jig, placed, part.collectorV, limitA)
  const conditions = `${formatSi(part.collectorA, 'A')}, ${formatSi(part.collectorV, 'V')}`
  const leakFinding: Finding = {
    name: 'collector leakage',
    measured: size(leak.current),
    unit: 'A',
    limit: part.leakageA,
    conditions: `${formatSi(part.collectorV, 'V')}, base open`,
  }
  const leakA = Math.abs(leak.current.value)
  if (leak.limited || leakA > 0.5 * part.collectorA) {
    return found([leakFinding], { leakageA: leakA }, ['so leaky that its gain says nothing'])
  }
  const at = await settleGain(jig, part, placed, rough, leakA)
  if (at === null) {
    return {
      ...found([leakFinding], { leakageA: leakA }),
      fault: {
        is: 'cannot tell',
        says: `its collector current did not come to ${formatSi(part.collectorA, 'A')}`,
      },
    }
  }
  const gain = gainOf(at.main, at.control, leak)
  const findings: Finding[] = [
    leakFinding,
    { name: 'gain', measured: gain, unit: '1', limit: part.gain, conditions },
  ]
  if (part.baseV) {
    findings.push({
      name: 'base-emitter voltage',
      measured: atStatedCurrent(part, at),
      unit: 'V',
      limit: part.baseV,
      conditions,
    })
  }
  if (part.saturationV) findings.push(await saturation(jig, part, placed))
  return found(findings, {
    gain: gain.value,
    gainU: gain.u,
    leakageA: leakA,
    baseEmitterV: Math.abs(at.control.voltage.value),
    collectorA: Math.abs(at.main.current.value),
  })
}

/**
 * Moves the base current until the collector current is near the stated one; null when it does not get
 * there.
 */
async function settleGain(
  jig: Jig,
  part: Bipolar,
  placed: Placed,
  rough: number,
  leakA: number,
): Promise<{ main: Point; control: Point } | null> {
  const limitA = Math.min(jig.reach.source!.currentMaxA, 3 * part.collectorA)
  let gain = rough > 1 ? rough : firstGain
  for (let i = 0; i < triesMost; i++) {
    const baseA = Math.min(part.collectorA, Math.max(part.collectorA - leakA, 0.1 * part.collectorA) / gain)
    const at = await drive(jig, placed, { voltageV: part.collectorV, limitA }, baseA)
    const collectorA = Math.abs(at.main.current.value)
    if (!at.main.limited && Math.abs(collectorA - part.collectorA) <= nearShare * part.collectorA) return at
    gain = Math.max(1, (collectorA - leakA) / Math.abs(at.control.current.value))
  }
  return null
}

/** (IC − leakage)/IB; the leakage with the base open is itself amplified, so it is taken off whole. */
function gainOf(main: Point, control: Point, leak: Point): { value: number; u: number } {
  const [collectorA, leakA, baseA] = [main, leak, control].map(({ current }) => Math.abs(current.value)) as [
    number,
    number,
    number,
  ]
  const value = (collectorA - leakA) / baseA
  const u = Math.hypot(main.current.u, leak.current.u, value * control.current.u) / baseA
  return { value, u }
}

/** The ideality of base-emitter junctions, and their warmth, carry it by this share more or less (ours). */
const carriedShare = 0.1

/** Volts of the base as at the stated collector current, by kT/q·ln of the currents at 25 °C. */
function atStatedCurrent({ collectorA }: Bipolar, { main, control }: { main: Point; control: Point }): {
  value: number
  u: number
} {
  const read = size(control.voltage)
  const moreV = thermalVoltageV(25) * Math.log(collectorA / Math.abs(main.current.value))
  return { value: read.value + moreV, u: Math.hypot(read.u, carriedShare * moreV) }
}

async function saturation(jig: Jig, part: Bipolar, placed: Placed): Promise<Finding> {
  const { main } = await drive(
    jig,
    placed,
    { currentA: part.collectorA, limitV: part.collectorV },
    part.collectorA / forcedGain,
  )
  return {
    name: 'saturation voltage',
    measured: size(main.voltage),
    unit: 'V',
    limit: part.saturationV!,
    conditions: `${formatSi(part.collectorA, 'A')}, base ${formatSi(part.collectorA / forcedGain, 'A')}`,
  }
}

const size = ({ value, u }: Measured): { value: number; u: number } => ({ value: Math.abs(value), u })
