/**
 * The bus while nothing pins it: the supply pushes its limit, or is blocked, or is cut off, and the bus volts
 * follow from all parts together. One joint step (a segment) has the bus move in a straight line; its end is
 * solved so that currents balance there (backward Euler on the small capacitors, Newton over the parts' own
 * trial steps).
 */
import { assert } from '../../src/base/assert.ts'
import type { Position } from './position.ts'
import type { Supply } from './supply.ts'

export interface BusModel { bleederOhm: number; meterOhm: number; capacitanceF: number; diodeV: number }
export const usualBus: BusModel = { bleederOhm: 470e3, meterOhm: 10e6, capacitanceF: 10e-9, diodeV: 0.6 }

/** Steps are kept such that the bus is off its straight line by less than this, V. */
const bendV = 0.02
const stepMinS = 1e-6
const stepMaxS = 600
const restartS = 2e-5
const settledV = 1e-6
/** A supply this near its set voltage regulates. */
export const pinnedV = 2e-6
/** Currents below this count as none when the diode is judged. */
const leastA = 1e-9
const newtonMax = 40

export class Bus {
  readonly model: BusModel
  /** Bus and supply volts at both ends of the segment. */
  fromS = 0; untilS = 0
  fromV = 0; untilV = 0
  blocked = true
  #supplyUntilV = 0
  #supplyFromV = 0
  #slopeVS = 0
  #nextS = restartS
  #solvedV = 0
  #diodeA = 0
  #drawnS = 0
  #worst = 0
  /** Conductance to return of everything ohmic on the bus, S. */
  #ohmicS = 0
  /** True when the bus bleeder is off. */
  bleederOpen = false
  #loads: Position[] = []

  constructor(model: Partial<BusModel> = {}) { this.model = { ...usualBus, ...model } }

  /** Which positions hang on the bus. */
  attach(positions: readonly Position[]): void {
    this.#loads = positions.filter(p => p.onBus && p.model.part !== null)
    this.#ohmicS = (this.bleederOpen ? 0 : 1 / this.model.bleederOhm) + 1 / this.model.meterOhm
    for (const p of positions) {
      if (p.onBus && p.model.part === null) this.#ohmicS += 1 / (p.ohm + p.model.dummyOhm + p.model.senseOhm)
    }
  }

  get loads(): readonly Position[] { return this.#loads }
  get ohmicS(): number { return this.#ohmicS }

  voltsAt(tS: number): number { return blend(tS, this.fromS, this.untilS, this.fromV, this.untilV) }
  supplyVoltsAt(tS: number): number {
    return blend(tS, this.fromS, this.untilS, this.#supplyFromV, this.#supplyUntilV)
  }

  /** Stands the bus still at `tS` and `busV`, with nothing known of its slope. */
  stand(tS: number, busV: number, supplyV: number): void {
    this.fromS = tS
    this.untilS = tS
    this.fromV = busV
    this.untilV = busV
    this.#supplyFromV = supplyV
    this.#supplyUntilV = supplyV
    this.#slopeVS = 0
    this.#nextS = restartS
  }

  /** Current the bus would draw at `busV` at this instant, all parts standing at `tS`; A. */
  drawAt(tS: number): number {
    let a = this.voltsAt(tS) * this.#ohmicS
    for (const p of this.#loads) a += p.model.part!.currentA(tS)
    return a
  }

  /** Takes one segment from where the bus and its parts stand. `closed`: the cutoff contact. */
  segment(supply: Supply, closed: boolean): void {
    this.fromS = this.untilS
    this.fromV = this.untilV
    this.#supplyFromV = this.#supplyUntilV
    let h = this.#firstStep(supply, closed)
    for (;;) {
      const solved = this.#solveEither(supply, closed, h)
      const bend = Math.abs(this.#solvedV - this.fromV - this.#slopeVS * h) / bendV
      const error = solved ? Math.max(bend ** 0.5, this.#worst ** (1 / 3)) : Infinity
      const last = h <= stepMinS
      if (last) assert(solved, 'the bus has no solution')
      if (error <= 1 || last) {
        h = this.#land(supply, closed, h)
        this.#nextS = h * Math.min(4, 0.85 / Math.max(error, 0.1))
        break
      }
      h = Math.max(stepMinS, h * Math.max(0.1, 0.85 / error))
    }
    this.#accept(h)
  }

  #firstStep(supply: Supply, closed: boolean): number {
    let h = Math.min(this.#nextS, stepMaxS)
    for (const p of this.#loads) h = Math.min(h, p.model.part!.nextEventS() - this.fromS)
    if (this.blocked && closed && supply.pushes && supply.currentLimitA > 0) {
      const toV = Math.min(supply.voltageV, this.fromV + this.model.diodeV)
      const reachS = (toV - this.#supplyFromV) * supply.model.outputF / supply.currentLimitA
      h = Math.min(h, Math.max(restartS, reachS))
    }
    return Math.max(h, stepMinS)
  }

  /** A step that carries the supply past its set voltage is shortened to end on it. */
  #land(supply: Supply, closed: boolean, h: number): number {
    if (this.blocked || Math.abs(this.#supplyFromV - supply.targetV) <= pinnedV) return h
    const target = supply.targetV
    const from = this.#supplyFromV
    for (let turn = 0; turn < 8; turn++) {
      const over = (this.#supplyUntilV - target) * Math.sign(target - from)
      if (over <= settledV) break
      h *= Math.max(0.01, (target - from) / (this.#supplyUntilV - from))
      this.#solveEither(supply, closed, h)
    }
    return h
  }

  #accept(h: number): void {
    this.untilS = this.fromS + h
    this.untilV = this.#solvedV
    this.#slopeVS = (this.untilV - this.fromV) / h
    for (const p of this.#loads) p.model.part!.acceptTrial(h)
  }

  /** Finds which way the diode stands at the end of the step, and the bus volts there. */
  #solveEither(supply: Supply, closed: boolean, h: number): boolean {
    if (!closed) return this.#solveBlocked(supply, closed, h)
    const solve = [() => this.#solveBlocked(supply, closed, h), () => this.#solveFed(supply, h)]
    if (!this.blocked) solve.reverse()
    return solve.some(each => each())
  }

  #solveBlocked(supply: Supply, closed: boolean, h: number): boolean {
    if (!this.#balance(h, 0, 0)) return false
    const { outputF, bleederOhm } = supply.model
    const pushed = this.#supplyFromV + h * supply.currentLimitA / outputF
    this.#supplyUntilV = supply.on && this.#supplyFromV <= supply.voltageV
      ? Math.min(supply.voltageV, pushed)
      : Math.max(supply.targetV, this.#supplyFromV / (1 + h / (bleederOhm * outputF)))
    this.blocked = true
    return !closed || this.#supplyUntilV - this.model.diodeV <= this.#solvedV + settledV
  }

  /** The diode conducts: the supply regulates if it can, else it pushes its limit or drains. */
  #solveFed(supply: Supply, h: number): boolean {
    const { diodeV } = this.model
    const from = this.#supplyFromV
    this.blocked = false
    if (supply.on && Math.abs(from - supply.voltageV) <= pinnedV) {
      this.#supplyUntilV = supply.voltageV
      this.#diodeA = this.#drawn(h, supply.voltageV - diodeV)
      if (this.#diodeA < -leastA) return false
      if (this.#diodeA <= supply.currentLimitA) return true
    }
    const pushes = supply.on && from <= supply.voltageV + pinnedV
    const outS = supply.model.outputF / h
    const drainS = pushes ? 0 : 1 / supply.model.bleederOhm
    const givenA = (pushes ? supply.currentLimitA : 0) + outS * (from - diodeV) - drainS * diodeV
    if (!this.#balance(h, outS + drainS, givenA)) return false
    this.#supplyUntilV = this.#solvedV + diodeV
    return this.#diodeA >= -leastA
  }

  /**
   * Newton for the bus volts at which what it draws equals `givenA` less `ownS` siemens times those volts.
   */
  #balance(h: number, ownS: number, givenA: number): boolean {
    let v = this.fromV + this.#slopeVS * h
    for (let turn = 0; turn < newtonMax; turn++) {
      this.#diodeA = this.#drawn(h, v)
      const step = (givenA - ownS * v - this.#diodeA) / (ownS + this.#drawnS)
      if (!Number.isFinite(step)) return false
      if (Math.abs(step) < settledV / 10) return true
      v += step
    }
    return false
  }

  /** What bus and parts draw at the end of a step of `hS` that ends at `v`; fills `#drawnS` and `#worst`. */
  #drawn(h: number, v: number): number {
    const ownS = this.model.capacitanceF / h
    let a = ownS * (v - this.fromV) + this.#ohmicS * v
    let slopeS = ownS + this.#ohmicS
    let worst = 0
    for (const p of this.#loads) {
      const part = p.model.part!
      const error = part.trial(h, v)
      if (!(error <= worst)) worst = error
      a += part.trialA
      slopeS += part.trialS
    }
    this.#worst = worst
    this.#drawnS = slopeS
    this.#solvedV = v
    return a
  }
}

function blend(tS: number, fromS: number, untilS: number, from: number, until: number): number {
  if (tS >= untilS || untilS === fromS) return until
  return from + (until - from) * (tS - fromS) / (untilS - fromS)
}
