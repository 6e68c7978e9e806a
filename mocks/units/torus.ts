/**
 * A signal in its steady state, on one period (one base frequency) or one patch (two): as values over the
 * phases of its base frequencies, and as complex amplitudes at their lattice. Transfer functions act on the
 * amplitudes, curves without memory on the values. Both are exact but for what the grid is too coarse for,
 * which `edge` tells.
 */
import { transform } from './fourier.ts'
import type { Lattice } from './lattice.ts'
import { Phasor, type Transfer } from './phasor.ts'

/** Amplitudes smaller than this share of the largest are not worth a transfer function. */
const nothingShare = 1e-14

/** A spectral line: x(t) = Re((re + j·im)·exp(2πj·f·t)). At 0 Hz `re` is the mean. */
export interface Line { readonly hz: number; readonly re: number; readonly im: number }

export class Torus {
  readonly basisHz: readonly number[]
  /** Points along the first and the second base. */
  readonly points: readonly [number, number]
  readonly re: Float64Array
  readonly im: Float64Array
  #isSpectrum = true

  constructor(basisHz: readonly number[], points: readonly [number, number]) {
    this.basisHz = basisHz
    this.points = points
    this.re = new Float64Array(points[0] * points[1])
    this.im = new Float64Array(points[0] * points[1])
  }

  static of(lattice: Lattice, points: readonly [number, number]): Torus {
    const torus = new Torus(lattice.basisHz, points)
    for (const { m, n, re, im } of lattice.tones) {
      torus.#add(m, n, re / 2, im / 2)
      torus.#add(-m, -n, re / 2, -im / 2)
    }
    return torus
  }

  copy(): Torus { return new Torus(this.basisHz, this.points).become(this) }

  become(other: Torus): this {
    this.re.set(other.re)
    this.im.set(other.im)
    this.#isSpectrum = other.#isSpectrum
    return this
  }

  get values(): Float64Array { this.#toValues(); return this.re }

  /** In place, each value by itself. */
  curve(of: (value: number) => number): this {
    this.#toValues()
    const { re } = this
    for (let i = 0; i < re.length; i++) re[i] = of(re[i]!)
    return this
  }

  /** In place, each amplitude by what `transfer` does at its frequency. */
  pass(transfer: Transfer): this {
    this.#toSpectrum()
    const { re, im } = this
    const least = nothingShare * this.#largest()
    const phasor = new Phasor()
    this.#eachPair((here, there, hz) => {
      if (Math.abs(re[here]!) + Math.abs(im[here]!) < least) {
        re[here] = im[here] = re[there] = im[there] = 0
        return
      }
      // The mirror of a positive frequency stands at `there`; where f < 0 the roles change.
      const { re: r, im: i } = transfer(Math.abs(hz), phasor.set(re[here]!, hz < 0 ? -im[here]! : im[here]!))
      re[here] = re[there] = r
      im[here] = hz < 0 ? -i : i
      im[there] = -im[here]!
    })
    return this
  }

  /** In place, minus another on the same grid. */
  minus(other: Torus): this {
    if (this.#isSpectrum) other.#toSpectrum()
    else other.#toValues()
    for (let i = 0; i < this.re.length; i++) {
      this.re[i] = this.re[i]! - other.re[i]!
      this.im[i] = this.im[i]! - other.im[i]!
    }
    return this
  }

  /** In place, DC added. */
  lift(volts: number): this {
    this.#toSpectrum()
    this.re[0] = this.re[0]! + volts
    return this
  }

  get mean(): number { this.#toSpectrum(); return this.re[0]! }
  get meanSquare(): number {
    this.#toSpectrum()
    let sum = 0
    for (let i = 0; i < this.re.length; i++) sum += this.re[i]! ** 2 + this.im[i]! ** 2
    return sum
  }

  /** What no value can pass: all amplitudes, each by its weight, added up. */
  bound(weight: (hz: number) => number = () => 1): number {
    this.#toSpectrum()
    const { re, im } = this
    let sum = 0
    this.#eachPair((here, there, hz) => {
      if (re[here] === 0 && im[here] === 0) return
      sum += (here === there ? 1 : 2) * Math.hypot(re[here]!, im[here]!) * weight(Math.abs(hz))
    })
    return sum
  }

  /** The same signal on a grid of so many points a base, where that is finer. */
  refined(points: number): Torus {
    const [n1, n2] = this.points
    const grid = [Math.max(n1, points), n2 > 1 ? Math.max(n2, points) : 1] as const
    this.#toSpectrum()
    const finer = new Torus(this.basisHz, grid)
    for (let a = 0; a < n1; a++) {
      for (let b = 0; b < n2; b++) {
        const to = finer.#index(signed(a, n1), signed(b, n2))
        finer.re[to] = this.re[a * n2 + b]!
        finer.im[to] = this.im[a * n2 + b]!
      }
    }
    return finer
  }

  /** Complex amplitude at m·basis[0] + n·basis[1] as of a `Line`. */
  at(m: number, n = 0): { re: number; im: number } {
    this.#toSpectrum()
    const i = this.#index(m, n)
    return m === 0 && n === 0 ? { re: this.re[0]!, im: 0 } : { re: 2 * this.re[i]!, im: 2 * this.im[i]! }
  }

  /** The largest amplitude in the outer quarter of the grid, over the largest of all: what folds is less. */
  get edge(): number {
    this.#toSpectrum()
    const [n1, n2] = this.points
    let outer = 0
    for (let a = 0; a < n1; a++) {
      for (let b = 0; b < n2; b++) {
        const far = Math.max(Math.abs(signed(a, n1)) / n1, n2 > 1 ? Math.abs(signed(b, n2)) / n2 : 0)
        if (far < 0.375) continue
        const i = a * n2 + b
        outer = Math.max(outer, Math.abs(this.re[i]!) + Math.abs(this.im[i]!))
      }
    }
    return outer / (this.#largest() || 1)
  }

  /** All lines of more than `leastPeak`, the mean among them. Lines that meet at one frequency stay apart. */
  lines(leastPeak: number): Line[] {
    this.#toSpectrum()
    const { re, im } = this
    const list: Line[] = [{ hz: 0, re: re[0]!, im: 0 }]
    this.#eachPair((here, there, hz) => {
      if (here === 0 || here === there || 2 * Math.hypot(re[here]!, im[here]!) <= leastPeak) return
      list.push({ hz: Math.abs(hz), re: 2 * re[here]!, im: hz < 0 ? -2 * im[here]! : 2 * im[here]! })
    })
    return list
  }

  #add(m: number, n: number, re: number, im: number): void {
    const i = this.#index(m, n)
    this.re[i] = this.re[i]! + re
    this.im[i] = this.im[i]! + im
  }

  #index(m: number, n: number): number {
    const [n1, n2] = this.points
    return ((m + n1) % n1) * n2 + (n + n2) % n2
  }

  #largest(): number {
    let most = 0
    for (let i = 0; i < this.re.length; i++) {
      most = Math.max(most, Math.abs(this.re[i]!) + Math.abs(this.im[i]!))
    }
    return most
  }

  /** Each amplitude once, with the index of its mirror, and its frequency, Hz. */
  #eachPair(visit: (here: number, there: number, hz: number) => void): void {
    const [n1, n2] = this.points
    const [f1 = 0, f2 = 0] = this.basisHz
    for (let a = 0; a <= n1 / 2; a++) {
      const mirrorA = (n1 - a) % n1
      for (let b = 0; b < n2; b++) {
        const here = a * n2 + b
        const there = mirrorA * n2 + (n2 - b) % n2
        if (mirrorA === a && there < here) continue
        visit(here, there, signed(a, n1) * f1 + signed(b, n2) * f2)
      }
    }
  }

  #toValues(): void {
    if (this.#isSpectrum) { this.#both(1); this.im.fill(0) }
    this.#isSpectrum = false
  }

  #toSpectrum(): void {
    if (this.#isSpectrum) return
    this.#both(-1)
    const { re, im } = this
    const share = 1 / re.length
    const [n1, n2] = this.points
    for (let i = 0; i < re.length; i++) {
      // The halfway frequency has no mirror of its own, and is nobody's.
      const isHalfway = (n1 > 1 && Math.floor(i / n2) === n1 / 2) || (n2 > 1 && i % n2 === n2 / 2)
      re[i] = isHalfway ? 0 : re[i]! * share
      im[i] = isHalfway ? 0 : im[i]! * share
    }
    this.#isSpectrum = true
  }

  #both(sign: 1 | -1): void {
    const [n1, n2] = this.points
    const { re, im } = this
    if (n2 === 1) { transform(re, im, sign); return }
    for (let a = 0; a < n1; a++) {
      transform(re.subarray(a * n2, (a + 1) * n2), im.subarray(a * n2, (a + 1) * n2), sign)
    }
    const cr = new Float64Array(n1)
    const ci = new Float64Array(n1)
    for (let b = 0; b < n2; b++) {
      for (let a = 0; a < n1; a++) { cr[a] = re[a * n2 + b]!; ci[a] = im[a * n2 + b]! }
      transform(cr, ci, sign)
      for (let a = 0; a < n1; a++) { re[a * n2 + b] = cr[a]!; im[a * n2 + b] = ci[a]! }
    }
  }
}

const signed = (index: number, size: number): number => index > size / 2 ? index - size : index
