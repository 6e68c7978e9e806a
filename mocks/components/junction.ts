/** Elements that conduct as e to the volts: junctions, their breakdown, their leakage, and transistors. */
import {
  criticalOf, kelvin, limitedStep, referenceC, thermalV,
  type AcStamp, type Conditions, type DcStamp, type Element,
} from './element.ts'

export interface JunctionTruth {
  /** Saturation current at 25 °C, A, and the ideality of its slope. */
  readonly saturationA: number
  readonly ideality: number
  /** Width of the gap, eV: 1.12 silicon, 0.67 germanium. */
  readonly gapV: number
  readonly farad?: number
}

/** Saturation current at a temperature: the textbook law, with the third power of T. */
export function saturationAt({ saturationA, ideality, gapV }: JunctionTruth, celsius: number): number {
  const ratio = kelvin(celsius) / kelvin(referenceC)
  const scale = ideality * thermalV(celsius)
  return saturationA * ratio ** (3 / ideality) * Math.exp((ratio - 1) * gapV / scale)
}

/** Beyond this many e-folds the curve goes on straight: nothing real gets there. */
const foldsMax = 200

function exponential(volts: number, scale: number): { value: number; slope: number } {
  const folds = volts / scale
  const value = Math.exp(Math.min(folds, foldsMax))
  return folds <= foldsMax ? { value, slope: value / scale }
    : { value: value * (1 + folds - foldsMax), slope: value / scale }
}

export class Junction implements Element {
  readonly nodes: readonly number[]
  readonly states = 1
  readonly #truth: JunctionTruth

  constructor(anode: number, cathode: number, truth: JunctionTruth) {
    this.nodes = [anode, cathode]
    this.#truth = truth
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, { celsius }: Conditions): boolean {
    const [a, b] = this.nodes as [number, number]
    const saturationA = saturationAt(this.#truth, celsius)
    const scale = this.#truth.ideality * thermalV(celsius)
    const wanted = volts[a]! - volts[b]!
    const at = limitedStep(wanted, state[0]!, scale, criticalOf(scale, saturationA))
    state[0] = at
    const { value, slope } = exponential(at, scale)
    const siemens = saturationA * slope
    stamp.current(a, b, saturationA * (value - 1) + siemens * (wanted - at), [[a, siemens], [b, -siemens]])
    return at === wanted
  }

  ac(omega: number, stamp: AcStamp, { celsius }: Conditions): void {
    const siemens = saturationAt(this.#truth, celsius) / (this.#truth.ideality * thermalV(celsius))
    stamp.admittance(this.nodes[0]!, this.nodes[1]!, siemens, omega * (this.#truth.farad ?? 0))
  }
}

/** From `cathode` to `anode` beyond `volts`: `kneeA` there, and a slope of `kneeV` volts an e-fold. */
export class Breakdown implements Element {
  readonly nodes: readonly number[]
  readonly states = 1
  readonly #volts: number
  readonly #kneeA: number
  readonly #kneeV: number

  constructor(cathode: number, anode: number, volts: number, kneeA: number, kneeV: number) {
    this.nodes = [cathode, anode]
    this.#volts = volts
    this.#kneeA = kneeA
    this.#kneeV = kneeV
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp): boolean {
    const [a, b] = this.nodes as [number, number]
    const wanted = volts[a]! - volts[b]! - this.#volts
    // The state is kept as volts beyond the knee; a fresh one is at no volts at all.
    const last = state[0]! - this.#volts
    const at = limitedStep(wanted, last, this.#kneeV, criticalOf(this.#kneeV, this.#kneeA))
    state[0] = at + this.#volts
    const { value, slope } = exponential(at, this.#kneeV)
    const siemens = this.#kneeA * slope
    stamp.current(a, b, this.#kneeA * value + siemens * (wanted - at), [[a, siemens], [b, -siemens]])
    return at === wanted
  }

  ac(): void {}
}

/**
 * Leakage of a reverse biased junction: soon as much as it will ever be, and a little more with the volts;
 * twice as much every 10 K.
 */
export class Leakage implements Element {
  readonly nodes: readonly number[]
  readonly states = 1
  readonly #amps: number

  constructor(a: number, b: number, amps: number) {
    this.nodes = [a, b]
    this.#amps = amps
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, conditions: Conditions): boolean {
    const [a, b] = this.nodes as [number, number]
    const most = this.#at(conditions)
    const wanted = volts[a]! - volts[b]!
    // From one side to the other it is linearised in the middle first: from there a round never overshoots.
    const at = state[0]! * wanted < 0 ? 0 : wanted
    state[0] = at
    const share = Math.tanh(at / bendV)
    const siemens = most * ((1 - share * share) / bendV + creepPerV)
    const amps = most * (share + creepPerV * at) + siemens * (wanted - at)
    stamp.current(a, b, amps, [[a, siemens], [b, -siemens]])
    return at === wanted
  }

  ac(_omega: number, stamp: AcStamp, conditions: Conditions): void {
    stamp.admittance(this.nodes[0]!, this.nodes[1]!, this.#at(conditions) * (1 / bendV + creepPerV), 0)
  }

  #at({ celsius }: Conditions): number { return this.#amps * 2 ** ((celsius - referenceC) / doubleK) }
}

const bendV = 0.1
const creepPerV = 0.02
const doubleK = 10

const earlyBendV = 0.1

export interface TransportTruth extends JunctionTruth { readonly earlyV: number }

/** The current that a bipolar transistor carries from collector to emitter (Ebers-Moll, transport form). */
export class Transport implements Element {
  readonly nodes: readonly number[]
  readonly states = 2
  readonly #truth: TransportTruth
  readonly #sign: 1 | -1

  constructor(
    base: number, collector: number, emitter: number, truth: TransportTruth, polarity: 'npn' | 'pnp',
  ) {
    this.nodes = [base, collector, emitter]
    this.#truth = truth
    this.#sign = polarity === 'npn' ? 1 : -1
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, { celsius }: Conditions): boolean {
    const [b, c, e] = this.nodes as [number, number, number]
    const sign = this.#sign
    const saturationA = saturationAt(this.#truth, celsius)
    const scale = this.#truth.ideality * thermalV(celsius)
    const critical = criticalOf(scale, saturationA)
    const wanted = [sign * (volts[b]! - volts[e]!), sign * (volts[b]! - volts[c]!)] as const
    const be = state[0] = limitedStep(wanted[0], state[0]!, scale, critical)
    const bc = state[1] = limitedStep(wanted[1], state[1]!, scale, critical)
    const [forward, reverse] = [exponential(be, scale), exponential(bc, scale)]
    // Wider and wider collector depletion: more current; hardly any where the collector is forward biased.
    const rounded = Math.hypot(bc, earlyBendV)
    const early = 1 + (rounded - bc) / 2 / this.#truth.earlyV
    const earlySlope = (bc / rounded - 1) / 2 / this.#truth.earlyV
    const plain = saturationA * (forward.value - reverse.value)
    const amps = plain * early
    const byBe = saturationA * forward.slope * early
    const byBc = -saturationA * reverse.slope * early + plain * earlySlope
    const linear = amps + byBe * (wanted[0] - be) + byBc * (wanted[1] - bc)
    stamp.current(c, e, sign * linear, [[b, byBe + byBc], [e, -byBe], [c, -byBc]])
    return be === wanted[0] && bc === wanted[1]
  }

  /** At zero bias: what the volts of each junction carry. */
  ac(_omega: number, stamp: AcStamp, { celsius }: Conditions): void {
    const [b, c, e] = this.nodes as [number, number, number]
    const siemens = saturationAt(this.#truth, celsius) / (this.#truth.ideality * thermalV(celsius))
    stamp.transfer(c, e, b, e, siemens, 0)
    stamp.transfer(c, e, b, c, -siemens, 0)
  }
}
