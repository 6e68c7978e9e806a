/**
 * Reads the bench in two loops: the bus often, the positions in sweeps. Each reading goes to the supervisor first,
 * then to the record, then to whoever waits. An exception anywhere in here is a fault, and a fault stops the bench.
 */
import type { Clock } from '../base/clock.ts'
import { sleep } from '../base/clock.ts'
import { hasCode } from '../base/errors.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { Measured, Reading, Channel } from '../schema/reading.ts'
import type { RelayBoard, Roles, Scanner, Supply, Voltmeter } from '../schema/roles.ts'
import type { Supervisor, Demand } from '../safety/supervisor.ts'
import type { ChannelTable } from './channels.ts'
import type { PositionState } from './position.ts'
import { partVolts } from './position.ts'
import type { Recorder } from './recorder.ts'
import { watchRelays } from './relay-watch.ts'
import type { Waiters } from './waiters.ts'

export interface SamplerDeps {
  clock: Clock; bench: BenchFile; roles: Roles; channels: ChannelTable
  supervisor: Supervisor; recorder: Recorder; waiters: Waiters
  positions: readonly PositionState[]
  onDemand: (demand: Demand) => void
  watching: () => boolean
  live: () => boolean
}

/** Current above what the positions explain, as a part of what one shorted part would take, that starts a sweep. */
const unexplainedShare = 0.4
/** The supply's own voltmeter is read this seldom: in ms, and in quiet bus readings. */
const readBackMs = 5000
const readBackEvery = 5

export class Sampler {
  #d: SamplerDeps
  #signal: AbortSignal
  #fastUntilMs = 0
  #hurryUntilMs = 0
  #hurryEveryMs = 0
  #wake: (() => void) | null = null
  #busV: Measured | null = null
  #supplyA: Measured | null = null
  #unexplained = 0
  #readBackDueMs = 0
  #supplyGone = false
  /** Counts whole sweeps, for "one scan later". */
  sweeps = 0

  constructor(deps: SamplerDeps, signal: AbortSignal) {
    this.#d = deps
    this.#signal = signal
  }

  get busV(): Measured | null { return this.#busV }

  /** Reads at the fast cadence for `ms` from now, starting with a sweep out of turn. */
  attend(ms: number): void {
    this.#fastUntilMs = Math.max(this.#fastUntilMs, this.#d.clock.monotonicMs() + ms)
    this.#wake?.()
  }

  /** Sweeps every `everyMs` for `ms` from now: charge is being counted, or a part is on its way down. */
  hurry(ms: number, everyMs: number): void {
    const nowMs = this.#d.clock.monotonicMs()
    this.#hurryEveryMs = nowMs < this.#hurryUntilMs ? Math.min(everyMs, this.#hurryEveryMs) : everyMs
    this.#hurryUntilMs = Math.max(this.#hurryUntilMs, nowMs + ms)
    this.attend(ms)
  }

  /** Runs until the signal aborts. Never rejects: what goes wrong becomes a demand. */
  async run(): Promise<void> {
    const loops = [this.#guard('bus', () => this.#busLoop()), this.#guard('sweep', () => this.#sweepLoop())]
    if (this.#d.roles.thermometer) loops.push(this.#guard('temperature', () => this.#temperatureLoop()))
    if (this.#d.roles.interlock) loops.push(this.#guard('interlock', () => this.#coverLoop()))
    if (this.#d.roles.positions) loops.push(this.#guard('relays', () => this.#relayLoop(this.#d.roles.positions!)))
    await Promise.all(loops)
  }

  /** A read that a safe-off cut short is no fault of its own: the loop begins again. */
  async #guard(name: string, loop: () => Promise<void>): Promise<void> {
    try {
      await loop()
    } catch (error) {
      if (this.#signal.aborted) return
      if (hasCode(error, 'ABANDONED')) {
        await sleep(this.#d.clock, this.#d.bench.cadence.busMs, this.#signal).catch(() => {})
        return await this.#guard(name, loop)
      }
      this.#fault(`loop.${name}`, error)
    }
  }

  get #fast(): boolean { return this.#d.clock.monotonicMs() < this.#fastUntilMs }

  async #busLoop(): Promise<void> {
    const { bench, channels, roles } = this.#d
    const supply = roles.supply as Supply
    while (!this.#signal.aborted) {
      const startedMs = this.#d.clock.monotonicMs()
      const [volts, amps] = await Promise.all([this.#readBus(supply), this.#ofSupply(() => supply.readCurrent())])
      this.#busV = volts
      this.#supplyA = amps
      if (volts) this.#take(channels.busVoltage, volts)
      if (amps) this.#take(channels.supplyCurrent, amps)
      this.#explain()
      await this.#readBack(supply)
      await this.#pause(startedMs + (this.#fast ? bench.cadence.busMs : bench.cadence.busQuietMs))
    }
  }

  /** Without a meter on the bus the supply's own serves while it feeds the bus: its diode hides the bus at other times. */
  async #readBus(supply: Supply): Promise<Measured | null> {
    const meter = this.#d.roles['bus-meter']
    if (meter) return await meter.readVoltage()
    if (!this.#d.live()) return null
    const volts = await this.#ofSupply(() => supply.readVoltage())
    const { diodeV } = this.#d.bench.fixture
    return volts && { ...volts, value: Math.max(0, volts.value - diodeV), u: Math.hypot(volts.u, diodeV / 4) }
  }

  /** Seldom: it shares a link with what must go out fast. */
  async #readBack(supply: Supply): Promise<void> {
    const nowMs = this.#d.clock.monotonicMs()
    if (!this.#d.live() || nowMs < this.#readBackDueMs) return
    this.#readBackDueMs = nowMs + Math.max(readBackMs, readBackEvery * this.#d.bench.cadence.busQuietMs)
    const volts = await this.#ofSupply(() => supply.readVoltage())
    if (volts) this.#take(this.#d.channels.supplyVoltage, volts)
  }

  /** A supply that does not answer stops the bench, and is asked no more; the bus is read on, for its fall is the proof. */
  async #ofSupply(read: () => Promise<Measured>): Promise<Measured | null> {
    if (this.#supplyGone) return null
    try {
      return await read()
    } catch (error) {
      if (this.#signal.aborted || hasCode(error, 'ABANDONED')) throw error
      this.#supplyGone = true
      this.#fault('loop.supply', error)
      return null
    }
  }

  #fault(id: string, error: unknown): void {
    const text = error instanceof Error ? error.message : String(error)
    this.#d.onDemand(this.#d.supervisor.fault(id, text, this.#d.clock.monotonicMs()))
  }

  /** Compares supply current with what the positions and the bus bleeder take. */
  #explain(): void {
    if (!this.#busV || !this.#supplyA || this.#busV.quality !== 'good' || this.#supplyA.quality !== 'good') return
    const { fixture, limits } = this.#d.bench
    if (this.#busV.value < limits.touchSafeV) { this.#unexplained = 0; return }
    let known = this.#busV.value / fixture.busBleederOhm + this.#busV.value / (this.#d.roles['bus-meter']?.inputOhm ?? Infinity)
    for (const position of this.#d.positions) {
      if (position.wiring === 'bus' && position.current) known += Math.max(0, position.current.value)
    }
    const shortA = this.#busV.value / (fixture.limitOhm + fixture.senseOhm)
    const excess = this.#supplyA.value - known
    if (excess < unexplainedShare * shortA + 3 * this.#supplyA.u) { this.#unexplained = 0; return }
    if (this.#unexplained === 0) { this.#unexplained = this.sweeps + 2; this.attend(this.#d.bench.cadence.sweepMs); return }
    if (this.sweeps < this.#unexplained + 1) return
    this.#d.onDemand(this.#d.supervisor.fault('bus.unexplained',
      `the supply gives ${(1e3 * excess).toFixed(2)} mA more than the positions take`, this.#d.clock.monotonicMs()))
  }

  async #sweepLoop(): Promise<void> {
    while (!this.#signal.aborted) {
      const startedMs = this.#d.clock.monotonicMs()
      for (const position of this.#d.positions) {
        if (this.#signal.aborted) return
        await this.#readPosition(position)
      }
      this.sweeps++
      await this.#pauseOrWake(startedMs + this.#sweepEveryMs)
    }
  }

  get #sweepEveryMs(): number {
    const { sweepMs, sweepQuietMs } = this.#d.bench.cadence
    if (this.#d.clock.monotonicMs() < this.#hurryUntilMs) return Math.min(this.#hurryEveryMs, sweepMs)
    return this.#fast ? sweepMs : sweepQuietMs
  }

  async #readPosition(position: PositionState): Promise<void> {
    const scanner = this.#d.roles.scanner as Scanner | undefined
    if (scanner) {
      await scanner.select(position.spec.sense ?? null)
      await sleep(this.#d.clock, scanner.settleMs, this.#signal)
    }
    const meter = this.#d.roles['sense-meter'] as Voltmeter
    const volts = await meter.readVoltage()
    const { senseOhm, senseTolerance } = this.#d.bench.fixture
    // The meter's own input lies across the sense resistor and takes its share.
    const siemens = 1 / senseOhm + 1 / meter.inputOhm
    const value = volts.value * siemens
    const u = Math.hypot(volts.u * siemens, value * senseTolerance / Math.sqrt(3))
    position.current = { value, u, quality: volts.quality, atMs: volts.atMs }
    position.currentAtBusV = this.#busV?.value ?? 0
    const seenV = partVolts(this.#d.bench.fixture, position, this.#d.watching())
    if (seenV !== null && seenV > position.knownV) position.knownV = seenV
    this.#take(this.#d.channels.current[position.index]!, position.current)
  }

  /** The cover contact breaks the cutoff's coil by itself; this makes it known, and latched. */
  async #coverLoop(): Promise<void> {
    const { bench, clock, roles, supervisor } = this.#d
    while (!this.#signal.aborted) {
      const startedMs = clock.monotonicMs()
      if (this.#d.live() && !(await roles.interlock!.read()).coverClosed && this.#d.live()) {
        this.#d.onDemand(supervisor.fault('cover.open', 'the cover was opened while energy was on', clock.monotonicMs()))
        return
      }
      await this.#pause(startedMs + bench.cadence.busQuietMs)
    }
  }

  async #relayLoop(board: RelayBoard): Promise<void> {
    const { bench, clock, positions, supervisor } = this.#d
    await watchRelays({
      clock, board, positions, everyMs: bench.cadence.sweepQuietMs,
      onLost: text => this.#d.onDemand(supervisor.fault('positions.lost', text, clock.monotonicMs())),
    }, this.#signal)
  }

  async #temperatureLoop(): Promise<void> {
    const { bench, channels, clock, roles } = this.#d
    while (!this.#signal.aborted) {
      const startedMs = clock.monotonicMs()
      for (const position of this.#d.positions) {
        const channel = channels.caseTemperature[position.index]
        if (this.#signal.aborted) return
        if (!channel || position.spec.thermometer === undefined) continue
        const measured = await roles.thermometer!.readTemperature(position.spec.thermometer)
        position.caseC = measured.quality === 'good' ? measured.value : null
        this.#take(channel, measured)
      }
      await this.#pause(startedMs + bench.cadence.temperatureMs)
    }
  }

  #take(channel: Channel, measured: Measured): void {
    const reading: Reading = { channel, value: measured.value, u: measured.u, quality: measured.quality, atMs: measured.atMs }
    const demand = this.#d.supervisor.judge(reading)
    if (demand) this.#demand(demand)
    this.#d.recorder.reading(reading)
    this.#d.waiters.deliver(reading)
  }

  /** The verdict stands on the position before anything acts on the drop. */
  #demand(demand: Demand): void {
    const position = this.#d.positions.find(({ spec }) => spec.name === demand.position)
    if (position && demand.verdict) position.verdict = demand.verdict
    this.#d.onDemand(demand)
  }

  async #pause(untilMs: number): Promise<void> {
    const leftMs = Math.max(1, untilMs - this.#d.clock.monotonicMs())
    await sleep(this.#d.clock, leftMs, this.#signal)
  }

  #pauseOrWake(untilMs: number): Promise<void> {
    const leftMs = Math.max(1, untilMs - this.#d.clock.monotonicMs())
    return new Promise((resolve, reject) => {
      const done = (): void => { cancel(); this.#wake = null; this.#signal.removeEventListener('abort', gone); resolve() }
      const gone = (): void => { cancel(); this.#wake = null; reject(this.#signal.reason as Error) }
      const cancel = this.#d.clock.after(leftMs, done)
      this.#wake = done
      this.#signal.addEventListener('abort', gone, { once: true })
    })
  }
}
