/** Elements that obey no junction: resistance and coils. */
import { referenceC, type AcStamp, type Conditions, type DcStamp, type Element } from './element.ts'
import { inverse, type Complex } from './linear.ts'

export interface ResistorTruth {
  readonly ohm: number
  /** Per kelvin and per volt. */
  readonly perK?: number
  readonly perV?: number
  /** Rise of its own temperature in still air, K/W. */
  readonly kelvinPerW?: number
}

export class Resistor implements Element {
  readonly nodes: readonly number[]
  readonly states: number = 0
  readonly #truth: ResistorTruth

  constructor(a: number, b: number, truth: ResistorTruth) {
    this.nodes = [a, b]
    this.#truth = truth
  }

  /** Ohms at these volts, once it is as warm as they make it. */
  ohmAt(volts: number, { celsius }: Conditions): number {
    const { ohm, perK = 0, perV = 0, kelvinPerW = 0 } = this.#truth
    const cold = ohm * Math.max(0.1, 1 + perV * Math.abs(volts))
    const warm = (warmerK: number): number =>
      cold * Math.min(5, Math.max(0.2, 1 + perK * Math.min(500, warmerK)))
    if (kelvinPerW === 0 || perK === 0) return warm(celsius - referenceC)
    let now = cold
    // Warmth changes resistance and resistance changes warmth; parts that run away are not modelled.
    for (let turn = 0; turn < 20; turn++) {
      now = warm(celsius - referenceC + kelvinPerW * volts * volts / now)
    }
    return now
  }

  dc(volts: Float64Array, _state: Float64Array, stamp: DcStamp, conditions: Conditions): boolean {
    const [a, b] = this.nodes as [number, number]
    const v = volts[a]! - volts[b]!
    const siemens = 1 / this.ohmAt(v, conditions)
    stamp.current(a, b, v * siemens, [[a, siemens], [b, -siemens]])
    return true
  }

  ac(_omega: number, stamp: AcStamp, conditions: Conditions): void {
    stamp.admittance(this.nodes[0]!, this.nodes[1]!, 1 / this.ohmAt(0, conditions), 0)
  }
}

/** A resistance that is never twice the same: a wiper, a tired contact, a cold joint. */
export class Fluctuating extends Resistor {
  readonly #middleOhm: number
  readonly #spread: number
  #nowOhm: number

  /** `spread`: standard deviation of the logarithm. */
  constructor(a: number, b: number, middleOhm: number, spread: number) {
    super(a, b, { ohm: middleOhm })
    this.#middleOhm = middleOhm
    this.#spread = spread
    this.#nowOhm = middleOhm
  }

  /** It has moved: `deviate` is a normal deviate. */
  move(deviate: number): void { this.#nowOhm = this.#middleOhm * Math.exp(this.#spread * deviate) }

  override ohmAt(): number { return this.#nowOhm }
}

/** What a jig puts across two leads of a part; nothing at first. */
export class Across extends Resistor {
  nowOhm = Infinity

  constructor(a: number, b: number) { super(a, b, { ohm: 1 }) }

  override ohmAt(): number { return this.nowOhm }
}

/** Change of the resistance of copper, 1/K (common practice). */
export const copperPerK = 0.00393

export interface CoilTruth {
  readonly henry: number
  readonly ohm: number
  /** Across the inductance: turns to each other, and losses of the core. */
  readonly farad: number
  readonly lossOhm: number
}

export class Coil extends Resistor {
  readonly #coil: CoilTruth

  constructor(a: number, b: number, truth: CoilTruth) {
    super(a, b, { ohm: truth.ohm, perK: copperPerK })
    this.#coil = truth
  }

  override ac(omega: number, stamp: AcStamp, conditions: Conditions): void {
    const { henry, farad, lossOhm } = this.#coil
    const inner = inverse({ re: 1 / lossOhm, im: omega * farad - 1 / (omega * henry) })
    const { re, im } = inverse({ re: inner.re + this.ohmAt(0, conditions), im: inner.im })
    stamp.admittance(this.nodes[0]!, this.nodes[1]!, re, im)
  }
}

export interface WindingsTruth {
  readonly henry: readonly [number, number]
  readonly ohm: readonly [number, number]
  /** Below 1. */
  readonly coupling: number
  /** Losses of the core, across the first winding. */
  readonly lossOhm: number
}

/** Two windings on one core, between nodes a, b and c, d. */
export class Windings implements Element {
  readonly nodes: readonly number[]
  readonly states = 0
  readonly #truth: WindingsTruth
  readonly #wires: readonly [Resistor, Resistor]

  constructor(nodes: readonly [number, number, number, number], truth: WindingsTruth) {
    this.nodes = nodes
    this.#truth = truth
    const [a, b, c, d] = nodes
    const wire = (from: number, to: number, ohm: number): Resistor =>
      new Resistor(from, to, { ohm, perK: copperPerK })
    this.#wires = [wire(a, b, truth.ohm[0]), wire(c, d, truth.ohm[1])]
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, conditions: Conditions): boolean {
    for (const wire of this.#wires) wire.dc(volts, state, stamp, conditions)
    return true
  }

  /** Core losses shunt the first coil; the wires stand in line. Then the impedances are turned round. */
  ac(omega: number, stamp: AcStamp, conditions: Conditions): void {
    const [a, b, c, d] = this.nodes as [number, number, number, number]
    const { henry: [first, second], coupling, lossOhm } = this.#truth
    const mutualOhm = omega * coupling * Math.sqrt(first * second)
    // share = Rp / (Rp + jωL1)
    const share = product({ re: lossOhm, im: 0 }, inverse({ re: lossOhm, im: omega * first }))
    const z11 = plus(product({ re: 0, im: omega * first }, share), this.#wires[0].ohmAt(0, conditions))
    const z12 = product({ re: 0, im: mutualOhm }, share)
    const lost = product({ re: -mutualOhm * mutualOhm / lossOhm, im: 0 }, share)
    const z22 = plus({ re: -lost.re, im: omega * second - lost.im }, this.#wires[1].ohmAt(0, conditions))
    const crossed = product(z12, z12)
    const whole = product(z11, z22)
    const turned = inverse({ re: whole.re - crossed.re, im: whole.im - crossed.im })
    const [y11, y22, y12] = [product(z22, turned), product(z11, turned), product(z12, turned)]
    stamp.admittance(a, b, y11.re, y11.im)
    stamp.admittance(c, d, y22.re, y22.im)
    stamp.transfer(a, b, c, d, -y12.re, -y12.im)
    stamp.transfer(c, d, a, b, -y12.re, -y12.im)
  }
}

const product = (p: Complex, q: Complex): Complex =>
  ({ re: p.re * q.re - p.im * q.im, im: p.re * q.im + p.im * q.re })
const plus = ({ re, im }: Complex, ohm: number): Complex => ({ re: re + ohm, im })
