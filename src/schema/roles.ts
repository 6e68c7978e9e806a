/**
 * What a sequence may need an instrument for. Drivers implement these; the engine knows nothing else of them.
 * All values SI. Every call rejects with a BenchError that names instrument, command,
 * expected, got and elapsed time.
 */
import type { ScannerPath } from './instrument-classes.ts'
import type { Measured } from './reading.ts'
import type { UnitRoles } from './unit-roles.ts'

export const roleNames = [
  'supply', 'bus-meter', 'sense-meter', 'bridge', 'thermometer', 'scanner', 'positions', 'cutoff', 'bleed',
  'interlock', 'beacon', 'ohm-meter', 'source', 'second-source', 'jig',
  'mains-switch', 'power-meter', 'generator', 'digitizer', 'ac-meter', 'load',
] as const
export type RoleName = (typeof roleNames)[number]

/** Roles whose links can apply or cut energy: the keeper owns them. */
export const energyRoles: readonly RoleName[] = [
  'supply', 'positions', 'cutoff', 'bleed', 'source', 'second-source', 'mains-switch', 'generator', 'load',
]

export interface Identity { maker: string; model: string; serial: string; firmware: string; raw: string }

/** One line of a compiled safe-off table: sent blind, then read back when there is a way to. */
export interface SafeOffStep {
  /** Lines to send, in order. */
  commands: readonly string[]
  /** A query whose answer shows the safe state; `safe` are the accepted answers as numbers or exact text. */
  verify?: { query: string; safe: readonly (number | string)[]; tolerance?: number }
  /** Lines that the safe-off does not send, and that may follow it: they end what watched over the output. */
  afterwards?: readonly string[]
}

/**
 * Lines that can put energy on: each that begins with `begins`, save for those that are in `but` as a whole.
 * The keeper sends none of them while it is not armed.
 */
export interface Energising { begins: string; but: readonly string[] }

interface Instrument {
  /** Name in the bench file. */
  readonly name: string
  /** Asks *IDN? afresh. */
  identify(): Promise<Identity>
  /** Puts the instrument into the known state that the driver assumes. Never energises. */
  prepare(): Promise<void>
}

export interface SupplySettings { voltageV: number; currentLimitA: number; on: boolean }

export interface Supply extends Instrument {
  readonly ratings: {
    voltageMaxV: number; currentMaxA: number; voltageStepV: number; currentStepA: number
    /** How far its current limit and its current reading may be off together, beside a share of the value. */
    currentErrorA: number
    /** Capacitance across the output terminals: what a shorted part gets before the current limit acts. */
    outputCapacitanceF: number
  }
  setVoltage(voltageV: number): Promise<void>
  setCurrentLimit(currentA: number): Promise<void>
  setOutput(on: boolean): Promise<void>
  /** Settings as the instrument reports them now. */
  settings(): Promise<SupplySettings>
  readVoltage(): Promise<Measured>
  readCurrent(): Promise<Measured>
  /**
   * Programs over-voltage and over-current protection and reads both back. READ_BACK when they did not take.
   */
  protect(overVoltageV: number, overCurrentA: number): Promise<{ overVoltageV: number; overCurrentA: number }>
  /** Which protection has tripped. */
  protectionTripped(): Promise<'none' | 'over-voltage' | 'over-current' | 'other'>
  /** Output off and verified off, then cleared, then verified still off. */
  clearProtection(): Promise<void>
  /** Times that its communication watchdog can be set to, in s; null where it has none. */
  readonly watchdogS: { readonly min: number; readonly max: number } | null
  /**
   * Sets the watchdog to whole seconds, not fewer than asked for, arms it and reads both back; resolves with
   * the seconds. From then on the output goes off by itself when no line came for so long.
   */
  armWatchdog(seconds: number): Promise<number>
  /** Seen not to watch any more. */
  disarmWatchdog(): Promise<void>
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
}

export interface Voltmeter extends Instrument {
  /** Input resistance in ohms, as the profile declares it for the range in use. */
  readonly inputOhm: number
  /** Time for one reading in ms at the set speed, without the link. */
  readonly readingMs: number
  /** Fixes range (smallest that holds `rangeV`) and integration; 'auto' ranges by itself. */
  configure(setup: { rangeV: number | 'auto'; nplc: number }): Promise<void>
  readVoltage(): Promise<Measured>
}

export interface OhmMeter extends Instrument {
  /** Ways it can measure: with two wires the leads are part of the reading. */
  readonly wires: readonly (2 | 4)[]
  /**
   * What it puts through a part in the smallest range that holds `rangeOhm`, and the most across an open
   * circuit. Throws OUT_OF_RANGE where no range holds it.
   */
  stimulus(rangeOhm: number): { currentA: number; openV: number }
  /**
   * Fixes function, range (smallest that holds `rangeOhm`) and integration; with 'auto' it ranges by itself,
   * and any range's stimulus may stand at the part.
   */
  configure(setup: { rangeOhm: number | 'auto'; wires: 2 | 4; nplc: number }): Promise<void>
  /** Time for one reading in ms at the set speed, without the link. */
  readonly readingMs: number
  /** 'over-range' when open; 'implausible' where it is below zero by more than error: a part with volts. */
  readResistance(): Promise<Measured>
}

export interface SourceReading {
  voltage: Measured
  current: Measured
  /** The limit holds it, and not the value that was forced. */
  limited: boolean
}

/**
 * A source-measure unit: forces volts or amperes of either sign, takes current either way (so it also
 * discharges), and measures both. What it may give a part is its caller's to limit; it refuses what it
 * cannot do.
 */
export interface Source extends Instrument {
  /** The steps are those of the smallest range. */
  readonly ratings: {
    voltageMaxV: number; currentMaxA: number; voltageStepV: number; currentStepA: number
    /** Most while the contact on its interlock input is open, V; left out where it has no such input. */
    interlockOpenV?: number
  }
  readonly wires: readonly (2 | 4)[]
  /** From a new setting to a steady output into a resistor, ms. */
  readonly settleMs: number
  /** Time of one `measure` in ms at the set speed, without the link. */
  readonly readingMs: number
  /** Sense wires and integration. */
  configure(setup: { wires: 2 | 4; nplc: number }): Promise<void>
  /** Forces volts; current limited to `limitA` (both signs). The output stays as it is, on or off. */
  forceVoltage(voltageV: number, limitA: number): Promise<void>
  /** Forces current; volts limited to `limitV` (both signs). The output stays as it is, on or off. */
  forceCurrent(currentA: number, limitV: number): Promise<void>
  setOutput(on: boolean): Promise<void>
  /** Both quantities at one instant. With the output off they are 'missing' or 'not-a-number'. */
  measure(): Promise<SourceReading>
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
}

export interface BridgeReading {
  capacitance: Measured
  esr: Measured
  dissipation: Measured
  frequencyHz: number
}

/** Series resistance and reactance; reactance is below zero for a capacitor. */
export interface ImpedanceMeasured { rOhm: Measured; xOhm: Measured; frequencyHz: number }

export interface Bridge extends Instrument {
  /** What it can be set to. */
  readonly frequenciesHz: readonly number[] | { readonly minHz: number; readonly maxHz: number }
  readonly levelsV: { readonly minV: number; readonly maxV: number }
  /** Series capacitance, ESR and D at a frequency and level. */
  measure(setup: { frequencyHz: number; levelV: number }): Promise<BridgeReading>
  /** The same measurement as an impedance, of whatever lies there: an inductor or a resistor too. */
  impedance(setup: { frequencyHz: number; levelV: number }): Promise<ImpedanceMeasured>
}

export interface Thermometer extends Instrument {
  /** Last digit of a reading, and the standard deviation of its noise, kelvins. */
  readonly stepK: number
  readonly noiseK: number
  readTemperature(channel: number): Promise<Measured>
}

/** Routes one low-level signal to the sense meter. `null` opens all. */
export interface Scanner extends Instrument {
  readonly settleMs: number
  /** What it adds and takes; left out where its profile says nothing. */
  readonly path?: ScannerPath | undefined
  select(channel: number | null): Promise<void>
}

/** Relays that carry energy or connect parts. Held = coil driven; released = what power loss gives. */
export interface RelayBoard extends Instrument {
  readonly settleMs: number
  hold(relays: readonly number[]): Promise<void>
  release(relays: readonly number[]): Promise<void>
  releaseAll(): Promise<void>
  /** What the board says of its coils, in the order asked. Software read-back, not proof of a contact. */
  held(relays: readonly number[]): Promise<boolean[]>
  /** Relay closures that the profile rates per contact, at energy and without. */
  readonly contactLife: number
  readonly safeOff: SafeOffStep
  /** Every line that holds a relay, unless this is one role's share of a board. */
  readonly energising: readonly Energising[]
  /** The line that holds this relay and no other. */
  holdLine(relay: number): string
}

/** A hold-in contactor: closed only while it is refreshed. The keeper alone refreshes. */
export interface Cutoff extends Instrument {
  /**
   * Longest time in ms it stays closed without a refresh; 0 where it is a plain relay
   * without a hold-in timer.
   */
  readonly holdMs: number
  readonly settleMs: number
  close(): Promise<void>
  open(): Promise<void>
  /** Read-back of the contact (auxiliary contact where there is one). */
  isClosed(): Promise<boolean>
  /** The line that keeps it closed; empty where holdMs is 0. It never closes an open contact. */
  readonly refreshCommand: string
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
}

export interface Interlock extends Instrument {
  /**
   * `coverClosed`: cover contact, in the cutoff's coil circuit too. `present`: key or button at the bench.
   */
  read(): Promise<{ coverClosed: boolean; present: boolean }>
}

export interface Beacon extends Instrument { show(state: 'dark' | 'live' | 'fault'): Promise<void> }

/** What the roles of one bench resolve to; absent where the bench has none. */
export interface Roles extends UnitRoles {
  supply?: Supply
  'bus-meter'?: Voltmeter
  'sense-meter'?: Voltmeter
  bridge?: Bridge
  thermometer?: Thermometer
  scanner?: Scanner
  positions?: RelayBoard
  cutoff?: Cutoff
  bleed?: RelayBoard
  interlock?: Interlock
  beacon?: Beacon
  'ohm-meter'?: OhmMeter
  source?: Source
  'second-source'?: Source
  /** Relays that lead one instrument at a time to the terminals of the jig. */
  jig?: RelayBoard
}
