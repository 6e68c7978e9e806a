/** Draws a part: its hidden values from its rating and a seed, and what is wrong with it. */
import { assert } from '../../src/base/assert.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { Component, type ComponentTruth } from './component.ts'
import { draws, leastAmpsPerV2, leastDepletionAmpsPerV2, type Values } from './draw.ts'
import {
  defectsOf, isBridge, isPolar,
  mistakenFor, usualPins, usualRatings, type ComponentKind, type Defect, type Rating,
} from './kinds.ts'
import { coilsOf } from './windings.ts'

/** The same kind, rating, seed and defect always give the same part. */
export function makeComponent(
  kind: ComponentKind, rating: Rating, seed: number | string, { defect }: { defect?: Defect } = {},
): Component {
  const random = new SeededRandom(seed).fork(kind)
  const sound: ComponentTruth = {
    marked: kind, rating, kind, defect: null, values: draws[kind](rating, random), pins: usualPins(kind),
  }
  if (defect === undefined) return new Component(sound, seed)
  assert(defectsOf[kind].includes(defect), `a ${kind} cannot be ${defect}`)
  return new Component({ ...sound, ...spoilt[defect](sound, random.fork(defect)), defect }, seed)
}

type Spoil = (sound: ComponentTruth, random: SeededRandom) => Partial<ComponentTruth>

const logUniform = (random: SeededRandom, low: number, high: number): number =>
  low * (high / low) ** random.next()

const times = (values: Values, name: string, factor: number): { values: Values } =>
  ({ values: { ...values, [name]: values[name]! * factor } })

/** The value that a part is bought for, by kind. */
const mainValue = (kind: ComponentKind): string => {
  if (kind.endsWith('capacitor')) return 'farad'
  const names: Partial<Record<ComponentKind, string>> =
    { zener: 'zenerV', inductor: 'henry', transformer: 'ratio' }
  return names[kind] ?? 'ohm'
}

/** Between which pins a part of three breaks down. */
function shortedPins({ kind, pins }: ComponentTruth, random: SeededRandom): [string, string] {
  if (pins.includes('collector')) return ['collector', random.pick(['emitter', 'base'])]
  if (pins.includes('drain')) return random.pick([['drain', 'source'], ['gate', 'source']])
  if (isBridge(kind)) {
    return random.pick([['ac', 'plus'], ['other ac', 'plus'], ['minus', 'ac'], ['minus', 'other ac']])
  }
  if (kind === 'tapped-transformer') {
    const { from, to } = random.pick(coilsOf(pins).slice(1))
    return [from, to]
  }
  return kind === 'transformer' ? ['secondary', 'secondary end'] : [pins[0]!, pins[1]!]
}

function leaky({ kind, values, rating }: ComponentTruth, random: SeededRandom): { values: Values } {
  if (isPolar(kind)) return times(values, 'insulationOhm', 1 / random.uniform(20, 200))
  if (kind.endsWith('capacitor')) {
    return { values: { ...values, insulationOhm: logUniform(random, 0.05, 1) / rating.value } }
  }
  if (kind === 'transformer') return { values: { ...values, insulationOhm: logUniform(random, 1e5, 1e7) } }
  if (kind === 'tapped-transformer') {
    return { values: { ...values, [`insulationOhm${random.pick([2, 3])}`]: logUniform(random, 1e5, 1e7) } }
  }
  const [low, high] = kind.startsWith('selenium') ? [1e-3, 1e-2]
    : kind.endsWith('germanium') ? [5e-5, 5e-4] : [1e-6, 1e-4]
  if (isBridge(kind)) {
    return { values: { ...values, [`leakA${random.pick([1, 2, 3, 4])}`]: logUniform(random, low, high) } }
  }
  return { values: { ...values, leakA: logUniform(random, low, high) } }
}

/** Away from its value by more than its tolerance: resistors up, capacitors down, zeners either way. */
function drifted({ kind, values, rating }: ComponentTruth, random: SeededRandom): { values: Values } {
  // Aged plates drop more and more under load.
  if (kind.startsWith('selenium')) {
    const more = (rating.plates ?? 1) * random.uniform(50, 200)
    return { values: { ...values, seriesOhm: values['seriesOhm']! + more } }
  }
  if (kind === 'contact') return { values: { ...values, ohm: rating.value * random.uniform(10, 100) } }
  const away = Math.max(0.08, rating.tolerance) * random.uniform(1.5, 3.5)
  const name = kind === 'ganged-potentiometer' ? random.pick(['ohm', 'ohm2']) : mainValue(kind)
  const isDown = kind.endsWith('capacitor') || (name === 'zenerV' && random.next() < 0.5)
  return { values: { ...values, [name]: rating.value * (isDown ? 1 / (1 + away) : 1 + away) } }
}

function lowGain({ kind, values }: ComponentTruth, random: SeededRandom): { values: Values } {
  const factor = 1 / random.uniform(5, 12)
  if (kind.endsWith('jfet')) return times(values, 'saturatedA', factor)
  // Sound ones lie a decade apart: less than the least of them.
  const least = kind.endsWith('depletion-mosfet') ? leastDepletionAmpsPerV2 : leastAmpsPerV2
  if (kind.endsWith('mosfet')) return { values: { ...values, ampsPerV2: 2.5 * least * factor } }
  return times(values, 'gain', factor)
}

/** Another order of pins than the usual one; of a transformer, the second winding the other way round. */
function turned({ kind, pins }: ComponentTruth, random: SeededRandom): { pins: readonly string[] } {
  if (kind === 'tapped-transformer')
    return { pins: swappedPins(pins, 'winding 3 beginning', 'winding 3 end') }
  const [a, b, c, d] = pins as [string, string, string, string]
  if (kind === 'transformer') return { pins: [a, b, d, c] }
  if (pins.length === 2) return { pins: [b, a] }
  if (pins.length === 4) {
    return { pins: random.pick([[b, a, d, c], [d, b, c, a], [a, d, b, c], [b, d, a, c]]) }
  }
  return { pins: random.pick([[b, a, c], [a, c, b], [c, b, a], [b, c, a], [c, a, b]]) }
}

const swappedPins = (pins: readonly string[], one: string, other: string): string[] =>
  pins.map(pin => pin === one ? other : pin === other ? one : pin)

function mislabelled(
  { kind, rating, values, pins }: ComponentTruth, random: SeededRandom,
): Partial<ComponentTruth> {
  // Of another law than is printed on it.
  if (kind === 'potentiometer') return { values: { ...values, midShare: random.uniform(0.08, 0.25) } }
  if (kind === 'ganged-potentiometer') {
    return { values: { ...values, [random.pick(['midShare', 'midShare2'])]: random.uniform(0.08, 0.25) } }
  }
  // Its tap and an end of that winding are marked the other way round.
  if (kind === 'tapped-transformer') {
    const end = random.pick(['winding 2 beginning', 'winding 2 end'])
    return { pins: swappedPins(pins, 'winding 2 tap 1', end) }
  }
  const other = mistakenFor[kind]!
  const isSameSort = mainValue(kind) === mainValue(other) && other !== 'resistor' && kind !== 'resistor'
  const isSameUse = kind.endsWith('capacitor') || /^(npn|pnp)/.test(kind) || kind.endsWith('mosfet')
  const drawn = isSameSort && isSameUse ? rating : usualRatings[other]
  return { kind: other, values: draws[other](drawn, random), pins: usualPins(other) }
}

const breakOhm = 1e12
/** Beside an insulated gate a break of so much would be none. */
const gateBreakOhm = 1e16

/** A leg that leads nowhere, or one junction of four. */
function brokenUp({ kind, pins, values }: ComponentTruth, random: SeededRandom): Partial<ComponentTruth> {
  if (isBridge(kind) && random.next() < 0.5) {
    return { values: { ...values, broken: random.pick([1, 2, 3, 4]) } }
  }
  const pin = random.pick(pins)
  const isInsulated = kind.endsWith('mosfet') && pin === 'gate'
  return { lead: { pin, ohm: isInsulated ? gateBreakOhm : breakOhm, spread: 0.1 } }
}

/** One leg that never touches twice the same; of a potentiometer, as often, a worn spot of the track. */
function tired(
  { kind, pins, values, rating }: ComponentTruth, random: SeededRandom,
): Partial<ComponentTruth> {
  if (kind.endsWith('potentiometer') && random.next() < 0.5) {
    const name = kind === 'potentiometer' ? 'wornOhm' : random.pick(['wornOhm', 'wornOhm2'])
    return { values: { ...values, [name]: rating.value * random.uniform(0.03, 0.3) } }
  }
  return {
    lead: { pin: random.pick(pins), ohm: logUniform(random, 3, 100), spread: random.uniform(0.2, 0.8) },
  }
}

const spoilt: Readonly<Record<Defect, Spoil>> = {
  short: (sound, random) =>
    ({ bridge: { pins: shortedPins(sound, random), ohm: logUniform(random, 0.05, 2) } }),
  open: brokenUp,
  'poor-contact': tired,
  // Its resistor is burnt through, or was left out: what is left is insulation.
  'no-bleeder': ({ values }, random) =>
    ({ values: { ...values, bleederOhm: logUniform(random, 2e7, 1e12) } }),
  'wrong-value': ({ kind, values }, random) => kind === 'tapped-transformer'
    ? times(values, `turns${random.pick(['2.1', '2.2', '3.1'])}`, random.pick([0.5, 0.85, 1.18, 1.8]))
    : times(values, mainValue(kind),
      kind === 'zener' ? random.pick([0.6, 0.75, 1.5, 2]) : kind === 'transformer' ? random.pick([0.5, 1.8])
        : random.pick([0.1, 0.22, 4.7, 10])),
  leaky, drifted, 'low-gain': lowGain, reversed: turned, mislabelled,
}
