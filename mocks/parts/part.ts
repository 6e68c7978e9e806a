/**
 * One simulated electrolytic capacitor in time. It is lazy: it holds one accepted step [from, until] that may
 * reach far beyond now, answers reads in between by a cubic, and takes the step again, shorter, when its
 * network changes. Events (see fate.ts) always stand at the ends of steps.
 */
import { assert } from '../../src/base/assert.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { Cell, celsius, firstBranch, formed, middleAt, volts } from './cell.ts'
import { Fate } from './fate.ts'
import type { Happening } from './fate.ts'
import { impedanceOf } from './impedance.ts'
import type { Complex } from './impedance.ts'
import type { PartTruth, Rated } from './truth.ts'

/** Steps never reach further than this, s: a part left alone overnight still shows its day's drift. */
const stepMaxS = 600
const stepMinS = 1e-9
/** DC limit below which a conductor may be touched, V. */
const touchV = 60

/** Charges since the start, coulomb: in = stored + leaked (sparks count as leaked). */
export interface ChargeLedger { inC: number; storedC: number; leakedC: number }
/** Extremes since the start, for invariants. */
export interface PartAudit {
  voltsMaxV: number
  currentMaxA: number
  dissipationMaxW: number
  above60S: number
}

export class ElectrolyticPart {
  readonly kind: string
  readonly rated: Rated
  /** The hidden truth. Only tests may look. */
  readonly truth: PartTruth
  /** Current and its slope against source volts at the end of the last trial (A at the terminals, S). */
  trialA = 0
  trialS = 0

  readonly #audit: PartAudit = { voltsMaxV: 0, currentMaxA: 0, dissipationMaxW: 0, above60S: 0 }
  readonly #cell: Cell
  readonly #fate: Fate
  readonly #sign: number
  #fromS = 0
  #untilS = 0
  #nextS = 1e-3
  #fresh = false
  #seriesOhm = Infinity
  #sourceV = 0
  #sourceAtS = 0
  #sourceSlope = 0
  #inC = 0
  #leakedC = 0
  #storedAtStartC = 0

  constructor(kind: string, rated: Rated, truth: PartTruth, seed: number | string, ambientC = 20) {
    this.kind = kind
    this.rated = rated
    this.truth = truth
    this.#sign = truth.reversed ? -1 : 1
    this.#cell = new Cell(truth, rated, ambientC)
    this.#fate = new Fate(truth.events, rated.voltageV, truth.shuntOhm, new SeededRandom(seed).fork('fate'))
  }

  /** What has befallen the part so far. */
  get happenings(): readonly Happening[] { return this.#fate.happenings }
  /** Nothing sudden happens in the part before this instant, s. Call after `ensure`. */
  get calmUntilS(): number { return this.#fate.quiet ? Infinity : this.#untilS }

  /** Puts charge on the part at time zero, with the absorption branches equally charged. */
  precharge(voltageV: number): void {
    assert(this.#untilS === 0, 'precharge comes before the first step')
    const { start } = this.#cell
    start[volts] = this.#sign * voltageV
    start.fill(this.#sign * voltageV, firstBranch)
    this.#storedAtStartC = this.#storedC()
  }

  /** Changes what the part hangs on: ohms in line with it, and the clamped sense resistor. */
  connect(tS: number, seriesOhm: number, senseOhm: number, clampV: number): void {
    this.stopAt(tS)
    this.#seriesOhm = seriesOhm
    this.#cell.senseOhm = senseOhm
    this.#cell.clampV = clampV
    this.#changed()
  }

  /**
   * Changes the source behind the series resistance: `sourceV` at `tS`, moving by `slopeVS` volts a second.
   */
  drive(tS: number, sourceV: number, slopeVS = 0): void {
    this.stopAt(tS)
    this.#sourceV = this.#sign * sourceV
    this.#sourceSlope = this.#sign * slopeVS
    this.#sourceAtS = tS
    this.#changed()
  }

  ambient(tS: number, ambientC: number): void {
    this.stopAt(tS)
    this.#cell.ambientC = ambientC
    this.#changed()
  }

  /**
   * Makes `tS` the end of the accepted step and moves there, so that something can change at that instant.
   */
  stopAt(tS: number): void {
    this.ensure(tS)
    if (tS < this.#untilS) {
      assert(tS >= this.#fromS, 'a part cannot go back in time')
      if (tS === this.#fromS) { this.#untilS = tS; this.#fresh = false; return }
      this.#try(tS - this.#fromS)
      this.#untilS = tS
    }
    this.#commit()
  }

  /** Makes reads at `tS` possible. */
  ensure(tS: number): void {
    while (this.#untilS < tS) {
      this.#commit()
      this.#lookAhead()
    }
  }

  /** No joint step may reach beyond this instant, s. Call with the part standing at the start of the step. */
  nextEventS(): number {
    return this.#fate.quiet ? Infinity : this.#fate.nextS(this.#fromS, this.#cell.start[volts]!)
  }

  /**
   * Tries one step of `hS` from where the part stands while its source moves to `sourceEndV`. Fills `trialA`
   * and `trialS`; returns the error over its tolerance. `acceptTrial` keeps the last one tried.
   */
  trial(hS: number, sourceEndV: number): number {
    this.#sourceV = this.#sourceAt(this.#fromS)
    this.#sourceSlope = (this.#sign * sourceEndV - this.#sourceV) / hS
    this.#sourceAtS = this.#fromS
    const error = this.#try(hS)
    this.trialA = this.#sign * this.#cell.endA
    this.trialS = this.#cell.endS
    return error
  }

  acceptTrial(hS: number): void { this.#untilS = this.#fromS + hS }

  /** Terminal current at `tS`, positive into the part's + mark, A. */
  currentA(tS: number): number {
    return this.#sign * this.#cell.currentA(this.#sourceAt(tS), this.#cellV(tS))
  }

  /** Volts between the part's terminals, V. */
  terminalV(tS: number): number {
    return this.#sign * this.#cellV(tS) + this.currentA(tS) * this.#cell.electrolyteOhm()
  }

  caseC(tS: number): number { return this.#blend(celsius, tS) }
  /** Volts to which the weakest oxide is formed by now. */
  formedV(tS: number): number { return this.#blend(formed, tS) }

  leakageA(tS: number): number {
    return this.#cell.leakageA(this.#cellV(tS), this.formedV(tS), this.caseC(tS), this.#fate.shuntS(tS))
  }

  /** Power turned to heat in the part, W. */
  dissipationW(tS: number): number {
    const a = this.currentA(tS)
    return Math.abs(this.#cellV(tS) * this.leakageA(tS)) + a * a * this.#cell.electrolyteOhm()
  }

  /** Stored energy, absorption included, J. */
  energyJ(tS: number): number {
    const v = this.#cellV(tS)
    let j = this.truth.capacitanceF * v * v / 2
    this.truth.branches.forEach((b, k) => { j += b.capacitanceF * this.#blend(firstBranch + k, tS) ** 2 / 2 })
    return j
  }

  /** Charges to the instant `tS`, at which the part then stands. */
  ledger(tS: number): ChargeLedger {
    this.stopAt(tS)
    return { inC: this.#inC, leakedC: this.#leakedC, storedC: this.#storedC() - this.#storedAtStartC }
  }

  /** Charge that has entered since the start, C. Unlike `ledger` this only looks. */
  chargeInC(tS: number): number {
    const from = this.#fromS
    if (tS <= from) return this.#inC
    const ends = this.currentA(from) + this.currentA(tS)
    return this.#inC + this.#sign * (tS - from) / 6 * (ends + 4 * this.currentA((from + tS) / 2))
  }

  /** Extremes up to `tS`. Only looks. */
  auditAt(tS: number): PartAudit {
    const audit = { ...this.#audit }
    if (tS > this.#fromS) {
      widen(audit, this.#cell.start[volts]!, this.#cellV(tS), tS - this.#fromS)
      audit.dissipationMaxW = Math.max(audit.dissipationMaxW, this.dissipationW(tS))
    }
    return audit
  }

  /** Small-signal impedance of the part at `hertz`, for a bridge. */
  impedance(tS: number, hertz: number): Complex {
    if (this.#fate.apart) return { re: Infinity, im: -Infinity }
    return impedanceOf(this.truth, {
      hertz, shuntS: this.#fate.shuntS(tS), electrolyteOhm: this.#cell.electrolyteOhm(),
      formedRatio: this.formedV(tS) / this.rated.voltageV,
    })
  }

  // ——— stepping ———

  #changed(): void {
    this.#cell.seriesOhm = this.#fate.apart ? Infinity : this.#seriesOhm
    this.#fresh = false
    const ohm = Math.min(this.#cell.seriesOhm, 1e9)
    this.#nextS = Math.min(this.#nextS, Math.max(1e-6, 0.02 * ohm * this.truth.capacitanceF))
  }

  #sourceAt(tS: number): number { return this.#sourceV + this.#sourceSlope * (tS - this.#sourceAtS) }

  #try(hS: number): number {
    const t = this.#fromS
    const u0 = this.#sourceAt(t)
    if (!this.#fresh) { this.#cell.refreshStart(u0, this.#fate.shuntS(t)); this.#fresh = true }
    const gMiddle = this.#fate.shuntS(t + middleAt * hS)
    return this.#cell.attempt(hS, u0, this.#sourceAt(t + hS), gMiddle, this.#fate.shuntS(t + hS))
  }

  #lookAhead(): void {
    const from = this.#fromS
    let h = Math.min(this.#nextS, stepMaxS)
    if (!this.#fate.quiet) h = Math.min(h, this.#fate.nextS(from, this.#cell.start[volts]!) - from)
    h = Math.max(h, stepMinS)
    for (;;) {
      const error = this.#try(h)
      if (error <= 1 || h <= stepMinS) {
        this.#nextS = h * (error < 1e-3 ? 4 : Math.min(4, 0.85 * error ** (-1 / 3)))
        break
      }
      h = Math.max(stepMinS, h * Math.max(0.1, Math.min(0.9, 0.85 * error ** (-1 / 3))))
    }
    this.#untilS = from + h
    if (!this.#fate.quiet) this.#landOnThreshold()
  }

  /** Stress counts from the instant a threshold is reached, so a step that crosses one ends on it. */
  #landOnThreshold(): void {
    const { start, end } = this.#cell
    const threshold = this.#fate.crossedV(start[volts]!, end[volts]!)
    if (threshold === Infinity) return
    let low = this.#fromS
    let high = this.#untilS
    for (let turn = 0; turn < 50; turn++) {
      const half = (low + high) / 2
      if (this.#cellV(half) < threshold) low = half
      else high = half
    }
    this.#try(high - this.#fromS)
    this.#untilS = high
  }

  /** Takes the accepted step for good. */
  #commit(): void {
    const h = this.#untilS - this.#fromS
    if (h <= 0) return
    const cell = this.#cell
    const v0 = cell.start[volts]!
    this.#inC += cell.stepInC
    this.#leakedC += cell.stepLeakC
    widen(this.#audit, v0, cell.end[volts]!, h)
    this.#audit.currentMaxA = Math.max(this.#audit.currentMaxA, Math.abs(cell.endA))
    this.#audit.dissipationMaxW = Math.max(this.#audit.dissipationMaxW, cell.stepHeatJ / h)
    cell.advance()
    this.#fromS = this.#untilS
    if (this.#fate.quiet) return
    this.#fate.bear(v0, h)
    const lost = this.#fate.strike(this.#fromS, cell.start[volts]!)
    if (lost < 0) return
    if (lost > 0) {
      this.#leakedC += this.truth.capacitanceF * cell.start[volts]! * lost
      cell.start[volts] = cell.start[volts]! * (1 - lost)
    }
    this.#changed()
  }

  #storedC(): number {
    const { start } = this.#cell
    let c = this.truth.capacitanceF * start[volts]!
    this.truth.branches.forEach((b, k) => { c += b.capacitanceF * start[firstBranch + k]! })
    return c
  }

  // ——— between the ends of a step ———

  #cellV(tS: number): number { return this.#blend(volts, tS) }

  /** Cubic through both ends and their rates. */
  #blend(index: number, tS: number): number {
    const { start, end, startRate, endRate } = this.#cell
    const h = this.#untilS - this.#fromS
    if (h <= 0 || tS <= this.#fromS) return start[index]!
    const x = (tS - this.#fromS) / h
    const rest = 1 - x
    const y0 = start[index]!
    const y1 = end[index]!
    return y0 * rest * rest * (1 + 2 * x) + y1 * x * x * (3 - 2 * x)
      + h * x * rest * (rest * startRate[index]! - x * endRate[index]!)
  }
}

/** Adds `hS` seconds between two voltages. */
function widen(audit: PartAudit, v0: number, v1: number, hS: number): void {
  const low = Math.min(Math.abs(v0), Math.abs(v1))
  const high = Math.max(Math.abs(v0), Math.abs(v1))
  if (high > audit.voltsMaxV) audit.voltsMaxV = high
  if (low > touchV) audit.above60S += hS
  else if (high > touchV) audit.above60S += hS * (high - touchV) / (high - low)
}
