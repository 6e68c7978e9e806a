/**
 * Field-effect transistors: legs found, then what the sort is judged by. Junction types: drain current
 * without gate volts, cut-off volts by the square law, gate leakage. Insulated gates: threshold, slope,
 * resistance when on, leakage of drain and gate. Everything in pulses, and no gate ever hangs in the air:
 * the second source holds it before the drain gets volts and lets go after it. Volts and currents are
 * magnitudes; the channel turns them.
 */
import { squareLawThrough } from '../../analysis/devices/field-effect.ts'
import { formatSi } from '../../base/format.ts'
import type { Jig, Point, Terminal } from '../../schema/jig.ts'
import type { Measured } from '../../schema/reading.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { JunctionFet, Mosfet } from '../to-prove.ts'
import { findGate, movingLegs, othersOf, type Gate } from './field-pins.ts'
import { readSteady } from './steady.ts'

const pulseMs = 20
const leakMs = 300
/** A gate takes no more than this while the channel is measured, A. */
const gateMostA = 1e-5

/** Legs, and the sign that turns magnitudes: 1 for an n-channel part. */
export interface Placed {
  readonly gate: Terminal
  readonly drain: Terminal
  readonly source: Terminal
  readonly sign: 1 | -1
}

export const placedAs = ({ gate, drain, source }: Gate, channel: 'n' | 'p'): Placed =>
  ({ gate, drain, source, sign: channel === 'n' ? 1 : -1 })

export const withWords = (proof: Proof, words: readonly string[]): Proof =>
  ({ ...proof, notes: [...proof.notes, ...words] })

/** Drain and gate at volts to the source; `gateV` is counted as the channel opens. */
export const hold = (
  jig: Jig, { gate, drain, source, sign }: Placed, drainV: number, limitA: number, gateV: number,
  ms = pulseMs,
): ReturnType<Jig['drive']> =>
  jig.drive({ high: drain, low: source }, { voltageV: sign * drainV, limitA },
    gate, { voltageV: sign * gateV, limitA: gateMostA }, ms)

/** The gate against drain and source joined; `gateV` is counted as the channel opens. */
export async function gateLeak(
  jig: Jig, { gate, sign }: Placed, gateV: number, limitMostA: number,
): Promise<Measured> {
  const [low, third] = othersOf(gate)
  const limitA = Math.min(jig.reach.source!.currentMaxA, Math.max(20 * limitMostA, 1e-6))
  const { main } = await jig.drive({ high: gate, low }, { voltageV: sign * gateV, limitA },
    third, { voltageV: 0, limitA }, leakMs)
  return main.current
}

/** No charge is left on a gate that hands will touch next. */
export const dischargeGate = (jig: Jig, placed: Placed): Promise<unknown> =>
  hold(jig, placed, 0, gateMostA, 0)

export const size = ({ value, u }: Measured): { value: number; u: number } => ({ value: Math.abs(value), u })

// ---- junction types ----

/** The source may carry this many times the greatest drain current that passes. */
export const drainRoom = 1.5
/** A gate that leaks this many times more than it may takes a hand in the channel's current. */
const leakyFactor = 10

export async function proveJunctionFet(jig: Jig, part: JunctionFet): Promise<Proof> {
  const pins = await findGate(jig)
  if ('fault' in pins) return faulty(pins.fault, pins.says)
  if (pins.sort !== 'jfet') return noJunction(pins)
  const channel = pins.channel!
  if (part.channel !== null && part.channel !== channel)
    return faulty('other kind', `its channel is ${channel}, not ${part.channel}`)
  const sign = channel === 'n' ? 1 : -1
  const moving = await movingLegs(jig, [[pins.gate, sign], [pins.drain, sign], [pins.source, sign]])
  if (moving !== null) return faulty('poor contact', moving)
  const placed = placedAs(pins, channel)
  const says = `gate ${pins.gate}, channel ${channel}; drain and source, ${pins.drain} and ` +
    `${pins.source}, are not told apart`
  return withWords(await characterise(jig, part, placed), [says])
}

const noJunction = ({ gate, drain, source, channel }: Gate): Proof => channel === null
  ? faulty('open', `legs ${drain} and ${source} are one junction, and leg ${gate} leads nowhere: it is open`)
  : faulty('other kind', `leg ${gate} is insulated: a gate of another sort`)

async function characterise(jig: Jig, part: JunctionFet, placed: Placed): Promise<Proof> {
  const limitA = Math.min(jig.reach.source!.currentMaxA, drainRoom * (part.idssA.high ?? Infinity))
  const open = await hold(jig, placed, part.drainV, limitA, 0)
  const drawn = size(open.main.current)
  const drainFinding = (measured: { value: number; u: number }): Finding => ({
    name: 'drain current', measured, unit: 'A', limit: part.idssA,
    conditions: `${formatSi(part.drainV, 'V')}, no gate volts, pulse of ${pulseMs} ms`,
  })
  const leak = await gateLeak(jig, placed, -part.gateLeak.atV, part.gateLeak.ampere.high ?? 0)
  const findings: Finding[] = [drainFinding(drawn), {
    name: 'gate leakage', measured: size(leak), unit: 'A', limit: part.gateLeak.ampere,
    conditions: `${formatSi(part.gateLeak.atV, 'V')}, drain and source joined`,
  }]
  const figures: Record<string, number> = { drainA: drawn.value, gateLeakA: Math.abs(leak.value) }
  if (open.main.limited)
    return found(findings, figures, ['the source could not carry its whole drain current'])
  if (Math.abs(leak.value) > leakyFactor * (part.gateLeak.ampere.high ?? Infinity))
    return found(findings, figures, ['its gate leaks so much that its cut-off says nothing'])
  const whole = await cutoffOf(jig, part, placed, drawn, limitA)
  if (whole === null) {
    return { ...found(findings, figures),
      fault: { is: 'cannot tell', says: 'its drain current did not come down as the gate went against it' } }
  }
  const idss = withoutGate(open, placed, part, whole.value)
  const cutoff = atCurrent(whole, part.cutoffA ?? 0, idss.value)
  return found([drainFinding(idss), ...findings.slice(1), {
    name: 'cut-off voltage', measured: cutoff, unit: 'V', limit: part.cutoffV,
    conditions: `square law through two points at ${formatSi(part.drainV, 'V')}`,
  }], { ...figures, drainA: idss.value, cutoffV: cutoff.value, slopeS: 2 * idss.value / whole.value })
}

/** Gate volts that leave a current, by the same square law: V·(1 − √(I/IDSS)). */
function atCurrent(
  { value, u }: { value: number; u: number }, currentA: number, idssA: number,
): { value: number; u: number } {
  const share = 1 - Math.sqrt(Math.min(1, currentA / idssA))
  return { value: value * share, u: u * share }
}

/** Most that a channel takes more for each volt at the drain, as a share (from memory). */
export const growthPerV = 0.02

/** No source gives quite the volts it was told to: what the gate still had is reckoned off by the slope. */
function withoutGate(
  { main, control }: { main: Point; control: Point }, { sign }: Placed, { drainV }: JunctionFet,
  cutoffV: number,
): { value: number; u: number } {
  const { value, u } = size(main.current)
  const slope = 2 * value / cutoffV
  const drainU = Math.abs(Math.abs(main.voltage.value) - drainV) + main.voltage.u
  return {
    value: value - slope * sign * control.voltage.value,
    u: Math.hypot(u, slope * control.voltage.u, growthPerV * value * drainU),
  }
}

/** The second point of the square law lies where the current is about a quarter (common practice). */
const [shareLeast, shareMost] = [0.1, 0.5]
const triesMost = 6

/**
 * Cut-off volts from the current without gate volts and one at about a quarter of it. The gate goes against
 * the channel by what the last point foretells; null where that leads nowhere.
 */
async function cutoffOf(
  jig: Jig, part: JunctionFet, placed: Placed, idss: { value: number; u: number }, limitA: number,
): Promise<{ value: number; u: number } | null> {
  const mostV = Math.min(part.gateLeak.atV, jig.reach.secondSource!.voltageMaxV)
  let gateV = Math.min(mostV, (part.cutoffV.low ?? 0.5))
  for (let i = 0; i < triesMost; i++) {
    const at = await hold(jig, placed, part.drainV, limitA, -gateV)
    const ratio = Math.abs(at.main.current.value) / idss.value
    if (ratio >= shareLeast && ratio <= shareMost) return cutoffFrom(idss, at.main, at.control)
    if (ratio > shareMost && gateV === mostV) return null
    // Where nothing flows any more the gate has gone too far; else the square law says how far to go.
    const next = ratio < shareLeast ? gateV / 2 : gateV / (1 - Math.sqrt(Math.min(ratio, 0.95))) / 2
    gateV = Math.min(mostV, next)
  }
  return null
}

/** VGS(off) = V/(1 − √r), r the share of the current that is left; with what each reading leaves open. */
function cutoffFrom(
  idss: { value: number; u: number }, main: Point, control: Point,
): { value: number; u: number } {
  const volts = size(control.voltage)
  const ratio = Math.abs(main.current.value) / idss.value
  const root = Math.sqrt(ratio)
  const ratioU = ratio * Math.hypot(main.current.u / main.current.value, idss.u / idss.value)
  const value = volts.value / (1 - root)
  return { value, u: Math.hypot(volts.u / (1 - root), volts.value * ratioU / (2 * root * (1 - root) ** 2)) }
}

// ---- insulated gates ----

export async function proveMosfet(jig: Jig, part: Mosfet): Promise<Proof> {
  const pins = await findGate(jig)
  if ('fault' in pins) return faulty(pins.fault, pins.says)
  if (pins.sort === 'depletion')
    return faulty('other kind', 'it conducts without gate volts: a depletion type, or damaged')
  if (pins.sort !== 'mosfet') return faulty('other kind', `leg ${pins.gate} is a junction: no insulated gate`)
  if (pins.channel !== null && part.channel !== null && pins.channel !== part.channel)
    return faulty('other kind', `its channel is ${pins.channel}, not ${part.channel}`)
  const channel = pins.channel ?? part.channel
  if (channel === null) {
    return faulty('cannot tell', 'it does not turn on below the probing volts, and the list says no channel')
  }
  // The body diode lies from source to drain where the channel is n; as it was found it was taken for one.
  const turned = pins.channel === null && channel === 'p'
  const placed = placedAs(turned ? { ...pins, drain: pins.source, source: pins.drain } : pins, channel)
  const proof = await ofMosfet(jig, part, placed)
  await dischargeGate(jig, placed)
  const { gate, drain, source } = placed
  return withWords(proof, [`gate ${gate}, drain ${drain}, source ${source}, channel ${channel}`])
}

async function ofMosfet(jig: Jig, part: Mosfet, placed: Placed): Promise<Proof> {
  const { threshold, slope } = part
  const at = await diodeConnected(jig, part, placed, threshold.currentA)
  if (at.limited) {
    return faulty('open', `${formatSi(part.on.gateV, 'V')} at the gate do not turn it on: ` +
      'its gate is open, or it is of the other channel')
  }
  const moved = await movesWhenOn(jig, part, placed)
  if (moved !== null) return faulty('poor contact', moved)
  const findings: Finding[] = [{
    name: 'threshold voltage', measured: size(at.voltage), unit: 'V', limit: threshold.volt,
    conditions: `${formatSi(threshold.currentA, 'A')}, gate and drain joined`,
  }]
  const figures: Record<string, number> = { thresholdV: Math.abs(at.voltage.value) }
  if (slope) findings.push(await slopeAt(jig, part, placed, slope))
  findings.push(await whenOn(jig, part, placed), ...await leaks(jig, part, placed))
  for (const { name, measured } of findings.slice(1)) figures[figureNames[name]!] = measured.value
  return found(findings, figures)
}

const figureNames: Partial<Record<Finding['name'], string>> = {
  transconductance: 'slopeS', 'on-resistance': 'onOhm', 'drain leakage': 'drainLeakA',
  'gate leakage': 'gateLeakA',
}

/**
 * The channel with gate and drain at the same volts, by a current: the source leg is driven against the two
 * others.
 */
async function diodeConnected(
  jig: Jig, { on }: Mosfet, { gate, drain, source, sign }: Placed, currentA: number,
): Promise<Point> {
  const { main, control } = await jig.drive({ high: source, low: drain },
    { currentA: -sign * currentA, limitV: on.gateV }, gate, { voltageV: 0, limitA: gateMostA }, pulseMs)
  // The source that joins gate and drain is never quite at no volts: the gate is what counts.
  const voltage = {
    ...main.voltage, value: main.voltage.value - control.voltage.value,
    u: Math.hypot(main.voltage.u, control.voltage.u),
  }
  return { ...main, voltage }
}

/** What does not carry its current below this is not on. */
const onMostV = 5
/** The square law goes through two points this far to either side of the current, as factors. */
const slopeFactor = 2

/** Transconductance at a current, from the volts at half and at twice of it with gate and drain joined. */
async function slopeAt(
  jig: Jig, part: Mosfet, placed: Placed, slope: NonNullable<Mosfet['slope']>,
): Promise<Finding> {
  const low = await diodeConnected(jig, part, placed, slope.currentA / slopeFactor)
  const high = await diodeConnected(jig, part, placed, slope.currentA * slopeFactor)
  const conditions = `${formatSi(slope.currentA, 'A')}, gate and drain joined, square law`
  const finding = (measured: { value: number; u: number }): Finding =>
    ({ name: 'transconductance', measured, unit: 'S', limit: slope.siemens, conditions })
  const [v1, v2] = [size(low.voltage), size(high.voltage)]
  const [i1, i2] = [size(low.current), size(high.current)]
  // A part that does not reach the higher current has next to no slope.
  if (high.limited || low.limited) return finding({ value: i2.value / v2.value, u: i2.u / v2.value })
  const { gainAPerV2 } = squareLawThrough([v1.value, i1.value], [v2.value, i2.value])
  const value = 2 * Math.sqrt(gainAPerV2 * slope.currentA)
  const apartV = v2.value - v1.value
  const rootsA = Math.sqrt(i2.value) - Math.sqrt(i1.value)
  const rootsU = Math.hypot(i2.u / Math.sqrt(i2.value), i1.u / Math.sqrt(i1.value)) / 2
  return finding({ value, u: value * Math.hypot(Math.hypot(v1.u, v2.u) / apartV, rootsU / rootsA) })
}

async function on(
  jig: Jig, { on: { gateV, currentA } }: Mosfet, { gate, drain, source, sign }: Placed,
): Promise<Point> {
  const { main } = await jig.drive({ high: drain, low: source },
    { currentA: sign * currentA, limitV: onMostV },
    gate, { voltageV: sign * gateV, limitA: gateMostA }, pulseMs)
  return main
}

async function movesWhenOn(jig: Jig, part: Mosfet, placed: Placed): Promise<string | null> {
  const { moved, isSteady, quality } = await readSteady(async () => (await on(jig, part, placed)).voltage)
  return quality === 'good' && !isSteady
    ? `its volts when on moved by ${formatSi(moved, 'V', 3)}: a poor contact` : null
}

async function whenOn(jig: Jig, part: Mosfet, placed: Placed): Promise<Finding> {
  const { voltage, current } = await on(jig, part, placed)
  const value = Math.abs(voltage.value / current.value)
  const u = value * Math.hypot(voltage.u / voltage.value, current.u / current.value)
  const { gateV, currentA, ohm: limit } = part.on
  return { name: 'on-resistance', measured: { value, u }, unit: 'Ω', limit,
    conditions: `${formatSi(currentA, 'A')}, gate ${formatSi(gateV, 'V')}, leads of the jig counted in` }
}

async function leaks(jig: Jig, part: Mosfet, placed: Placed): Promise<Finding[]> {
  const { drainLeak, gateLeak: gate } = part
  const limitA = Math.min(jig.reach.source!.currentMaxA, Math.max(20 * (drainLeak.ampere.high ?? 0), 1e-6))
  const off = await hold(jig, placed, drainLeak.atV, limitA, 0, leakMs)
  // The worse of both signs: an insulation has none.
  const both = [
    size(await gateLeak(jig, placed, gate.atV, gate.ampere.high ?? 0)),
    size(await gateLeak(jig, placed, -gate.atV, gate.ampere.high ?? 0)),
  ]
  const worse = both[0]!.value >= both[1]!.value ? both[0]! : both[1]!
  return [
    { name: 'drain leakage', measured: size(off.main.current), unit: 'A', limit: drainLeak.ampere,
      conditions: `${formatSi(drainLeak.atV, 'V')}, gate at the source` },
    { name: 'gate leakage', measured: worse, unit: 'A', limit: gate.ampere,
      conditions: `${formatSi(gate.atV, 'V')} either way, drain and source joined` },
  ]
}
