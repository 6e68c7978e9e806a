/** What every DC supply does, whatever it is told in: set, drive, measure, protect, latch, watch its link. */
import type { Cancel, Clock } from '../../src/base/clock.ts'
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { refuse } from '../scpi-device/status.ts'
import { type ErrorModel, quantise, ReadingFaults, Specimen, type Limits } from './accuracy.ts'
import type { SupplyTerminals } from './terminals.ts'

export interface SupplyRatings {
  readonly voltageMaxV: number; readonly currentMaxA: number
  readonly voltageStepV: number; readonly currentStepA: number
  readonly overVoltageMinV: number; readonly overVoltageMaxV: number; readonly overVoltageStepV: number
  readonly overCurrentMaxA: number; readonly overCurrentStepA: number
  readonly setVoltage: Limits; readonly setCurrent: Limits
  readonly readVoltage: Limits; readonly readCurrent: Limits
  readonly noiseV: number; readonly noiseA: number
  readonly readStepV: number; readonly readStepA: number
}

export interface Trips { overVoltage: boolean; overCurrent: boolean; watchdog: boolean }

/** A current above the level must last this long before it trips. */
const overCurrentDelayMs = 50
/** How long the output stands too high after a rise, where that is its fault. */
const overshootMs = 30
/** Protections look at the output at least this often while it is on. */
const lookMs = 200

export class SupplyCore {
  readonly ratings: SupplyRatings
  readonly tripped: Trips = { overVoltage: false, overCurrent: false, watchdog: false }
  voltageV = 0; currentLimitA = 0
  /** What the output was last told to be; a trip does not change it. */
  wanted = false
  overVoltageV = 0; overVoltageOn = false
  overCurrentA = 0; overCurrentOn = false
  watchdogS = 60; watchdogOn = false
  /** Called when what stands at the terminals goes on or off. */
  onOutput: (on: boolean) => void = () => {}

  readonly #clock: Clock
  readonly #terminals: SupplyTerminals
  readonly #random: SeededRandom
  readonly #readings: ReadingFaults
  readonly #faults: FaultPanel
  readonly #specimen: { setV: Specimen; setA: Specimen; readV: Specimen; readA: Specimen }
  #driven = false
  #overSinceMs: number | undefined
  #lastLineMs = 0
  #cancelLook: Cancel | undefined
  #cancelWatch: Cancel | undefined
  #overshootV = 0
  #cancelOvershoot: Cancel | undefined

  constructor(
    clock: Clock, ratings: SupplyRatings, terminals: SupplyTerminals, random: SeededRandom,
    faults: FaultPanel, errors: ErrorModel = 'inside',
  ) {
    this.#clock = clock
    this.ratings = ratings
    this.#terminals = terminals
    this.#random = random.fork('noise')
    this.#faults = faults
    this.#readings = new ReadingFaults(faults)
    this.#specimen = {
      setV: new Specimen(ratings.setVoltage, random.fork('set-v'), errors),
      setA: new Specimen(ratings.setCurrent, random.fork('set-a'), errors),
      readV: new Specimen(ratings.readVoltage, random.fork('read-v'), errors),
      readA: new Specimen(ratings.readCurrent, random.fork('read-a'), errors),
    }
    this.reset()
  }

  get anyTrip(): boolean {
    return this.tripped.overVoltage || this.tripped.overCurrent || this.tripped.watchdog
  }
  /** What the supply says of its output. */
  get on(): boolean { return this.wanted && !this.anyTrip }
  /** What really stands at the terminals. */
  get driven(): boolean { return this.#driven }
  /** CV or CC while the output is on. */
  get mode(): 'off' | 'cv' | 'cc' { return this.on ? this.#terminals.mode() : 'off' }

  reset(): void {
    this.wanted = false
    this.voltageV = 0
    this.currentLimitA = 0
    this.overVoltageV = this.ratings.overVoltageMaxV
    this.overCurrentA = this.ratings.overCurrentMaxA
    this.watchdogOn = false
    Object.assign(this.tripped, { overVoltage: false, overCurrent: false, watchdog: false })
    this.drive()
  }

  setVoltage(v: number): void {
    if (!(v >= 0 && v <= this.ratings.voltageMaxV)) refuse(-222)
    const wasV = this.voltageV
    this.voltageV = quantise(v, this.ratings.voltageStepV)
    if (this.voltageV > wasV) this.#overshoot()
    this.drive()
  }
  setCurrent(a: number): void {
    if (!(a >= 0 && a <= this.ratings.currentMaxA)) refuse(-222)
    this.currentLimitA = quantise(a, this.ratings.currentStepA)
    this.drive()
  }
  setOverVoltage(v: number): void {
    const { overVoltageMinV, overVoltageMaxV, overVoltageStepV } = this.ratings
    if (!(v >= overVoltageMinV && v <= overVoltageMaxV)) refuse(-222)
    this.overVoltageV = quantise(v, overVoltageStepV)
    this.look()
  }
  setOverCurrent(a: number): void {
    if (!(a >= 0 && a <= this.ratings.overCurrentMaxA)) refuse(-222)
    this.overCurrentA = quantise(a, this.ratings.overCurrentStepA)
    this.look()
  }

  setOutput(on: boolean): void {
    if (!on) this.tripped.watchdog = false
    if (on && this.anyTrip) refuse(-221)
    if (on && !this.wanted) this.#overshoot()
    this.wanted = on
    this.drive()
  }

  /** Clears trips; `restore` puts the output back to what it was set to, otherwise it stays off. */
  clearTrips(which: readonly (keyof Trips)[], restore: boolean): void {
    const wasTripped = this.anyTrip
    for (const trip of which) this.tripped[trip] = false
    if (!restore && wasTripped) this.wanted = false
    if (this.#faults.holds('clear-restores-output')) this.wanted = true
    this.drive()
  }

  readVoltage(): number {
    this.look()
    const v = this.#specimen.readV.of(this.#terminals.outputV(), this.ratings.voltageMaxV)
    const { noiseV, readStepV } = this.ratings
    return this.#readings.falsify(quantise(v + this.#random.normal() * noiseV, readStepV), 'V')
  }
  readCurrent(): number {
    this.look()
    const a = this.#specimen.readA.of(this.#terminals.currentA(), this.ratings.currentMaxA)
    const { noiseA, readStepA } = this.ratings
    return this.#readings.falsify(quantise(a + this.#random.normal() * noiseA, readStepA), 'A')
  }

  /** The voltage setting as read back: what it is, unless the read-back lies. */
  get voltageBackV(): number { return Number(this.#faults.holds('read-back-lies')?.value ?? this.voltageV) }

  /** Brings the terminals to what settings, trips and faults make of them. */
  drive(): void {
    const { setV, setA } = this.#specimen
    const { voltageMaxV, currentMaxA } = this.ratings
    const runaway = this.#faults.holds('output-runaway')
    const staysOn = this.#driven && this.#faults.holds('output-stays-on') !== undefined
    const on = this.on || staysOn
    const voltageV =
      runaway ? Number(runaway.value ?? voltageMaxV) : setV.of(this.voltageV, voltageMaxV) + this.#overshootV
    this.#terminals.apply({
      voltageV: Math.max(0, voltageV), on,
      currentLimitA: Math.max(0, setA.of(this.currentLimitA, currentMaxA)),
    })
    if (on !== this.#driven) { this.#driven = on; this.onOutput(on) }
    this.#arrangeLooks()
  }

  /** Looks at the output now: protections trip by what they find. */
  look(): void {
    if (!this.on || this.#faults.holds('protection-silent')) return
    if (this.overVoltageOn && this.#terminals.outputV() >= this.overVoltageV) return this.#trip('overVoltage')
    const isOver = this.overCurrentOn && this.#terminals.currentA() >= this.overCurrentA
    if (!isOver) { this.#overSinceMs = undefined; return }
    const nowMs = this.#clock.monotonicMs()
    this.#overSinceMs ??= nowMs
    if (nowMs - this.#overSinceMs >= overCurrentDelayMs) this.#trip('overCurrent')
  }

  /** A line came in: the communication watchdog starts again. */
  heard(): void { this.#lastLineMs = this.#clock.monotonicMs() }

  setWatchdog(on: boolean): void {
    this.watchdogOn = on
    this.#cancelWatch?.()
    this.#cancelWatch = undefined
    if (on) this.#awaitSilence()
  }

  #overshoot(): void {
    const fault = this.#faults.holds('output-overshoot')
    if (!fault) return
    this.#overshootV = Number(fault.value ?? 0)
    this.#cancelOvershoot?.()
    this.#cancelOvershoot = this.#clock.after(overshootMs, () => { this.#overshootV = 0; this.drive() })
  }

  #trip(what: keyof Trips): void {
    this.tripped[what] = true
    this.#overSinceMs = undefined
    this.drive()
  }

  /** While the output is on, protections look by themselves; nothing runs while it is off. */
  #arrangeLooks(): void {
    if (!this.on) { this.#cancelLook?.(); this.#cancelLook = undefined; return }
    this.#cancelLook ??= this.#clock.after(lookMs, () => {
      this.#cancelLook = undefined
      this.look()
      this.#arrangeLooks()
    })
  }

  #awaitSilence(): void {
    const leftMs = this.#lastLineMs + this.watchdogS * 1000 - this.#clock.monotonicMs()
    this.#cancelWatch = this.#clock.after(Math.max(1, leftMs), () => {
      if (!this.watchdogOn) return
      const isSilent = this.#clock.monotonicMs() - this.#lastLineMs >= this.watchdogS * 1000
      if (!isSilent) return this.#awaitSilence()
      this.#cancelWatch = undefined
      if (this.#faults.holds('watchdog-silent')) return this.#awaitSilenceAgain()
      this.#trip('watchdog')
      this.#awaitSilenceAgain()
    })
  }

  /** After a silence ended (with or without a trip) it is watched afresh from now. */
  #awaitSilenceAgain(): void {
    this.#lastLineMs = this.#clock.monotonicMs()
    this.#awaitSilence()
  }
}
