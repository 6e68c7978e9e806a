/** One part with hidden truth: what it does at DC and to small signals, between its terminals. */
import { SeededRandom } from '../../src/base/random.ts'
import { buildPart } from './build.ts'
import { Capacitor } from './capacitor.ts'
import type { Values } from './draw.ts'
import { referenceC, type Conditions } from './element.ts'
import { firstLed, usualPins, type ComponentKind, type Defect, type Rating } from './kinds.ts'
import { MovedLeads } from './leads.ts'
import type { Complex } from './linear.ts'
import { NetworkBuilder, type Network } from './network.ts'
import { Across, Fluctuating, Resistor } from './passive.ts'
import { impedance, transferRatio } from './small-signal.ts'
import { solveDc, type DcResult, type Drive } from './solve-dc.ts'
import { ThroughTime } from './through-time.ts'
import { Wiper, type Shaft } from './track.ts'

export interface ComponentTruth {
  /** What it was sold as. */
  readonly marked: ComponentKind
  readonly rating: Rating
  /** What it is. */
  readonly kind: ComponentKind
  readonly defect: Defect | null
  readonly values: Values
  /** What stands at each terminal. */
  readonly pins: readonly string[]
  /** Something in line with one pin: a break, or a contact that is never twice the same. */
  readonly lead?: { readonly pin: string; readonly ohm: number; readonly spread: number }
  /** Something across two pins. */
  readonly bridge?: { readonly pins: readonly [string, string]; readonly ohm: number }
}

/** Where a shaft is turned to by words. */
const placesOfShaft: readonly (readonly [RegExp, number])[] = [
  [/other stop/, 1], [/to a stop/, 0], [/three quarters/, 0.75], [/a quarter/, 0.25],
  [/(middle|half) of its turn|to the middle/, 0.5],
]
/** Leads of a jig, each of which may hang in the air. */
const jigLeads = 4

/** A minute under volts, at 25 °C. */
const usual: Conditions = { celsius: referenceC, afterS: 60 }

export class Component {
  readonly truth: ComponentTruth
  readonly network: Network
  readonly #random: SeededRandom
  readonly #fluctuating: readonly Fluctuating[]
  readonly #capacitors: readonly Capacitor[]
  readonly #across: Across | null
  readonly #shaft: Shaft | null
  readonly #leads: MovedLeads | null
  #clip: readonly [number, number] | null = null
  readonly #time = new ThroughTime()

  constructor(truth: ComponentTruth, seed: number | string) {
    this.truth = truth
    this.#random = new SeededRandom(seed).fork('moves')
    this.network = networkOf(truth)
    this.#fluctuating = this.network.elements.filter(element => element instanceof Fluctuating)
    this.#capacitors = this.network.elements.filter(element => element instanceof Capacitor)
    this.#across = this.network.elements.find(element => element instanceof Across) ?? null
    this.#shaft = this.network.elements.find(element => element instanceof Wiper)?.shaft ?? null
    const first = firstLed[truth.marked]
    // Hands go by its marks, whatever really stands there.
    this.#leads = first ? new MovedLeads(usualPins(truth.marked), first) : null
    this.move()
  }

  get terminals(): number { return this.network.terminals }

  /**
   * The pin that a lead of a jig is on. One that hangs in the air has a node of its own, behind the pins;
   * most parts have their pins where the leads of a jig are.
   */
  led(terminal: number): number {
    return this.#leads ? this.#leads.at(terminal) ?? this.truth.pins.length + terminal : terminal
  }

  /** Terminal at which `pin` stands. */
  terminal(pin: string): number {
    const found = this.truth.pins.indexOf(pin)
    if (found < 0) throw new Error(`a ${this.truth.kind} has no ${pin}`)
    return found
  }

  /** It was touched, or time went by: contacts are not what they were. */
  move(): void {
    for (const element of this.#fluctuating) element.move(this.#random.normal())
    this.#shaft?.move()
    this.#leads?.move()
  }

  /**
   * A hand hears what is said: it turns the shaft, from one stop to the other in so many moves, joins two
   * legs by a clip, or moves leads.
   */
  hear(text: string, moves = 100): void {
    const legs = /join legs (\d) and (\d)/.exec(text)
    if (legs) this.#clip = [Number(legs[1]) - 1, Number(legs[2]) - 1]
    this.#leads?.hear(text)
    if (/take the clip off/.test(text)) this.#clip = null
    const target = placesOfShaft.find(([words]) => words.test(text))?.[1]
    if (target !== undefined) this.#shaft?.turnTo(target, moves)
  }

  /** It is put into a jig: its leads go where they go first. */
  putIn(): void { this.#leads?.reset() }

  /** A resistor comes to lie across its first two terminals, Ω; Infinity takes it away. */
  lay(ohm: number): void { if (this.#across) this.#across.nowOhm = ohm }

  /** By a stick, for as long as it takes. */
  short(): void {
    if (!this.#across) return
    const { nowOhm } = this.#across
    this.#across.nowOhm = 1e3
    this.pass([], 3600)
    this.#across.nowOhm = nowOhm
  }

  /** With sources on leads of a jig. */
  dc(drives: readonly Drive[], conditions: Partial<Conditions> = {}): DcResult {
    return this.dcAtPins(drives.map(drive =>
      ({ ...drive, high: this.led(drive.high), low: this.led(drive.low) })), conditions)
  }

  dcAtPins(drives: readonly Drive[], conditions: Partial<Conditions> = {}): DcResult {
    return solveDc(this.network, drives, { ...usual, ...conditions })
  }

  /** It keeps what it was charged to. Of other kinds every look is at rest in time. */
  get holdsCharge(): boolean { return this.truth.kind.endsWith('capacitor') }

  /** Most volts that one of its capacitances holds. */
  get heldV(): number { return Math.max(0, ...this.#capacitors.map(({ heldV }) => Math.abs(heldV))) }

  /**
   * Lets time go by with these sources on it, none for a part that lies open. What it answers is so at the
   * end. No time at all counts as a tenth of a microsecond.
   */
  pass(
    drives: readonly Drive[], seconds: number, { celsius = referenceC }: { celsius?: number } = {},
  ): DcResult {
    const doing = JSON.stringify([drives, this.#across?.nowOhm])
    return this.#time.pass(this.network, drives, seconds, doing, { celsius, afterS: usual.afterS })
  }

  /** Ohms between two leads at `hertz`, others open, or joined in pairs. */
  impedance(
    hertz: number, between: readonly [number, number] = [0, 1],
    shorted: readonly (readonly [number, number])[] = [], conditions: Partial<Conditions> = {},
  ): Complex {
    const joined = this.#clip ? [...shorted, this.#clip] : shorted
    const led = ([one, other]: readonly [number, number]): [number, number] =>
      [this.led(one), this.led(other)]
    return impedance(this.network, hertz, led(between), joined.map(led), { ...usual, ...conditions })
  }

  /** Volts between `to` for one volt between `from`: the ratio of a transformer without load. */
  ratio(
    hertz: number, from: readonly [number, number], to: readonly [number, number],
    shorted: readonly (readonly [number, number])[] = [],
  ): Complex {
    return transferRatio(this.network, hertz, from, to, usual, shorted)
  }
}

function networkOf({ marked, kind, values, pins, lead, bridge }: ComponentTruth): Network {
  const b = new NetworkBuilder(pins.length + (firstLed[marked] ? jigLeads : 0))
  const nodeOf = new Map(pins.map((pin, terminal) => [pin, terminal]))
  if (lead) {
    const inside = b.inside()
    b.add(new Fluctuating(nodeOf.get(lead.pin)!, inside, lead.ohm, lead.spread))
    nodeOf.set(lead.pin, inside)
  }
  buildPart(kind, values, nodeOf, b)
  if (!firstLed[marked]) b.add(new Across(0, 1))
  if (bridge) {
    const [one, other] = bridge.pins
    b.add(new Resistor(nodeOf.get(one)!, nodeOf.get(other)!, { ohm: bridge.ohm }))
  }
  return b.build()
}
