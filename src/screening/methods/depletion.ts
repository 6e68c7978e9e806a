/**
 * Field-effect transistors with an insulated gate that conduct without gate volts. The gate is told from an
 * open one, and the channel from a short, by what the gate does to it; drain from source by the diode there.
 * Cut-off and slope come from the part as a follower: the gate lies still and the source leg finds its own
 * volts, so that no current more than was asked for ever flows. Everything in pulses; magnitudes.
 */
import { squareLawThrough } from '../../analysis/devices/field-effect.ts'
import { formatSi } from '../../base/format.ts'
import type { Jig, Point } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { DepletionFet } from '../to-prove.ts'
import {
  dischargeGate, gateLeak, growthPerV, hold, placedAs, size, withWords, type Placed,
} from './field-effect.ts'
import { findGate, movingLegs, type Gate } from './field-pins.ts'

const pulseMs = 20
const leakMs = 300
/** The follower's drain may take so many times what its source is told to. */
const followerRoom = 10
/** The wrong way round a diode pulls the source leg up: by more than this, V. */
const apartV = 0.3

export async function proveDepletion(jig: Jig, part: DepletionFet): Promise<Proof> {
  const pins = await findGate(jig)
  if ('fault' in pins) return faulty(pins.fault, pins.says)
  if (pins.sort !== 'depletion') return otherSort(pins)
  const channel = pins.channel!
  if (part.channel !== null && part.channel !== channel)
    return faulty('other kind', `its channel is ${channel}, not ${part.channel}`)
  const sign = channel === 'n' ? 1 : -1
  const moving = await movingLegs(jig, [[pins.drain, sign], [pins.source, sign]])
  if (moving !== null) return faulty('poor contact', moving)
  const placed = await rightWay(jig, part, placedAs(pins, channel))
  const proof = placed === null
    ? faulty('cannot tell', 'which leg is its drain did not show: it does not shut, or has no diode')
    : await characterise(jig, part, placed)
  const legs = placed ?? placedAs(pins, channel)
  await dischargeGate(jig, legs)
  const { gate, drain, source } = legs
  const words = `gate ${gate}, drain ${drain}, source ${source}, channel ${channel}`
  return withWords(proof, placed ? [`${words}, conducts without gate volts`] : [])
}

const otherSort = ({ sort, gate }: Gate): Proof => faulty('other kind', sort === 'jfet'
  ? `leg ${gate} is a junction: no insulated gate`
  : 'it does not conduct without gate volts: an enhancement type, or its channel is open')

/** Volts of the source leg against the channel, a current out of it, the drain at its volts from the gate. */
async function follow(jig: Jig, part: DepletionFet, placed: Placed, currentA: number): Promise<Point> {
  const { gate, drain, source, sign } = placed
  const { main } = await jig.drive({ high: source, low: gate },
    { currentA: -sign * currentA, limitV: Math.min(jig.reach.source!.voltageMaxV, 1.5 * part.drainV) },
    drain, { voltageV: sign * part.drainV, limitA: followerRoom * currentA }, pulseMs)
  const { voltage, current } = main
  return {
    ...main, voltage: { ...voltage, value: sign * voltage.value },
    current: { ...current, value: Math.abs(current.value) },
  }
}

/** The wrong way round the diode from source to drain carries the current, and the gate nothing decides. */
async function rightWay(jig: Jig, part: DepletionFet, placed: Placed): Promise<Placed | null> {
  const turned = { ...placed, drain: placed.source, source: placed.drain }
  const volts = async (one: Placed): Promise<number> =>
    (await follow(jig, part, one, part.slope.currentA)).voltage.value
  const [asFound, other] = [await volts(placed), await volts(turned)]
  if (Math.abs(asFound - other) < apartV) return null
  return asFound < other ? placed : turned
}

async function characterise(jig: Jig, part: DepletionFet, placed: Placed): Promise<Proof> {
  const { cutoff, idssA, drainV, drainLeak, gateLeak: leak } = part
  const limitA = jig.reach.source!.currentMaxA
  const off = await follow(jig, part, placed, cutoff.currentA)
  const open = await hold(jig, placed, drainV, limitA, 0)
  const shut = await hold(jig, placed, drainLeak.atV, Math.min(limitA, 1e-3), -drainLeak.gateV, leakMs)
  const most = leak.ampere.high ?? 0
  const gates = [
    size(await gateLeak(jig, placed, leak.atV, most)), size(await gateLeak(jig, placed, -leak.atV, most)),
  ]
  const slope = await slopeOf(jig, part, placed)
  const findings: Finding[] = [
    { name: 'cut-off voltage', measured: off.voltage, unit: 'V', limit: cutoff.volt,
      conditions: `${formatSi(cutoff.currentA, 'A')}, drain ${formatSi(drainV, 'V')} from the gate` },
    { name: 'drain current', measured: atNoGateV(open, placed, part, slope.measured.value),
      unit: 'A', limit: idssA,
      conditions: `${formatSi(drainV, 'V')}, no gate volts, pulse of ${pulseMs} ms` },
    slope,
    { name: 'drain leakage', measured: size(shut.main.current), unit: 'A', limit: drainLeak.ampere,
      conditions: `${formatSi(drainLeak.atV, 'V')}, gate ${formatSi(drainLeak.gateV, 'V')} against it` },
    { name: 'gate leakage', measured: gates[0]!.value >= gates[1]!.value ? gates[0]! : gates[1]!, unit: 'A',
      limit: leak.ampere, conditions: `${formatSi(leak.atV, 'V')} either way, drain and source joined` },
  ]
  const [cutoffV, drainA, slopeS, drainLeakA, gateLeakA] = findings.map(({ measured }) => measured.value)
  return found(findings, {
    cutoffV: cutoffV!, drainA: drainA!, slopeS: slopeS!, drainLeakA: drainLeakA!, gateLeakA: gateLeakA!,
  }, open.main.limited ? ['the source could not carry its whole drain current: it has at least so much'] : [])
}

/** No source gives quite the volts it was told to: what the gate still had is reckoned off by the slope. */
function atNoGateV(
  { main, control }: { main: Point; control: Point }, { sign }: Placed, { drainV, slope }: DepletionFet,
  slopeS: number,
): { value: number; u: number } {
  const { value, u } = size(main.current)
  if (main.limited) return { value, u }
  // By the square law the slope goes with the root of the current.
  const siemens = slopeS * Math.sqrt(value / slope.currentA)
  const drainU = Math.abs(Math.abs(main.voltage.value) - drainV) + main.voltage.u
  return {
    value: value - siemens * sign * control.voltage.value,
    u: Math.hypot(u, siemens * control.voltage.u, growthPerV * value * drainU),
  }
}

/** The square law goes through two points this far to either side of the current, as factors. */
const slopeFactor = 2

async function slopeOf(jig: Jig, part: DepletionFet, placed: Placed): Promise<Finding> {
  const { currentA, siemens } = part.slope
  const low = await follow(jig, part, placed, currentA / slopeFactor)
  const high = await follow(jig, part, placed, currentA * slopeFactor)
  const finding = (measured: { value: number; u: number }): Finding => ({
    name: 'transconductance', measured, unit: 'S', limit: siemens,
    conditions: `${formatSi(currentA, 'A')}, as a follower, square law`,
  })
  const [v1, v2, i1, i2] = [low.voltage, high.voltage, low.current, high.current]
  // More current leaves fewer volts against the channel.
  const movedV = v1.value - v2.value
  if (!(movedV > 0 && i2.value > i1.value)) return finding({ value: 0, u: i2.u / part.drainV })
  const { gainAPerV2 } = squareLawThrough([-v1.value, i1.value], [-v2.value, i2.value])
  const value = 2 * Math.sqrt(gainAPerV2 * currentA)
  const rootsA = Math.sqrt(i2.value) - Math.sqrt(i1.value)
  const rootsU = Math.hypot(i2.u / Math.sqrt(i2.value), i1.u / Math.sqrt(i1.value)) / 2
  return finding({ value, u: value * Math.hypot(Math.hypot(v1.u, v2.u) / movedV, rootsU / rootsA) })
}
