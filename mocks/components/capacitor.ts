/**
 * A capacitor: what it is to small signals, what flows at DC a stated time after the volts came, and, stepped
 * through time, what it holds.
 */
import type { AcStamp, Conditions, DcStamp, Element } from './element.ts'
import { inverse } from './linear.ts'

export interface CapacitorTruth {
  readonly farad: number
  /** Loss tangent of the dielectric, the same at all frequencies. */
  readonly loss: number
  readonly insulationOhm: number
  /** Share of the charge that goes in late: C·V·absorption/t of current, t in s. */
  readonly absorption: number
  /** In line with it: foils and leads. */
  readonly seriesOhm?: number
  readonly seriesH?: number
}

/** Late charge goes into branches of these time constants, s: together they draw C·V·absorption/t. */
const branchSpacing = 3
const branchesS = Array.from({ length: 14 }, (_, k) => 0.02 * branchSpacing ** k)

/** With what is in line with it in one, since at DC that is nothing beside its insulation. */
export class Capacitor implements Element {
  readonly nodes: readonly number[]
  readonly states = 0
  readonly #truth: CapacitorTruth
  readonly #branchF: number
  #heldV = 0
  readonly #branchV = new Float64Array(branchesS.length)

  constructor(a: number, b: number, truth: CapacitorTruth) {
    this.nodes = [a, b]
    this.#truth = truth
    this.#branchF = truth.farad * truth.absorption * Math.log(branchSpacing)
  }

  /** Volts that it holds, from its first node to its second. */
  get heldV(): number { return this.#heldV }

  dc(volts: Float64Array, _state: Float64Array, stamp: DcStamp, { afterS, stepS }: Conditions): boolean {
    const [a, b] = this.nodes as [number, number]
    const v = volts[a]! - volts[b]!
    const { siemens, amps } = stepS === undefined ? this.#atRest(v, afterS) : this.#stepped(v, stepS)
    stamp.current(a, b, amps, [[a, siemens], [b, -siemens]])
    return true
  }

  #atRest(v: number, afterS: number): { siemens: number; amps: number } {
    const { farad, insulationOhm, absorption } = this.#truth
    const siemens = 1 / insulationOhm + farad * absorption / Math.max(afterS, 1e-3)
    return { siemens, amps: v * siemens }
  }

  /** Backward differences: at the end of the step the volts are `v`. */
  #stepped(v: number, stepS: number): { siemens: number; amps: number } {
    const { farad, insulationOhm } = this.#truth
    let siemens = 1 / insulationOhm + farad / stepS
    let amps = v / insulationOhm + farad / stepS * (v - this.#heldV)
    if (this.#branchF > 0) {
      branchesS.forEach((tauS, k) => {
        const branchS = this.#branchF / (tauS + stepS)
        siemens += branchS
        amps += branchS * (v - this.#branchV[k]!)
      })
    }
    return { siemens, amps }
  }

  settle(volts: readonly number[], stepS: number): void {
    const v = volts[this.nodes[0]!]! - volts[this.nodes[1]!]!
    this.#heldV = v
    branchesS.forEach((tauS, k) => {
      const before = this.#branchV[k]!
      this.#branchV[k] = before + (v - before) * stepS / (tauS + stepS)
    })
  }

  ac(omega: number, stamp: AcStamp): void {
    const { farad, loss, insulationOhm, seriesOhm = 0, seriesH = 0 } = this.#truth
    const inner = inverse({ re: omega * farad * loss + 1 / insulationOhm, im: omega * farad })
    const { re, im } = inverse({ re: inner.re + seriesOhm, im: inner.im + omega * seriesH })
    stamp.admittance(this.nodes[0]!, this.nodes[1]!, re, im)
  }
}
