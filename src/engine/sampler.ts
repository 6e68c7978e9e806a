/**
 * Reads the bench in loops: the bus often, the positions in sweeps, cover, relays and cans beside them. Each
 * reading goes through the intake. An exception anywhere in here is a fault, and a fault stops the bench.
 */
import type { Clock } from '../base/clock.ts'
import { sleep } from '../base/clock.ts'
import { hasCode } from '../base/errors.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { Measured } from '../schema/reading.ts'
import type { Roles, Voltmeter } from '../schema/roles.ts'
import { BusReader } from './bus-reader.ts'
import type { ChannelTable } from './channels.ts'
import { Intake } from './intake.ts'
import type { IntakeDeps } from './intake.ts'
import { Pace } from './pace.ts'
import type { PositionState } from './position.ts'
import { partVolts } from './position.ts'
import { coverLoop, cutoffLoop, relayLoop, temperatureLoop } from './side-loops.ts'

export interface SamplerDeps extends IntakeDeps {
  clock: Clock; bench: BenchFile; roles: Roles; channels: ChannelTable
  watching: () => boolean
  live: () => boolean
  busStands: () => boolean
  asAsked: (supplyV: number) => boolean
}

export class Sampler {
  #d: SamplerDeps
  #signal: AbortSignal
  #intake: Intake
  #pace: Pace
  #bus: BusReader
  #sweeps = 0

  constructor(deps: SamplerDeps, signal: AbortSignal) {
    this.#d = deps
    this.#signal = signal
    this.#intake = new Intake(deps)
    this.#pace = new Pace(deps.clock, deps.bench.cadence, signal)
    this.#bus = new BusReader({
      ...deps, intake: this.#intake, sweeps: () => this.#sweeps,
      attend: () => this.attend(deps.bench.cadence.sweepMs),
    }, signal)
  }

  get busV(): Measured | null { return this.#bus.busV }
  get supplyA(): Measured | null { return this.#bus.supplyA }

  /** Reads at the fast cadence for `ms` from now, starting with a sweep out of turn. */
  attend(ms: number): void { this.#pace.attend(ms) }

  /** Sweeps every `everyMs` for `ms` from now: charge is being counted, or a part is on its way down. */
  hurry(ms: number, everyMs: number): void { this.#pace.hurry(ms, everyMs) }

  /** Runs until the signal aborts. Never rejects: what goes wrong becomes a demand. */
  async run(): Promise<void> {
    const { thermometer, interlock, cutoff, positions: board } = this.#d.roles
    const side = { ...this.#d, intake: this.#intake, pace: this.#pace }
    const loops = [this.#guard('bus', () => this.#busLoop()), this.#guard('sweep', () => this.#sweepLoop())]
    if (thermometer) {
      loops.push(this.#guard('temperature', () => temperatureLoop(side, thermometer, this.#signal)))
    }
    if (interlock) loops.push(this.#guard('interlock', () => coverLoop(side, interlock, this.#signal)))
    if (cutoff) loops.push(this.#guard('cutoff', () => cutoffLoop(side, { cutoff, interlock }, this.#signal)))
    if (board) loops.push(this.#guard('relays', () => relayLoop(side, board, this.#signal)))
    await Promise.all(loops)
  }

  /** A read that a safe-off cut short is no fault of its own: the loop begins again. */
  async #guard(name: string, loop: () => Promise<void>): Promise<void> {
    try {
      await loop()
    } catch (error) {
      if (this.#signal.aborted) return
      if (!hasCode(error, 'ABANDONED')) return this.#intake.fault(`loop.${name}`, error)
      await sleep(this.#d.clock, this.#d.bench.cadence.busMs, this.#signal).catch(() => {})
      await this.#guard(name, loop)
    }
  }

  async #busLoop(): Promise<void> {
    while (!this.#signal.aborted) {
      const startedMs = this.#d.clock.monotonicMs()
      await this.#bus.read()
      await this.#pace.pause(startedMs + this.#pace.busEveryMs)
    }
  }

  async #sweepLoop(): Promise<void> {
    while (!this.#signal.aborted) {
      const startedMs = this.#d.clock.monotonicMs()
      for (const position of this.#d.positions) {
        if (this.#signal.aborted) return
        await this.#readPosition(position)
      }
      this.#sweeps++
      await this.#pace.pauseOrWake(startedMs + this.#pace.sweepEveryMs)
    }
  }

  async #readPosition(position: PositionState): Promise<void> {
    const { bench: { fixture }, channels, clock, roles } = this.#d
    if (roles.scanner) {
      await roles.scanner.select(position.spec.sense ?? null)
      await sleep(clock, roles.scanner.settleMs, this.#signal)
    }
    const meter = roles['sense-meter'] as Voltmeter
    const volts = await meter.readVoltage()
    // The meter's own input lies across the sense resistor and takes its share.
    const siemens = 1 / fixture.senseOhm + 1 / meter.inputOhm
    const value = volts.value * siemens
    const u = Math.hypot(volts.u * siemens, value * fixture.senseTolerance / Math.sqrt(3))
    position.repeats = value === position.current?.value ? position.repeats + 1 : 1
    position.current = { value, u, quality: volts.quality, atMs: volts.atMs }
    position.currentAtBusV = this.busV?.value ?? 0
    const seenV = partVolts(fixture, position, this.#d.watching())
    if (seenV !== null && seenV > position.knownV) position.knownV = seenV
    if (seenV !== null && position.stage === 'dropped' && position.wiring === 'released') {
      position.bledV = Math.max(position.bledV ?? 0, seenV)
    }
    this.#intake.take(channels.current[position.index]!, position.current)
  }
}
