/** A place for one part, with the leads of two sources, an ohm-meter and a bridge on its terminals. */
import type { Clock } from '../../src/base/clock.ts'
import type { BridgeTerminals, MeterTerminals, SourceTerminals } from '../instruments/terminals.ts'
import type { Conditions } from './element.ts'
import { inverse, type Complex } from './linear.ts'
import type { DcResult, Drive, DriveResult } from './solve-dc.ts'

/** What lies there: a part, or a scanner with parts behind it. */
export interface Held {
  readonly terminals: number
  readonly holdsCharge: boolean
  readonly heldV: number
  putIn(): void
  lay(ohm: number): void
  move(): void
  dc(drives: readonly Drive[], conditions?: Partial<Conditions>): DcResult
  pass(drives: readonly Drive[], seconds: number, at?: { celsius?: number }): DcResult
  impedance(
    hertz: number, between: readonly [number, number], joined: readonly (readonly [number, number])[],
  ): Complex
}

/** Terminals of two leads, from 0; null for a lead that hangs in the air. */
export type LeadPair = readonly [high: number, low: number] | null
type Setting = Parameters<SourceTerminals['operate']>[0]

const off: Setting = { mode: 'voltage', value: 0, limit: 0, on: false }

/** What leads and terminals add to a part by themselves. */
export interface Residuals {
  /** In line with the bridge: both leads together, Ω and H. */
  readonly seriesOhm: number; readonly seriesH: number
  /** Across its leads, F, and what their insulation loses at any frequency, S. */
  readonly strayF: number; readonly strayS: number
  /** Both leads of the ohm-meter, where two wires measure them too, Ω. */
  readonly leadsOhm: number
}
/** Of a jig that adds nothing to the bridge. */
const bare: Residuals = { seriesOhm: 0, seriesH: 0, strayF: 0, strayS: 0, leadsOhm: 0.2 }

export class ComponentFixture {
  readonly sources: readonly [SourceTerminals, SourceTerminals]
  readonly meter: MeterTerminals
  readonly bridge: BridgeTerminals
  celsius = 25
  /** They change as leads are moved and contacts wear. */
  residuals: Residuals
  /** Insulation of the leads to each other at DC. */
  leadsOhm = Infinity
  #part: Held | null = null
  #pairs: readonly [LeadPair, LeadPair] = [[0, 1], [1, 0]]
  #measured: LeadPair = [0, 1]
  #joined: LeadPair = null
  #settings: [Setting, Setting] = [off, off]
  #result: DcResult | null = null
  readonly #clock: Clock | null
  #atMs = 0
  #bleederOhm = Infinity

  /**
   * Without a clock no time goes by: capacitors hold nothing, and draw what they do a minute after the volts
   * came.
   */
  constructor(clock: Clock | null = null, residuals: Residuals = bare) {
    this.#clock = clock
    this.residuals = residuals
    this.sources = [this.#source(0), this.#source(1)]
    this.meter = { volts: () => 0, push: (amps, openV, wires) => this.#push(amps, openV, wires) }
    this.bridge = { impedance: hertz => this.#impedance(hertz) }
  }

  get part(): Held | null { return this.#part }

  /** Puts a part in, or takes it out. */
  hold(part: Held | null): void {
    this.#passed()
    this.#part?.lay(Infinity)
    this.#part = part
    part?.putIn()
    part?.lay(this.#bleederOhm)
    this.#result = null
  }

  /** A resistor across terminals 0 and 1; Infinity takes it off. */
  bleed(ohm: number): void {
    this.#passed()
    this.#bleederOhm = ohm
    this.#part?.lay(ohm)
    this.#result = null
  }

  /**
   * High and low terminal of each source; of ohm-meter and bridge, whose sources must be off then; and two
   * that a wire joins while the bridge measures.
   */
  wire(sources: readonly [LeadPair, LeadPair], measured: LeadPair, joined: LeadPair = null): void {
    this.#passed()
    this.#joined = joined
    this.#pairs = sources
    this.#measured = measured
    this.#result = null
  }

  /** Most volts that a capacitance of what lies in it holds. */
  get heldV(): number {
    this.#passed()
    return this.#part?.heldV ?? 0
  }

  /** What the part went through since it was looked at last. */
  #passed(): void {
    if (!this.#clock) return
    const nowMs = this.#clock.monotonicMs()
    const seconds = (nowMs - this.#atMs) / 1000
    this.#atMs = nowMs
    if (this.#part?.holdsCharge && seconds > 0) this.#result = this.#part.pass(this.#drives(), seconds, this)
  }

  #source(index: 0 | 1): SourceTerminals {
    return {
      operate: setting => {
        this.#passed()
        this.#settings[index] = { ...setting }
        this.#part?.move()
        this.#result = null
      },
      volts: () => this.#seen(index).volts, amps: () => this.#seen(index).amps,
      limited: () => this.#seen(index).limited,
    }
  }

  #seen(index: 0 | 1): { volts: number; amps: number; limited: boolean } {
    const { on, mode, value, limit } = this.#settings[index]
    if (!on) return { volts: 0, amps: 0, limited: false }
    const acrossOhm = 1 / (1 / this.#bleederOhm + 1 / this.leadsOhm)
    if (!this.#part && this.#pairs[index] !== null && acrossOhm < Infinity) {
      return through(acrossOhm, { mode, value, limit })
    }
    // Without a part the leads are open.
    if (!this.#part || !this.#reached(this.#pairs[index])) {
      return mode === 'voltage' ? { volts: value, amps: 0, limited: false }
        : { volts: Math.sign(value) * limit, amps: 0, limited: value !== 0 }
    }
    this.#passed()
    const isTimed = this.#clock !== null && this.#part.holdsCharge
    this.#result ??= isTimed ? this.#part.pass(this.#drives(), 0, this) : this.#part.dc(this.#drives(), this)
    return this.#result.drives[this.#live().indexOf(index)]!
  }

  #live(): (0 | 1)[] {
    return ([0, 1] as const).filter(i => this.#settings[i].on && this.#reached(this.#pairs[i]))
  }

  #drives(): Drive[] { return this.#live().map(i => this.#drive(i)) }

  #drive(index: 0 | 1): Drive {
    const { mode, value, limit } = this.#settings[index]
    const [high, low] = this.#pairs[index]!
    return { high, low, mode, value, limit }
  }

  /** Both leads are on different legs that the part has. */
  #reached(pair: LeadPair): pair is NonNullable<LeadPair> {
    return pair !== null && pair[0] !== pair[1] && Math.max(...pair) < (this.#part?.terminals ?? 0)
  }

  /** The part with the insulation of the leads beside it, and the leads in line with both. */
  #impedance(hertz: number): Complex {
    const { seriesOhm, seriesH, strayF, strayS } = this.residuals
    const omega = 2 * Math.PI * hertz
    const part = this.#admittance(hertz)
    const whole = { re: part.re + strayS, im: part.im + omega * strayF }
    if (whole.re === 0 && whole.im === 0) return { re: Infinity, im: 0 }
    const { re, im } = inverse(whole)
    return { re: re + seriesOhm, im: im + omega * seriesH }
  }

  #admittance(hertz: number): Complex {
    if (!this.#part || !this.#reached(this.#measured)) return { re: 0, im: 0 }
    this.#part.move()
    return inverse(
      this.#part.impedance(hertz, this.#measured, this.#reached(this.#joined) ? [this.#joined] : []))
  }

  #push(currentA: number, openV: number, wires: 2 | 4): number {
    if (!this.#part || !this.#reached(this.#measured)) return openV
    this.#part.move()
    const [high, low] = this.#measured
    const drive: Drive = { high, low, mode: 'current', value: currentA, limit: openV }
    const { volts, amps } = this.#part.dc([drive], { celsius: this.celsius }).drives[0]!
    return Math.min(openV, volts + (wires === 2 ? amps * this.residuals.leadsOhm : 0))
  }
}

/** What a source sees of a resistance alone. */
function through(ohm: number, { mode, value, limit }: Omit<Setting, 'on'>): DriveResult {
  const wanted = mode === 'voltage' ? value / ohm : value * ohm
  const limited = Math.abs(wanted) > limit
  const other = limited ? Math.sign(wanted) * limit : wanted
  if (mode === 'current') return { amps: limited ? other / ohm : value, volts: other, limited }
  return { amps: other, volts: limited ? other * ohm : value, limited }
}
