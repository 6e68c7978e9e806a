/**
 * Parts behind a scanner: what its common line is with some channels closed. Each closed channel is two
 * contacts in line with a part, with their inductance and thermal volts; wiring has capacitance beside it,
 * and insulation that is not perfect.
 */
import type { Component } from './component.ts'
import { referenceC, type AcStamp, type Conditions, type DcStamp, type Element } from './element.ts'
import type { Held } from './fixture.ts'
import { inverse, type Complex } from './linear.ts'
import type { Network } from './network.ts'
import { impedance } from './small-signal.ts'
import { solveDc, type DcResult, type Drive } from './solve-dc.ts'
import { ThroughTime } from './through-time.ts'

/** Of one closed channel: both contacts together, and what its leads have beside the part. */
export interface ChannelTruth {
  readonly seriesOhm: number; readonly seriesH: number; readonly emfV: number; readonly strayF: number
}
/** Of the common line, all channels open. */
export interface CommonTruth { readonly strayF: number; readonly leakageOhm: number }
export interface ClosedChannel { readonly truth: ChannelTruth; readonly part: Component | null }

/** A pole of a closed channel: half of its resistance, and the thermal volts of both in the first one. */
class Pole implements Element {
  readonly nodes: readonly number[]
  readonly states = 0
  readonly #ohm: number
  readonly #henry: number
  readonly #emfV: number

  constructor(a: number, b: number, { seriesOhm, seriesH, emfV }: ChannelTruth, isFirst: boolean) {
    this.nodes = [a, b]
    this.#ohm = seriesOhm / 2
    this.#henry = seriesH / 2
    this.#emfV = isFirst ? emfV : 0
  }

  dc(volts: Float64Array, _state: Float64Array, stamp: DcStamp): boolean {
    const [a, b] = this.nodes as [number, number]
    const siemens = 1 / this.#ohm
    stamp.current(a, b, (volts[a]! - volts[b]! - this.#emfV) * siemens, [[a, siemens], [b, -siemens]])
    return true
  }

  ac(omega: number, stamp: AcStamp): void {
    const { re, im } = inverse({ re: this.#ohm, im: omega * this.#henry })
    stamp.admittance(this.nodes[0]!, this.nodes[1]!, re, im)
  }
}

/** Capacitance and insulation of wiring. At DC the capacitance is nothing beside any part. */
class Beside implements Element {
  readonly nodes = [0, 1]
  readonly states = 0
  readonly #farad: number
  readonly #ohm: number

  constructor(farad: number, ohm: number) {
    this.#farad = farad
    this.#ohm = ohm
  }

  dc(volts: Float64Array, _state: Float64Array, stamp: DcStamp): boolean {
    const siemens = 1 / this.#ohm
    stamp.current(0, 1, (volts[0]! - volts[1]!) * siemens, [[0, siemens], [1, -siemens]])
    return true
  }

  ac(omega: number, stamp: AcStamp): void { stamp.admittance(0, 1, 1 / this.#ohm, omega * this.#farad) }
}

/** An element of a part whose nodes begin elsewhere. */
class Moved implements Element {
  readonly nodes: readonly number[]
  readonly states: number
  readonly #inner: Element
  readonly #by: number

  constructor(inner: Element, by: number) {
    this.#inner = inner
    this.#by = by
    this.nodes = inner.nodes.map(node => node + by)
    this.states = inner.states
  }

  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, conditions: Conditions): boolean {
    const by = this.#by
    return this.#inner.dc(volts.subarray(by), state, {
      current: (from, to, amps, slopes) => stamp.current(
        from + by, to + by, amps, slopes.map(([node, siemens]) => [node + by, siemens] as const)),
    }, conditions)
  }

  ac(omega: number, stamp: AcStamp, conditions: Conditions): void {
    const by = this.#by
    this.#inner.ac(omega, {
      admittance: (from, to, re, im) => stamp.admittance(from + by, to + by, re, im),
      transfer: (from, to, plus, minus, re, im) =>
        stamp.transfer(from + by, to + by, plus + by, minus + by, re, im),
    }, conditions)
  }

  settle(volts: readonly number[], stepS: number): void { this.#inner.settle?.(volts.slice(this.#by), stepS) }
}

export class Scanned implements Held {
  readonly terminals = 2
  readonly #parts: readonly Component[]
  readonly #network: Network
  readonly #time = new ThroughTime()

  constructor(common: CommonTruth, closed: readonly ClosedChannel[]) {
    this.#parts = closed.flatMap(({ part }) => part ? [part] : [])
    const strayF = closed.reduce((sum, { truth }) => sum + truth.strayF, common.strayF)
    const elements: Element[] = [new Beside(strayF, common.leakageOhm)]
    let nodes = this.terminals
    for (const { truth, part } of closed) {
      if (!part) continue
      const by = nodes
      elements.push(new Pole(0, by, truth, true), new Pole(by + 1, 1, truth, false),
        ...part.network.elements.map(element => new Moved(element, by)))
      nodes += part.network.nodes
    }
    this.#network = { terminals: this.terminals, nodes, elements }
  }

  get holdsCharge(): boolean { return this.#parts.some(part => part.holdsCharge) }
  get heldV(): number { return Math.max(0, ...this.#parts.map(part => part.heldV)) }

  putIn(): void { /* what lies behind it was laid there */ }
  lay(): void { /* no bleeder lies across a tray */ }
  move(): void { for (const part of this.#parts) part.move() }

  dc(drives: readonly Drive[], { celsius = referenceC }: Partial<Conditions> = {}): DcResult {
    return solveDc(this.#network, drives, { celsius, afterS: 60 })
  }

  pass(
    drives: readonly Drive[], seconds: number, { celsius = referenceC }: { celsius?: number } = {},
  ): DcResult {
    return this.#time.pass(
      this.#network, drives, seconds, JSON.stringify(drives), { celsius, afterS: 60 })
  }

  impedance(hertz: number, between: readonly [number, number] = [0, 1]): Complex {
    return impedance(this.#network, hertz, between, [], { celsius: referenceC, afterS: 60 })
  }
}
