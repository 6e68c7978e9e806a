/** Truths of kinds with three or four legs, asked of the physics of the part at the conditions that lists lead to. */
import type { Component } from '../../mocks/components/component.ts'
import type { Drive } from '../../mocks/components/solve-dc.ts'
import type { Criterion } from '../../src/schema/run.ts'

export type Ask = (component: Component, nth: number, figures: Readonly<Record<string, number>>) => number | null

/** A drive between two pins, by name. */
const drive = (part: Component, high: string, low: string, mode: Drive['mode'], value: number, limit: number): Drive =>
  ({ high: part.terminal(high), low: part.terminal(low), mode, value, limit })
/** What the first of two drives comes to, without its sign. */
function first(part: Component, ...drives: readonly [Drive, Drive?]): { volts: number; amps: number } {
  const { volts, amps } = part.dcAtPins(drives.filter(one => one !== undefined)).drives[0]!
  return { volts: Math.abs(volts), amps: Math.abs(amps) }
}

/** 1 for a channel of n, whose drain is plus. */
const channelSign = ({ truth: { kind } }: Component): 1 | -1 => kind.startsWith('n') ? 1 : -1

/** Gate and drain at volts to the source, as the channel opens. */
const channel = (part: Component, drainV: number, gateV: number): { volts: number; amps: number } => {
  const sign = channelSign(part)
  return first(part, drive(part, 'drain', 'source', 'voltage', sign * drainV, 0.1),
    drive(part, 'gate', 'source', 'voltage', sign * gateV, 1e-3))
}

/** Gate at volts to drain and source. */
const gate = (part: Component, volts: number): number =>
  first(part, drive(part, 'gate', 'source', 'voltage', channelSign(part) * volts, 1e-3),
    drive(part, 'drain', 'source', 'voltage', 0, 1e-3)).amps

/** Volts at a current with gate and drain joined. */
const joined = (part: Component, amps: number): number => {
  const sign = channelSign(part)
  return first(part, drive(part, 'source', 'drain', 'current', -sign * amps, 10),
    drive(part, 'gate', 'drain', 'voltage', 0, 1e-3)).volts
}

const isDepletion = ({ truth: { kind } }: Component): boolean => kind.endsWith('depletion-mosfet')

/** Volts against the channel that leave it a current, the drain 10 V from the gate. */
const against = (part: Component, amps: number): number => {
  const sign = channelSign(part)
  const { volts } = part.dcAtPins([drive(part, 'source', 'gate', 'current', -sign * amps, 20),
    drive(part, 'drain', 'gate', 'voltage', sign * 10, 0.1)]).drives[0]!
  return sign * volts
}

/** By the square law through the points at half and at twice the current. */
function slopeS(part: Component, amps: number): number {
  const [low, high] = [amps / 2, amps * 2]
  const volts = (at: number): number => isDepletion(part) ? -against(part, at) : joined(part, at)
  const perV = (Math.sqrt(high) - Math.sqrt(low)) / (volts(high) - volts(low))
  return 2 * perV * Math.sqrt(amps)
}

/** From anode to cathode, in the order in which they are read: by the number of the alternating leg. */
function junction(part: Component, nth: number): [string, string] {
  const ac = ['ac', 'other ac'].sort((a, b) => part.terminal(a) - part.terminal(b)) as [string, string]
  return nth < 2 ? [ac[nth]!, 'plus'] : ['minus', ac[nth - 2]!]
}

const isJunctionFet = ({ truth: { kind } }: Component): boolean => kind.endsWith('jfet')

export const ofRectifier = {
  forwardV: (part: Component, nth: number, amps = 0.01): number => {
    const [from, to] = junction(part, nth)
    return first(part, drive(part, from, to, 'current', amps, 10)).volts
  },
  reverseA: (part: Component, nth: number): number => {
    const [from, to] = junction(part, nth)
    return first(part, drive(part, to, from, 'voltage', 20, 1e-3)).amps
  },
}

/** Parts of windings in the order in which they are measured. */
const coilNames = ['2.1', '2.2', '3.1'] as const

/** Share of what lies across a track that its wiper has without load. */
function levelAt(values: Component['truth']['values'], turned: number, gang: '' | '2'): number {
  const [ohm, endOhm, mid] = ['ohm', 'endOhm', 'midShare'].map(name => values[`${name}${gang}`]!) as [number, number, number]
  const share = turned < 0.5 ? 2 * mid * turned : mid + (2 * turned - 1) * (1 - mid)
  return (endOhm + share * ohm) / (ohm + 2 * endOhm)
}

export const asksOfKinds: Readonly<Partial<Record<Criterion['name'], Ask>>> = {
  'drain current': part => channel(part, 10, 0).amps,
  'cut-off voltage': part => isDepletion(part) ? against(part, 1e-5) : part.truth.values['pinchV']!,
  'gate leakage': part => isJunctionFet(part) ? gate(part, -15) : Math.max(gate(part, 10), gate(part, -10)),
  'threshold voltage': part => joined(part, 250e-6),
  transconductance: part => slopeS(part, isDepletion(part) ? 1e-3 : 0.01),
  'on-resistance': part => {
    const sign = channelSign(part)
    return first(part, drive(part, 'drain', 'source', 'current', sign * 0.05, 5),
      drive(part, 'gate', 'source', 'voltage', sign * 10, 1e-3)).volts / 0.05
  },
  'drain leakage': part => isDepletion(part) ? channel(part, 10, -10).amps : channel(part, 20, 0).amps,
  // A wiper is never twice the same: its middle is what it is. The rest is the least that the simulation has.
  'end resistance': ({ truth: { values } }, nth) => {
    const gang = nth < 2 ? '' : '2'
    return values[`endOhm${gang}`]! + values[`wiperOhm${gang}`]! + 0.1
  },
  tracking: ({ truth: { values } }) => Math.max(...[0.25, 0.5, 0.75].map(turned =>
    Math.abs(20 * Math.log10(levelAt(values, turned, '') / levelAt(values, turned, '2'))))),
  'turns ratio': ({ truth: { kind, values } }, nth) => kind === 'tapped-transformer'
    ? values['turns1.1']! / values[`turns${coilNames[nth]!}`]! : values['ratio']!,
  'halves of a winding': ({ truth: { values } }) => values['turns2.1']! / values['turns2.2']!,
  'quality factor': (part, _, { airC }) => airC === undefined ? null
    : part.truth.values['lossOhm']! / (2 * Math.PI * 120 * part.truth.values['henry']!),
  'winding leakage': (part, nth) => {
    const [one, other] = part.truth.kind === 'tapped-transformer'
      ? ['winding 1 beginning', `winding ${coilNames[nth]![0]} end`] : ['primary', 'secondary']
    return first(part, drive(part, one!, other!, 'voltage', 20, 1e-3)).amps
  },
}

/** The track of a potentiometer, whose wiper stands between its ends. */
export const trackOhm = (part: Component, nth = 0): number => {
  const [one, other] = part.truth.kind === 'potentiometer' ? ['end', 'other end'] : [`gang ${nth + 1} end`, `gang ${nth + 1} other end`]
  return first(part, drive(part, one!, other!, 'current', 1e-6, 60)).volts / 1e-6
}
