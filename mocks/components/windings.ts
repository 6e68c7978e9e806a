/** Any number of coils on one core, each with copper and stray flux of its own. */
import { referenceC, type AcStamp, type Conditions, type DcStamp, type Element } from './element.ts'
import { inverse, solveComplex, type Complex } from './linear.ts'
import { copperPerK, Resistor } from './passive.ts'

export interface Coiled {
  /** Nodes of its beginning and its end. */
  readonly from: number
  readonly to: number
  readonly henry: number
  readonly ohm: number
  /** Share of its flux that all others see. */
  readonly shared: number
}

/** The loss of the core lies across the first coil. */
export class CoilSet implements Element {
  readonly nodes: readonly number[]
  readonly states = 0
  readonly #coils: readonly Coiled[]
  readonly #wires: readonly Resistor[]
  readonly #lossOhm: number

  constructor(coils: readonly Coiled[], lossOhm: number) {
    this.nodes = coils.flatMap(({ from, to }) => [from, to])
    this.#coils = coils
    this.#lossOhm = lossOhm
    this.#wires = coils.map(({ from, to, ohm }) => new Resistor(from, to, { ohm, perK: copperPerK }))
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, conditions: Conditions): boolean {
    for (const wire of this.#wires) wire.dc(volts, state, stamp, conditions)
    return true
  }

  ac(omega: number, stamp: AcStamp, { celsius }: Conditions): void {
    const n = this.#coils.length
    const turned = this.#turned(omega, celsius)
    for (let i = 0; i < n; i++) {
      for (let j = 0; j < n; j++) {
        const [a, b] = [this.#coils[i]!, this.#coils[j]!]
        const { re, im } = turned[i * n + j]!
        stamp.transfer(a.from, a.to, b.from, b.to, re, im)
      }
    }
  }

  /** Reactance of coil i to coil j, ohms. */
  #mutual(i: number, j: number, omega: number): number {
    const [a, b] = [this.#coils[i]!, this.#coils[j]!]
    return omega * Math.sqrt(a.henry * b.henry) * (i === j ? 1 : Math.sqrt(a.shared * b.shared))
  }

  /** Impedances jX − (jX₁)²/(R + jX₁₁), R the loss, and copper, turned round column by column. */
  #turned(omega: number, celsius: number): Complex[] {
    const n = this.#coils.length
    const [re, im] = [new Float64Array(n * n), new Float64Array(n * n)]
    const shunt = inverse({ re: this.#lossOhm, im: this.#mutual(0, 0, omega) })
    for (let i = 0; i < n; i++) {
      for (let j = 0; j < n; j++) {
        const through = this.#mutual(i, 0, omega) * this.#mutual(0, j, omega)
        const copper = i === j ? this.#coils[i]!.ohm * (1 + copperPerK * (celsius - referenceC)) : 0
        re[i * n + j] = through * shunt.re + copper
        im[i * n + j] = this.#mutual(i, j, omega) + through * shunt.im
      }
    }
    const turned: Complex[] = new Array<Complex>(n * n)
    for (let j = 0; j < n; j++) {
      const x = new Float64Array(2 * n)
      x[j] = 1
      if (!solveComplex(re, im, x, n)) throw new Error('coils without copper')
      for (let i = 0; i < n; i++) turned[i * n + j] = { re: x[i]!, im: x[n + i]! }
    }
    return turned
  }
}

/** A winding by its pins: where it begins, its taps, and where it ends. */
export function windingsOf(pins: readonly string[]): string[][] {
  const windings: string[][] = []
  for (let w = 1; pins.includes(`winding ${w} beginning`); w++) {
    const taps = pins.filter(pin => pin.startsWith(`winding ${w} tap`)).sort()
    windings.push([`winding ${w} beginning`, ...taps, `winding ${w} end`])
  }
  return windings
}

/** Its coils by name, like `2.1`, and the pins between which each lies. */
export const coilsOf = (pins: readonly string[]): { name: string; from: string; to: string }[] =>
  windingsOf(pins).flatMap((points, w) => points.slice(1).map((to, i) =>
    ({ name: `${w + 1}.${i + 1}`, from: points[i]!, to })))
