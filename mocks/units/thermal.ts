/** Heat in a unit: lumped masses with resistances between them and to the air, in fourth-order steps. */
import { assert } from '../../src/base/assert.ts'
import type { ThermalTruth } from './truth.ts'

/** A step is at most this share of the shortest time constant. */
const stepShare = 0.1

export class Thermal {
  readonly truth: ThermalTruth
  ambientC: number
  /** °C by node. */
  readonly celsius: Float64Array
  readonly #stepMaxS: number
  readonly #links: { from: number; to: number; perK: number }[]

  constructor(truth: ThermalTruth, ambientC: number) {
    this.truth = truth
    this.ambientC = ambientC
    this.celsius = new Float64Array(truth.nodes.length).fill(ambientC)
    this.#links = truth.nodes.flatMap(({ to }, from) => to.map(({ node, kPerW }) =>
      ({ from, to: node === null ? -1 : this.indexOf(node), perK: 1 / kPerW })))
    const leaving = truth.nodes.map((_, i) => this.#links
      .reduce((sum, { from, to, perK }) => from === i || to === i ? sum + perK : sum, 0))
    this.#stepMaxS = stepShare * Math.min(...truth.nodes.map(({ jPerK }, i) => jPerK / leaving[i]!))
  }

  indexOf(name: string): number {
    const index = this.truth.nodes.findIndex(node => node.name === name)
    assert(index >= 0, `no thermal node ${name}`)
    return index
  }

  /** What the sensor at a place shows, °C. */
  place(name: string): number {
    const place = this.truth.places.find(each => each.name === name)
    assert(place, `no sensor at ${name}`)
    return this.ambientC + place.share * (this.celsius[this.indexOf(place.node)]! - this.ambientC)
  }

  /** Heat that leaves for the air, W. */
  get lossW(): number {
    return this.#links.reduce((sum, { from, to, perK }) =>
      to < 0 ? sum + perK * (this.celsius[from]! - this.ambientC) : sum, 0)
  }

  /** Moves on while `heat` fills in watts by node for given temperatures. */
  step(seconds: number, heat: (celsius: Float64Array, watts: Float64Array) => void): void {
    const count = Math.max(1, Math.ceil(seconds / this.#stepMaxS))
    for (let i = 0; i < count; i++) this.#runge(seconds / count, heat)
  }

  #runge(h: number, heat: (celsius: Float64Array, watts: Float64Array) => void): void {
    const y = this.celsius
    const a = this.#rate(y, heat)
    const b = this.#rate(y.map((v, i) => v + h / 2 * a[i]!), heat)
    const c = this.#rate(y.map((v, i) => v + h / 2 * b[i]!), heat)
    const d = this.#rate(y.map((v, i) => v + h * c[i]!), heat)
    for (let i = 0; i < y.length; i++) y[i] = y[i]! + h / 6 * (a[i]! + 2 * b[i]! + 2 * c[i]! + d[i]!)
  }

  #rate(celsius: Float64Array, heat: (celsius: Float64Array, watts: Float64Array) => void): Float64Array {
    const watts = new Float64Array(celsius.length)
    heat(celsius, watts)
    for (const { from, to, perK } of this.#links) {
      const flow = perK * (celsius[from]! - (to < 0 ? this.ambientC : celsius[to]!))
      watts[from] = watts[from]! - flow
      if (to >= 0) watts[to] = watts[to]! + flow
    }
    return watts.map((w, i) => w / this.truth.nodes[i]!.jPerK)
  }
}
