/** The channel of a field effect transistor: the square law, the same either way round. */
import type { AcStamp, Conditions, DcStamp, Element } from './element.ts'

export interface ChannelTruth {
  /** Gate-source volts at which it just conducts (of an n-channel part), V. */
  readonly thresholdV: number
  /** Drain current an squared volt above that, in saturation, A/V². */
  readonly ampsPerV2: number
  /** Growth of the saturated current with drain volts, 1/V. */
  readonly perV: number
}

/** What always flows between drain and source, S. */
const offS = 1e-12

export class Channel implements Element {
  readonly nodes: readonly number[]
  readonly states = 0
  readonly #truth: ChannelTruth
  readonly #sign: 1 | -1

  constructor(gate: number, drain: number, source: number, truth: ChannelTruth, polarity: 'n' | 'p') {
    this.nodes = [gate, drain, source]
    this.#truth = truth
    this.#sign = polarity === 'n' ? 1 : -1
  }

  dc(volts: Float64Array, _state: Float64Array, stamp: DcStamp): boolean {
    const [g, d, s] = this.nodes as [number, number, number]
    const sign = this.#sign
    // The end at the lower volts (of an n-channel part) is the source, whatever it is called.
    const isTurned = sign * (volts[d]! - volts[s]!) < 0
    const [drain, source] = isTurned ? [s, d] : [d, s]
    const { amps, byGate, byDrain } = squareLaw(
      this.#truth, sign * (volts[g]! - volts[source]!), sign * (volts[drain]! - volts[source]!))
    stamp.current(drain, source, sign * amps, [[g, byGate], [drain, byDrain], [source, -byGate - byDrain]])
    return true
  }

  ac(_omega: number, stamp: AcStamp, _conditions: Conditions): void {
    const { byDrain } = squareLaw(this.#truth, 0, 0)
    stamp.admittance(this.nodes[1]!, this.nodes[2]!, byDrain, 0)
  }
}

/** Drain current and its slopes at gate and drain volts to the source, drain volts not below zero. */
export function squareLaw(
  { thresholdV, ampsPerV2, perV }: ChannelTruth, gateV: number, drainV: number,
): { amps: number; byGate: number; byDrain: number } {
  const over = gateV - thresholdV
  if (over <= 0) return { amps: offS * drainV, byGate: 0, byDrain: offS }
  const growth = 1 + perV * drainV
  const isOhmic = drainV < over
  const plain = isOhmic ? drainV * (2 * over - drainV) : over * over
  const byGate = ampsPerV2 * (isOhmic ? 2 * drainV : 2 * over) * growth
  const byDrain = ampsPerV2 * ((isOhmic ? 2 * (over - drainV) : 0) * growth + plain * perV)
  return { amps: ampsPerV2 * plain * growth + offS * drainV, byGate, byDrain: byDrain + offS }
}
