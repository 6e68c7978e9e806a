/** What a part is to small signals: the complex impedance between two terminals at zero bias. */
import type { AcStamp, Conditions } from './element.ts'
import { solveComplex, type Complex } from './linear.ts'
import type { Network } from './network.ts'

/** Insulation of everything, so that a node that hangs in the air has volts. */
const airS = 1e-13

class AcSystem implements AcStamp {
  readonly #n: number
  readonly #re: Float64Array
  readonly #im: Float64Array

  constructor(
    network: Network, omega: number, shorted: readonly (readonly [number, number])[], conditions: Conditions,
  ) {
    this.#n = network.nodes
    this.#re = new Float64Array(this.#n ** 2)
    this.#im = new Float64Array(this.#n ** 2)
    for (const element of network.elements) element.ac(omega, this, conditions)
    for (const [a, b] of shorted) this.admittance(a, b, shortS, 0)
    for (let node = 0; node < this.#n; node++) this.#re[node * this.#n + node]! += airS
  }

  admittance(from: number, to: number, re: number, im: number): void {
    this.transfer(from, to, from, to, re, im)
  }

  transfer(from: number, to: number, plus: number, minus: number, re: number, im: number): void {
    const n = this.#n
    for (const [row, sign] of [[from, 1], [to, -1]] as const) {
      this.#re[row * n + plus]! += sign * re
      this.#re[row * n + minus]! -= sign * re
      this.#im[row * n + plus]! += sign * im
      this.#im[row * n + minus]! -= sign * im
    }
  }

  /** Volts of all nodes with one ampere into `a` and out of `b`. */
  volts(a: number, b: number): Complex[] {
    const n = this.#n
    const x = new Float64Array(2 * n)
    x[a]! += 1
    x[b]! -= 1
    if (!solveComplex(this.#re, this.#im, x, n)) throw new Error('the network has no solution')
    return Array.from({ length: n }, (_, node) => ({ re: x[node]!, im: x[n + node]! }))
  }
}

/** Joined terminals. */
const shortS = 1e3

const minus = (p: Complex, q: Complex): Complex => ({ re: p.re - q.re, im: p.im - q.im })

/** Ohms between terminals `a` and `b` at `hertz`; `shorted`: pairs of terminals that are joined meanwhile. */
export function impedance(
  network: Network, hertz: number, [a, b]: readonly [number, number],
  shorted: readonly (readonly [number, number])[], conditions: Conditions,
): Complex {
  const volts = new AcSystem(network, 2 * Math.PI * hertz, shorted, conditions).volts(a, b)
  return minus(volts[a]!, volts[b]!)
}

/** Volts between `c` and `d` for one volt between `a` and `b`; `shorted`: pairs that are joined meanwhile. */
export function transferRatio(
  network: Network, hertz: number, [a, b]: readonly [number, number], [c, d]: readonly [number, number],
  conditions: Conditions, shorted: readonly (readonly [number, number])[] = [],
): Complex {
  const volts = new AcSystem(network, 2 * Math.PI * hertz, shorted, conditions).volts(a, b)
  const [over, under] = [minus(volts[c]!, volts[d]!), minus(volts[a]!, volts[b]!)]
  const size = under.re ** 2 + under.im ** 2
  return {
    re: (over.re * under.re + over.im * under.im) / size,
    im: (over.im * under.re - over.re * under.im) / size,
  }
}
