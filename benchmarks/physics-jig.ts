/** A jig whose readings are the physics of one component, with an error of its own in each: for tests of methods. */
import type { Component } from '../mocks/components/component.ts'
import { SeededRandom } from '../src/base/random.ts'
import type { Clock } from '../src/base/clock.ts'
import { chargeAndEmpty } from '../src/engine/jig-charge.ts'
import { isNear, seenOf } from '../src/safety/same-part.ts'
import type { Charge, Charged, Force, ImpedanceReading, Jig, JigReach, Pair, Point, Terminal } from '../src/schema/jig.ts'
import type { Measured } from '../src/schema/reading.ts'
import type { Guide } from '../src/screening/methods/guide.ts'

/** Standard uncertainty of each reading, and the error it really has, as shares; and floors. */
const share = 5e-4
/** That of the simulated source in its lowest range: 0.1 % of 100 nA, any error as likely as any other. */
const floorA = 6e-11
const floorV = 2e-5

export const wholeReach: JigReach = {
  terminals: 4, joint: true, bridge: { frequenciesHz: { minHz: 20, maxHz: 1e5 }, levelsV: { minV: 0.01, maxV: 2 } }, ohms: { wires: [2, 4] },
  source: { voltageMaxV: 30, currentMaxA: 0.1 }, secondSource: { voltageMaxV: 20, currentMaxA: 0.1 },
}

export class PhysicsJig implements Jig {
  readonly reach: JigReach = wholeReach
  /** This jig adds nothing but what its two wires do. */
  readonly residuals = { impedanceU: () => ({ rOhm: 0, xOhm: 0 }), leadsU: () => 0.5 / Math.sqrt(3) }
  part: Component | null
  /** Most that was put on it. */
  mostV = 0
  mostA = 0
  /** What the part may hold, V. */
  heldV = 0
  /** Hands that do to the part what they are told. */
  readonly guide: Guide = { say: text => this.part?.hear(text), goesOn: () => {} }
  readonly #random: SeededRandom

  readonly #floorA: number

  /** `leastA`: standard uncertainty of small currents. */
  constructor(part: Component | null, seed: number, leastA = floorA) {
    this.#floorA = leastA
    this.part = part
    this.#random = new SeededRandom(seed)
  }

  async impedance(
    pair: Pair, { frequencyHz, levelV }: { frequencyHz: number; levelV: number }, joined?: Pair,
  ): Promise<ImpedanceReading> {
    this.part?.move()
    const z = this.#at(pair)?.impedance(frequencyHz, zero(pair), joined ? [zero(joined)] : [])
    const size = z ? Math.hypot(z.re, z.im) : Infinity
    if (!z || !(size < 1e9)) {
      const none = { value: NaN, u: NaN, quality: 'over-range', atMs: 0 } as const
      return { rOhm: none, xOhm: none, frequencyHz, levelV }
    }
    return { rOhm: this.#read(z.re, share * size), xOhm: this.#read(z.im, share * size), frequencyHz, levelV }
  }

  async resistance(pair: Pair, { mostOhm, wires }: { mostOhm: number | 'any'; wires: 2 | 4 }): Promise<Measured> {
    this.part?.move()
    const full = mostOhm === 'any' ? 1e8 : 10 ** Math.ceil(Math.log10(mostOhm))
    const currentA = Math.min(1e-3, 1 / full)
    const drive = this.#at(pair)?.dc([{ ...place(pair), mode: 'current', value: currentA, limit: 4 }]).drives[0]
    const ohm = drive ? drive.volts / currentA : Infinity
    if (!drive || drive.limited || ohm > 1.2 * full) return { value: NaN, u: NaN, quality: 'over-range', atMs: 0 }
    return this.#read(ohm + (wires === 2 ? 0.02 : 0), share * ohm + 1e-5 * full)
  }

  async force(pair: Pair, force: Force): Promise<Point> {
    this.part?.move()
    this.#note(force)
    const drive = this.#at(pair)?.dc([{ ...place(pair), ...asDrive(force) }]).drives[0]
    return this.#point(force, drive)
  }

  async drive(pair: Pair, force: Force, control: Terminal, controlForce: Force): Promise<{ main: Point; control: Point }> {
    this.part?.move()
    this.#note(force)
    this.#note(controlForce)
    const drives = this.part?.dc([
      { ...place(pair), ...asDrive(force) }, { high: control - 1, low: pair.low - 1, ...asDrive(controlForce) },
    ]).drives
    return { main: this.#point(force, drives?.[0]), control: this.#point(controlForce, drives?.[1]) }
  }

  /** As the bench does it, with the part taken through time. */
  async charge(pair: Pair, charge: Charge): Promise<Charged> {
    let nowMs = 0
    let force: Force | null = null
    let on = false
    const passed = (ms: number): { volts: number; amps: number; limited: boolean } | undefined => {
      nowMs += ms
      const drives = on && force ? [{ ...place(pair), ...asDrive(force) }] : []
      const part = this.part
      return (part?.holdsCharge ? part.pass(drives, ms / 1000) : part?.dc(drives))?.drives[0]
    }
    const clock = { monotonicMs: () => nowMs } as unknown as Clock
    return chargeAndEmpty({
      clock, settleMs: 5, lead: async () => {}, loose: async () => {}, holds: async volts => { this.heldV = volts },
      low: () => { this.heldV = 0 }, lost: () => {},
      force: async to => { this.#note(to); force = to },
      setOutput: async to => { on = to },
      measure: async () => this.#point(force!, passed(40)),
      rest: async ms => { passed(ms) },
    }, charge)
  }

  async stillThere(pair: Pair, seen: ImpedanceReading): Promise<boolean> {
    return isNear(seenOf(seen), await this.impedance(pair, seen))
  }

  async underCover<T>(_what: unknown, _hands: unknown, work: () => Promise<T>): Promise<T> { return await work() }

  async celsius(): Promise<Measured> { return this.#read(25, 0.2) }

  async rest(): Promise<void> {}

  /** The part, where it has a leg at both terminals. */
  #at({ high, low }: Pair): Component | null {
    return this.part && Math.max(high, low) <= this.part.terminals ? this.part : null
  }

  #note(force: Force): void {
    const [volts, amps] = 'voltageV' in force ? [force.voltageV, force.limitA] : [force.limitV, force.currentA]
    this.mostV = Math.max(this.mostV, Math.abs(volts))
    this.mostA = Math.max(this.mostA, Math.abs(amps))
  }

  #point(force: Force, drive: { volts: number; amps: number; limited: boolean } | undefined): Point {
    const open = 'voltageV' in force ? { volts: force.voltageV, amps: 0, limited: false }
      : { volts: Math.sign(force.currentA) * force.limitV, amps: 0, limited: force.currentA !== 0 }
    const { volts, amps, limited } = drive ?? open
    return {
      voltage: this.#read(volts, share * Math.abs(volts) + floorV), current: this.#read(amps, share * Math.abs(amps) + this.#floorA), limited,
    }
  }

  #read(truth: number, u: number): Measured {
    return { value: truth + u * this.#random.normal(), u, quality: 'good', atMs: 0 }
  }
}

const zero = ({ high, low }: Pair): [number, number] => [high - 1, low - 1]
const place = ({ high, low }: Pair): { high: number; low: number } => ({ high: high - 1, low: low - 1 })
const asDrive = (force: Force): { mode: 'voltage' | 'current'; value: number; limit: number } =>
  'voltageV' in force ? { mode: 'voltage', value: force.voltageV, limit: force.limitA }
    : { mode: 'current', value: force.currentA, limit: force.limitV }
