/**
 * One step of the cell's equations: volts, forming volts, temperature and absorption branches, together.
 * Method: TR-BDF2 written as a three-stage diagonally implicit Runge-Kutta, second order, L-stable (so a
 * shorted cell or a millisecond network does not force small steps), with the usual embedded third-order
 * estimate. The branches are linear and eliminated by hand; volts and forming volts are solved by Newton, two
 * by two.
 */
import {
  bulkExponent, formingDensityAcm2, formingExponent, growthCVcm2, leakagePerKelvin, reverseKneeA,
  reverseKneeV, reverseSlopeV,
} from './truth.ts'
import type { PartTruth, Rated } from './truth.ts'

const diag = 1 - Math.SQRT1_2
const side = Math.SQRT2 / 4
/** Where the middle stage stands within the step. */
export const middleAt = 2 * diag
const err1 = (4 * side - 1) / 3
const err2 = -1 / 3
const err3 = 2 * diag / 3
/**
 * Exponents beyond this go on linearly: far above any current a network can give, and Newton still converges.
 */
const exponentMax = 25
const newtonMax = 60
const zeroFieldTerm = Math.exp(-formingExponent)
const reverse0A = reverseKneeA / (Math.exp(reverseKneeV / reverseSlopeV) - 1)

const expOf = (x: number): number =>
  x <= exponentMax ? Math.exp(x) : Math.exp(exponentMax) * (1 + x - exponentMax)
const slopeOf = (x: number): number => x <= exponentMax ? Math.exp(x) : Math.exp(exponentMax)

/** Indices into a state; branches follow. */
export const volts = 0
export const formed = 1
export const celsius = 2
export const firstBranch = 3

export class Cell {
  readonly size: number
  /** State and its rates at both ends of the step. */
  readonly start: Float64Array
  readonly end: Float64Array
  readonly startRate: Float64Array
  readonly endRate: Float64Array
  /** Charge through the terminals, charge leaked, and heat made, in the step (C, C, J). */
  stepInC = 0; stepLeakC = 0; stepHeatJ = 0
  /** Terminal current and its slope against source volts at the end of the step (A, S). */
  endA = 0; endS = 0
  // currents and heat that belong to startRate and endRate: the ledger must use the very same numbers
  #startA = 0; #startLeakA = 0; #startHeatW = 0
  #endLeakA = 0; #endHeatW = 0
  ambientC: number
  seriesOhm = Infinity
  senseOhm = 0
  clampV = Infinity

  readonly #n: number
  readonly #middle: Float64Array
  readonly #middleRate: Float64Array
  readonly #tau: Float64Array
  readonly #branchS: Float64Array
  readonly #cap: number
  readonly #rated: number
  readonly #bulkS: number
  readonly #weakA: number
  readonly #grow: number
  readonly #dissolve: number
  readonly #heatK: number
  readonly #coolPerS: number
  readonly #ohm20: number
  readonly #ohmK: number
  readonly #tolerance: Float64Array
  #esr = 0
  #esrC = NaN
  #factor = 1
  #factorC = NaN
  // results of #leak and #feed, kept in fields so that nothing is allocated
  #leakA = 0; #leakS = 0; #formA = 0; #formS = 0; #formPerFormedS = 0
  #feedA = 0; #feedS = 0

  constructor(truth: PartTruth, rated: Rated, ambientC: number) {
    const n = truth.branches.length
    this.#n = n
    this.size = firstBranch + n
    const block = (): Float64Array => new Float64Array(firstBranch + n)
    this.start = block(); this.end = block(); this.startRate = block(); this.endRate = block()
    this.#middle = block(); this.#middleRate = block()
    this.#tau = Float64Array.from(truth.branches, b => b.timeConstantS)
    this.#branchS = Float64Array.from(truth.branches, b => b.capacitanceF / b.timeConstantS)
    this.#cap = truth.capacitanceF
    this.#rated = rated.voltageV
    this.#bulkS = truth.bulkPerS * truth.capacitanceF
    const weakCm2 = truth.weakFraction * truth.areaCm2
    this.#weakA = formingDensityAcm2 * weakCm2
    this.#grow = weakCm2 > 0 ? truth.growthEfficiency / (growthCVcm2 * weakCm2) : 0
    this.#dissolve = 1 / truth.dissolutionS
    this.#heatK = 1 / truth.thermalCapacityJK
    this.#coolPerS = 1 / (truth.thermalResistanceKW * truth.thermalCapacityJK)
    this.#ohm20 = truth.electrolyteOhm
    this.#ohmK = truth.electrolyteSlopeK
    this.ambientC = ambientC
    this.start[formed] = truth.formingV
    this.start[celsius] = ambientC
    const scale = Math.max(rated.voltageV, 1)
    this.#tolerance = block().fill(5e-6 * scale)
    this.#tolerance[volts] = 1e-7 * scale
    this.#tolerance[formed] = 1e-6 * scale
    this.#tolerance[celsius] = 0.01
  }

  /** Electrolyte resistance at the temperature of the start of the step, ohm. */
  electrolyteOhm(): number {
    const t = this.start[celsius]!
    if (Math.abs(t - this.#esrC) > 0.01 || Number.isNaN(this.#esrC)) {
      this.#esrC = t
      this.#esr = this.#ohm20 * Math.exp(this.#ohmK * (1 / (t + 273.15) - 1 / 293.15))
    }
    return this.#esr
  }

  /** Current into the cell from a source of `sourceV`, with the cell at `cellV`; A. */
  currentA(sourceV: number, cellV: number): number {
    this.#feed(sourceV, cellV)
    return this.#feedA
  }

  /** Leakage at a state, A. */
  leakageA(cellV: number, formedV: number, temperatureC: number, shuntS: number): number {
    this.#leak(cellV, formedV, temperatureC, shuntS)
    return this.#leakA
  }

  /** Rates at the start, for the first step after something changed. */
  refreshStart(sourceV: number, shuntS: number): void {
    const y = this.start
    this.#leak(y[volts]!, y[formed]!, y[celsius]!, shuntS)
    this.#feed(sourceV, y[volts]!)
    this.#startA = this.#feedA
    this.#startLeakA = this.#leakA
    this.#startHeatW = this.#heatW(y[volts]!)
    this.#fill(y, this.startRate)
  }

  /** The end of the step becomes the start of the next. */
  advance(): void {
    this.start.set(this.end)
    this.startRate.set(this.endRate)
    this.#startA = this.endA
    this.#startLeakA = this.#endLeakA
    this.#startHeatW = this.#endHeatW
  }

  /**
   * Tries a step of `hS` from `start`: source volts at start and end, shunts at the middle stage and the end.
   * Returns the estimated error over its tolerance: accept at or below 1. The start must be fresh
   * (`refreshStart`, `advance`).
   */
  attempt(hS: number, u0: number, u1: number, gMiddle: number, g1: number): number {
    const { start, startRate, end, endRate } = this
    const middle = this.#middle
    const middleRate = this.#middleRate
    const ah = diag * hS
    const um = u0 + middleAt * (u1 - u0)
    for (let i = 0; i < this.size; i++) middle[i] = start[i]! + ah * startRate[i]!
    if (!this.#solve(middle, middleRate, ah, um, gMiddle, middleAt * hS)) return Infinity
    const inM = this.#feedA
    const leakM = this.#leakA
    const heatM = this.#heatW(middle[volts]!)
    for (let i = 0; i < this.size; i++) {
      end[i] = start[i]! + hS * side * (startRate[i]! + middleRate[i]!)
    }
    if (!this.#solve(end, endRate, ah, u1, g1, hS)) return Infinity
    this.endA = this.#feedA
    this.#endLeakA = this.#leakA
    this.#endHeatW = this.#heatW(end[volts]!)
    this.stepInC = hS * (side * (this.#startA + inM) + diag * this.endA)
    this.stepLeakC = hS * (side * (this.#startLeakA + leakM) + diag * this.#endLeakA)
    this.stepHeatJ = hS * (side * (this.#startHeatW + heatM) + diag * this.#endHeatW)
    const p = ah / this.#cap
    const stiffness = 1 + p * (this.#feedS + this.#leakS)
    this.endS = this.#feedS * (1 + p * this.#leakS) / stiffness
    return this.#error(hS, stiffness)
  }

  /**
   * `stiffness` damps the estimate of the volts: a fast mode that has settled is no error, however long the
   * step.
   */
  #error(hS: number, stiffness: number): number {
    let worst = 0
    for (let i = 0; i < this.size; i++) {
      const e = hS * (err1 * this.startRate[i]! + err2 * this.#middleRate[i]! + err3 * this.endRate[i]!)
      const ratio = Math.abs(e) / this.#tolerance[i]! / (i === volts ? stiffness : 1)
      if (!(ratio <= worst)) worst = ratio
    }
    return worst
  }

  #heatW(v: number): number {
    return Math.abs(v * this.#leakA) + this.#feedA * this.#feedA * this.electrolyteOhm()
  }

  /** On entry `y` holds the explicit part; on return it solves y = explicit + ah·f(y), and `rate` is f(y). */
  #solve(
    y: Float64Array, rate: Float64Array, ah: number, u: number, shuntS: number, aheadS: number,
  ): boolean {
    const temperatureC = this.start[celsius]! + aheadS * this.startRate[celsius]!
    const rv = y[volts]!
    const rf = y[formed]!
    let branchS = 0
    let branchA = 0
    for (let j = 0; j < this.#n; j++) {
      const s = this.#branchS[j]! / (1 + ah / this.#tau[j]!)
      branchS += s
      branchA += s * y[firstBranch + j]!
    }
    const p = ah / this.#cap
    let v = this.start[volts]!
    let f = this.start[formed]!
    for (let turn = 0; ; turn++) {
      if (turn === newtonMax) return false
      this.#leak(v, f, temperatureC, shuntS)
      this.#feed(u, v)
      const r1 = v - rv - p * (this.#feedA - this.#leakA - branchS * v + branchA)
      const r2 = f - rf - ah * (this.#grow * this.#formA - this.#dissolve * f)
      const a11 = 1 + p * (this.#feedS + this.#leakS + branchS)
      const a12 = p * this.#formPerFormedS
      const a21 = -ah * this.#grow * this.#formS
      const a22 = 1 + ah * (this.#dissolve - this.#grow * this.#formPerFormedS)
      const det = a11 * a22 - a12 * a21
      let dv = (r1 * a22 - r2 * a12) / det
      let df = (r2 * a11 - r1 * a21) / det
      if (!Number.isFinite(dv) || !Number.isFinite(df)) return false
      if (f - df < 0.3 * f) df = 0.7 * f
      if (Math.abs(dv) > this.#rated) dv = Math.sign(dv) * this.#rated
      v -= dv
      f -= df
      if (Math.abs(dv) + Math.abs(df) < 1e-11 * (this.#rated + Math.abs(v))) break
    }
    y[volts] = v
    y[formed] = f
    for (let j = 0; j < this.#n; j++) {
      const b = ah / this.#tau[j]!
      y[firstBranch + j] = (y[firstBranch + j]! + b * v) / (1 + b)
    }
    this.#leak(v, f, temperatureC, shuntS)
    this.#feed(u, v)
    const heat = this.#heatK * this.#heatW(v) + this.#coolPerS * this.ambientC
    y[celsius] = (y[celsius]! + ah * heat) / (1 + ah * this.#coolPerS)
    this.#fill(y, rate)
    return true
  }

  /** Rates from the currents just computed. */
  #fill(y: Float64Array, rate: Float64Array): void {
    const v = y[volts]!
    let branchA = 0
    for (let j = 0; j < this.#n; j++) {
      const across = v - y[firstBranch + j]!
      branchA += this.#branchS[j]! * across
      rate[firstBranch + j] = across / this.#tau[j]!
    }
    rate[volts] = (this.#feedA - this.#leakA - branchA) / this.#cap
    rate[formed] = this.#grow * this.#formA - this.#dissolve * y[formed]!
    rate[celsius] = this.#heatK * this.#heatW(v) - this.#coolPerS * (y[celsius]! - this.ambientC)
  }

  #feed(u: number, v: number): void {
    const inner = this.seriesOhm + this.electrolyteOhm()
    if (inner === Infinity) { this.#feedA = 0; this.#feedS = 0; return }
    const ohm = inner + this.senseOhm
    const a = (u - v) / ohm
    if (Math.abs(a) * this.senseOhm <= this.clampV) { this.#feedA = a; this.#feedS = 1 / ohm; return }
    this.#feedA = (u - v - (a > 0 ? this.clampV : -this.clampV)) / inner
    this.#feedS = 1 / inner
  }

  #leak(v: number, f: number, temperatureC: number, shuntS: number): void {
    if (!(Math.abs(temperatureC - this.#factorC) < 1e-6)) {
      this.#factorC = temperatureC
      this.#factor = Math.exp(leakagePerKelvin * (temperatureC - 20))
    }
    const warm = this.#factor
    if (v < 0) return this.#leakReverse(v, warm, shuntS)
    const scaled = bulkExponent * v / this.#rated
    const bulk = this.#bulkS * warm * expOf(scaled - bulkExponent)
    const x = formingExponent * (v / f - 1)
    const steep = this.#weakA * warm * slopeOf(x)
    this.#formA = this.#weakA * warm * (expOf(x) - zeroFieldTerm)
    this.#formS = steep * formingExponent / f
    this.#formPerFormedS = -this.#formS * v / f
    this.#leakA = bulk * v + this.#formA + shuntS * v
    this.#leakS = bulk * (1 + scaled) + this.#formS + shuntS
  }

  /** The other foil's thin oxide lets go at one to two volts. */
  #leakReverse(v: number, warm: number, shuntS: number): void {
    const bulk = this.#bulkS * warm * Math.exp(-bulkExponent)
    const y = -v / reverseSlopeV
    this.#formA = 0; this.#formS = 0; this.#formPerFormedS = 0
    this.#leakA = (bulk + shuntS) * v - reverse0A * (expOf(y) - 1)
    this.#leakS = bulk + shuntS + reverse0A * slopeOf(y) / reverseSlopeV
  }
}
