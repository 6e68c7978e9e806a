/**
 * Hidden errors of one specimen. An instrument is specified as ± (fraction of reading + fraction of range);
 * its own gain and offset errors are drawn once from its seed, each uniform within ± 0.8 of its part of the
 * specification, so that gain, offset and the noise of one reading (3 sigma) stay inside the stated limits
 * together. A study that holds intervals against truth asks for the distribution that the specification
 * declares.
 */
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'

/** Limits of error: fractions of reading and of range. */
export interface Limits { readonly ofReading: number; readonly ofRange: number }

/** Share of the stated limits that a specimen's fixed errors may use. */
export const specimenShare = 0.8

/**
 * How fixed errors are drawn from a stated limit. `inside`: gain and offset apart, each within
 * `specimenShare` of its part. `rectangular`: the whole error anywhere within the whole limit. `normal`: the
 * whole error normal, with the standard deviation of that rectangle. In the last two one draw decides gain
 * and offset together, so that the error of any positive reading has exactly the distribution named.
 */
export type ErrorModel = 'inside' | 'rectangular' | 'normal'

/** One error as a share of its limit. */
export const drawShare = (model: ErrorModel, random: SeededRandom): number => {
  if (model === 'normal') return random.normal() / Math.sqrt(3)
  return (model === 'rectangular' ? 1 : specimenShare) * random.uniform(-1, 1)
}

export class Specimen {
  readonly gain: number
  readonly offsetFraction: number

  constructor(limits: Limits, random: SeededRandom, model: ErrorModel = 'inside') {
    const share = drawShare(model, random)
    this.gain = 1 + limits.ofReading * share
    this.offsetFraction = limits.ofRange * (model === 'inside' ? drawShare(model, random) : share)
  }

  /** What this specimen makes of the true `value` on `range`. */
  of(value: number, range: number): number { return value * this.gain + this.offsetFraction * range }
}

/** Rounds to whole steps. */
export const quantise = (value: number, step: number): number => Math.round(value / step) * step

/** The faults that falsify readings, applied to one reading stream. */
export class ReadingFaults {
  readonly #panel: FaultPanel
  #stuck = new Map<string, number>()
  constructor(panel: FaultPanel) { this.#panel = panel }

  /** `stream` names the quantity, so that stuck volts and stuck amperes do not mix. */
  falsify(value: number, stream: string): number {
    if (this.#panel.empty) return value
    const gain = Number(this.#panel.holds('reading-gain')?.value ?? 1)
    const jump = Number(this.#panel.holds('reading-jump')?.value ?? 0)
    const read = value * gain + jump
    if (!this.#panel.holds('reading-stuck')) { this.#stuck.delete(stream); return read }
    if (!this.#stuck.has(stream)) this.#stuck.set(stream, read)
    return this.#stuck.get(stream)!
  }
}
