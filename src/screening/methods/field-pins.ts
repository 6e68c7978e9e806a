/**
 * Which leg of a field-effect transistor is its gate, and of what sort it is, found under the probing
 * limits. One leg at a time gets both signs against the two others, which stand at the same volts: so no
 * gate ever hangs in the air while current flows, and no more than the probing volts stand on it.
 */
import { formatSi } from '../../base/format.ts'
import { probing, type Jig, type Terminal } from '../../schema/jig.ts'
import type { Measured } from '../../schema/reading.ts'
import { readSteady } from './steady.ts'

export const legs: readonly Terminal[] = [1, 2, 3]
const pulseMs = 20
/** What one leg gets; the source that holds the others together may carry the whole of it. */
const probeA = 0.8 * probing.currentA
/** Less than this through a leg at the probing volts is leakage, more is a channel or a junction. */
const onA = 2e-4
/** At the probing current a junction has more than this; a short, or a channel of few ohms, less. */
const lowV = 0.05

/** What one leg let through: magnitudes, and the sign of the leg against the two others. */
export interface Looked {
  readonly leg: Terminal
  readonly sign: 1 | -1
  readonly on: boolean
  readonly volts: number
}

export interface Gate {
  /** `depletion`: an insulated gate, and a channel that conducts without gate volts; drain may be source. */
  readonly sort: 'jfet' | 'mosfet' | 'depletion'
  readonly gate: Terminal
  readonly drain: Terminal
  readonly source: Terminal
  /** Null: its channel does not turn on below the probing volts, so that either may be. */
  readonly channel: 'n' | 'p' | null
}
export type FoundGate = Gate | {
  readonly fault: 'short' | 'open' | 'other kind' | 'cannot tell'
  readonly says: string
}

/** The two others, in order. */
export const othersOf = (leg: Terminal): [Terminal, Terminal] =>
  legs.filter(one => one !== leg) as [Terminal, Terminal]

/** One leg against the two others, at `sign` times the probing current. */
export async function lookJoined(jig: Jig, leg: Terminal, sign: 1 | -1): Promise<Looked> {
  const { main } = await joined(jig, leg, sign)
  const amps = Math.abs(main.current.value)
  return { leg, sign, on: !main.limited || amps > onA, volts: Math.abs(main.voltage.value) }
}

function joined(jig: Jig, leg: Terminal, sign: 1 | -1): ReturnType<Jig['drive']> {
  const [low, third] = othersOf(leg)
  return jig.drive({ high: leg, low }, { currentA: sign * probeA, limitV: probing.voltageV },
    third, { voltageV: 0, limitA: probing.currentA }, pulseMs)
}

export async function findGate(jig: Jig): Promise<FoundGate> {
  const looks: Looked[] = []
  for (const leg of legs) for (const sign of [1, -1] as const) looks.push(await lookJoined(jig, leg, sign))
  const found = judgeGate(looks)
  if ('fault' in found || found.sort === 'mosfet') return found
  if (found.sort === 'depletion') return await ofInsulated(jig, found, looks)
  if (await hasControl(jig, found)) return found
  const { gate, drain, source } = found
  return {
    fault: 'short',
    says: `legs ${drain} and ${source} are shorted: leg ${gate} changes nothing between them`,
  }
}

/** How a leg conducts: not at all, with one sign, or with both. */
type Way = 'no' | 'both' | 1 | -1

/** Pure: what six looks say. */
export function judgeGate(looks: readonly Looked[]): FoundGate {
  const at = (leg: Terminal, sign: 1 | -1): Looked =>
    looks.find(look => look.leg === leg && look.sign === sign)!
  const way = (leg: Terminal): Way => {
    const [plus, minus] = [at(leg, 1).on, at(leg, -1).on]
    return plus && minus ? 'both' : plus ? 1 : minus ? -1 : 'no'
  }
  const of = (wanted: (one: Way) => boolean): Terminal[] => legs.filter(leg => wanted(way(leg)))
  const [none, both] = [of(one => one === 'no'), of(one => one === 'both')]
  const single = legs.filter(leg => !none.includes(leg) && !both.includes(leg))
  const signOf = (leg: Terminal): 1 | -1 => way(leg) as 1 | -1
  if (none.length === 3) return { fault: 'open', says: 'no leg conducts to another' }
  if (single.length === 1 && both.length === 2) return ofJunctionGate(single[0]!, signOf(single[0]!), both)
  if (single.length === 1 && both.length === 1 && none.length === 1) {
    const [gate, source, drain] = [none[0]!, both[0]!, single[0]!]
    return { sort: 'mosfet', gate, source, drain, channel: signOf(drain) === -1 ? 'n' : 'p' }
  }
  if (single.length === 2 && none.length === 1 && signOf(single[0]!) !== signOf(single[1]!)) {
    const plus = single.find(leg => signOf(leg) === 1)!
    const minus = single.find(leg => leg !== plus)!
    // The body diode: from source to drain where the channel is n. It is asked which.
    return { sort: 'mosfet', gate: none[0]!, source: plus, drain: minus, channel: null }
  }
  if (none.length === 1 && both.length === 2)
    return { sort: 'depletion', gate: none[0]!, drain: both[0]!, source: both[1]!, channel: null }
  return noGate(looks, { both, single }, signOf)
}

const ofJunctionGate = (gate: Terminal, sign: 1 | -1, [drain, source]: readonly Terminal[]): Gate =>
  ({ sort: 'jfet', gate, drain: drain!, source: source!, channel: sign === 1 ? 'n' : 'p' })

function noGate(
  looks: readonly Looked[],
  { both, single }: { both: Terminal[]; single: Terminal[] },
  signOf: (leg: Terminal) => 1 | -1,
): FoundGate {
  const shorted = both.filter(leg =>
    looks.every(look => look.leg !== leg || look.volts < lowV))
  if (shorted.length >= 2) return { fault: 'short', says: `legs ${shorted.join(' and ')} are shorted` }
  if (single.length === 3) {
    const base = single.find(leg => single.every(other => other === leg || signOf(other) !== signOf(leg)))
    if (base !== undefined) {
      const polarity = signOf(base) === 1 ? 'npn' : 'pnp'
      return {
        fault: 'other kind', says: `two junctions meet at leg ${base}: a bipolar transistor, ${polarity}`,
      }
    }
  }
  if (single.length === 2 && both.length === 1 && signOf(single[0]!) === signOf(single[1]!)) {
    return {
      fault: 'cannot tell',
      says: `legs ${single.join(' and ')} are both a junction towards leg ${both[0]}: perhaps an insulated ` +
        'gate with a protecting diode, whose legs are not told apart here',
    }
  }
  const words = [...both.map(leg => `${leg} both ways`), ...single.map(leg => `${leg} one way`)].join(', ')
  return { fault: 'other kind', says: `legs conduct: ${words || 'none'}; no sound field-effect transistor` }
}

/** The channel must conduct less by this share when the gate goes against it by the probing volts. */
const controlShare = 0.1
/** Volts along the channel while its conductance is read: far below any cut-off. */
const channelV = 0.1

/**
 * Whether the gate of a junction type changes the channel at all: with the gate at its source, and as far
 * against the channel as the probing volts allow. What the readings of a short leave open is no control.
 */
async function hasControl(jig: Jig, { channel, ...legs }: Gate): Promise<boolean> {
  const sign = channel === 'n' ? 1 : -1
  const free = await siemens(jig, legs, sign, 0)
  return isLess(await siemens(jig, legs, sign, -sign * mostGateV), free)
}

const mostGateV = probing.voltageV - channelV
interface Siemens { readonly value: number; readonly u: number }

async function siemens(
  jig: Jig, { gate, drain, source }: Pick<Gate, 'gate' | 'drain' | 'source'>, sign: 1 | -1, gateV: number,
): Promise<Siemens> {
  const { main: { voltage, current } } = await jig.drive({ high: drain, low: source },
    { voltageV: sign * channelV, limitA: probing.currentA },
    gate, { voltageV: gateV, limitA: probing.currentA }, pulseMs)
  const volts = Math.max(Math.abs(voltage.value), voltage.u)
  const value = Math.abs(current.value) / volts
  return { value, u: Math.hypot(current.u, value * voltage.u) / volts }
}

const isLess = (closed: Siemens, free: Siemens): boolean =>
  free.value - closed.value > controlShare * free.value + 3 * Math.hypot(free.u, closed.u)

/**
 * A leg that takes nothing while the two others conduct both ways: the gate of a part that conducts without
 * gate volts, where one sign of its volts makes less of the channel; that sign says of which sort it is.
 * Nothing does it where the others are shorted, or where the gate is open.
 */
async function ofInsulated(jig: Jig, found: Gate, looks: readonly Looked[]): Promise<FoundGate> {
  const { gate, drain, source } = found
  const [below, above] = [await siemens(jig, found, 1, -mostGateV), await siemens(jig, found, -1, mostGateV)]
  // Last: no charge is left on the gate.
  const free = await siemens(jig, found, 1, 0)
  if (isLess(below, free)) return { ...found, channel: 'n' }
  if (isLess(above, free)) return { ...found, channel: 'p' }
  const isShort = looks.every(({ leg, volts }) => leg === gate || volts < lowV)
  return isShort ? { fault: 'short', says: `legs ${drain} and ${source} are shorted` } : {
    fault: 'open',
    says: `legs ${drain} and ${source} conduct both ways, and leg ${gate} changes nothing: its gate is open`,
  }
}

/**
 * Each leg that carries current several times at the probing current, the others joined: a contact in line
 * with it moves its volts. In words; null where none moves.
 */
export async function movingLegs(jig: Jig, which: readonly [Terminal, 1 | -1][]): Promise<string | null> {
  for (const [leg, sign] of which) {
    const read = async (): Promise<Measured> => (await joined(jig, leg, sign)).main.voltage
    const { moved, isSteady, quality } = await readSteady(read)
    if (quality === 'good' && !isSteady) {
      return `leg ${leg} against the two others moved by ${formatSi(moved, 'V', 3)}: a poor contact`
    }
  }
  return null
}
