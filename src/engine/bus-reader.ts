/** Reads the bus and what the supply gives, and whether the positions explain it. */
import type { Clock } from '../base/clock.ts'
import { hasCode } from '../base/errors.ts'
import type { BenchFile } from '../schema/bench.ts'
import { shortOf } from '../schema/fixture.ts'
import type { Measured } from '../schema/reading.ts'
import type { Roles, Supply } from '../schema/roles.ts'
import type { ChannelTable } from './channels.ts'
import type { Intake } from './intake.ts'
import type { PositionState } from './position.ts'

export interface BusReaderDeps {
  clock: Clock; bench: BenchFile; roles: Roles; channels: ChannelTable; intake: Intake
  positions: readonly PositionState[]
  live: () => boolean
  /** Whole sweeps so far. */
  sweeps: () => number
  /** Asks for a sweep out of turn. */
  attend: () => void
  /** Whether the supply's own volts are where it was asked to be. */
  asAsked: (supplyV: number) => boolean
}

/**
 * Current above what the positions explain, as a part of what one shorted part would
 * take, that starts a sweep.
 */
const unexplainedShare = 0.4
/** The supply's own voltmeter is read this seldom: in ms, and where it agrees in quiet bus readings. */
const readBackMs = 5000
const readBackEvery = 5

export class BusReader {
  #d: BusReaderDeps
  #supply: Supply
  #signal: AbortSignal
  #busV: Measured | null = null
  #supplyA: Measured | null = null
  #askedAtSweep: number | null = null
  #readBackDueMs = 0
  #supplyGone = false

  constructor(deps: BusReaderDeps, signal: AbortSignal) {
    this.#d = deps
    this.#supply = deps.roles.supply as Supply
    this.#signal = signal
  }

  get busV(): Measured | null { return this.#busV }
  get supplyA(): Measured | null { return this.#supplyA }

  async read(): Promise<void> {
    const { channels, intake } = this.#d
    const [volts, amps] = await Promise.all([
      this.#readBus(), this.#ofSupply(() => this.#supply.readCurrent()),
    ])
    this.#busV = volts
    this.#supplyA = amps
    if (volts) intake.take(channels.busVoltage, volts)
    if (amps) intake.take(channels.supplyCurrent, amps)
    this.#explain()
    await this.#readBack()
  }

  /**
   * Without a meter on the bus the supply's own serves while it feeds the bus: its diode
   * hides the bus at other times.
   */
  async #readBus(): Promise<Measured | null> {
    const meter = this.#d.roles['bus-meter']
    if (meter) return await meter.readVoltage()
    if (!this.#d.live()) return null
    const volts = await this.#ofSupply(() => this.#supply.readVoltage())
    const { diodeV } = this.#d.bench.fixture
    return volts && { ...volts, value: Math.max(0, volts.value - diodeV), u: Math.hypot(volts.u, diodeV / 4) }
  }

  /** Seldom: it shares a link with what must go out fast. */
  async #readBack(): Promise<void> {
    const nowMs = this.#d.clock.monotonicMs()
    if (!this.#d.live() || nowMs < this.#readBackDueMs) return
    this.#readBackDueMs = nowMs + Math.max(readBackMs, readBackEvery * this.#d.bench.cadence.busQuietMs)
    const volts = await this.#ofSupply(() => this.#supply.readVoltage())
    if (!volts) return
    if (volts.quality !== 'good' || !this.#d.asAsked(volts.value)) this.#readBackDueMs = nowMs + readBackMs
    this.#d.intake.take(this.#d.channels.supplyVoltage, volts)
  }

  /**
   * A supply that does not answer stops the bench and is asked no more; the bus is read
   * on: its fall is the proof.
   */
  async #ofSupply(read: () => Promise<Measured>): Promise<Measured | null> {
    if (this.#supplyGone) return null
    try {
      return await read()
    } catch (error) {
      if (this.#signal.aborted || hasCode(error, 'ABANDONED')) throw error
      this.#supplyGone = true
      this.#d.intake.fault('loop.supply', error)
      return null
    }
  }

  /**
   * Compares supply current with what the positions and the bus bleeder take; two sweeps may find out why.
   */
  #explain(): void {
    const excessA = this.#excessA()
    if (excessA === null) { this.#askedAtSweep = null; return }
    if (this.#askedAtSweep === null) { this.#askedAtSweep = this.#d.sweeps(); this.#d.attend(); return }
    if (this.#d.sweeps() < this.#askedAtSweep + 3) return
    this.#d.intake.fault('bus.unexplained',
      `the supply gives ${(1e3 * excessA).toFixed(2)} mA more than the positions take`)
  }

  /** Current that nothing explains and that is too large to pass over, amperes, or null. */
  #excessA(): number | null {
    const [busV, supplyA] = [this.#busV, this.#supplyA]
    if (busV?.quality !== 'good' || supplyA?.quality !== 'good') return null
    const { fixture, limits } = this.#d.bench
    if (busV.value < limits.touchSafeV) return null
    const shortA = shortOf(fixture, busV.value)
    const excessA = supplyA.value - takenA(this.#d, this.#d.positions, busV.value)
    return excessA < unexplainedShare * shortA + 3 * supplyA.u ? null : excessA
  }
}

/** What bleeder and meter of the bus and `positions` take from it, amperes. */
export function takenA(
  { bench, roles }: Pick<BusReaderDeps, 'bench' | 'roles'>, positions: readonly PositionState[], busV: number,
): number {
  const siemens = 1 / bench.fixture.busBleederOhm + 1 / (roles['bus-meter']?.inputOhm ?? Infinity)
  return positions.reduce((sum, { wiring, current }) =>
    wiring === 'bus' && current ? sum + Math.max(0, current.value) : sum, busV * siemens)
}
