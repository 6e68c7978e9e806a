/**
 * What a sequence may need instruments for that power, drive, load and hear a whole unit. SI units; levels
 * are root mean square volts unless a name says otherwise. Every call rejects with a BenchError that names
 * instrument, command, expected, got and elapsed time.
 */
import type { Measured } from './reading.ts'
import type { Energising, Identity, SafeOffStep } from './roles.ts'

interface UnitInstrument {
  /** Name in the bench file. */
  readonly name: string
  identify(): Promise<Identity>
  /** Puts the instrument into the known state that the driver assumes. Never energises. */
  prepare(): Promise<void>
}

/**
 * A contactor in the mains of the unit that is off unless held: closed only while it is refreshed. It breaks
 * all poles. Ways are paths to the unit, from the most limited to the full one: through a series resistance,
 * a tap, or straight.
 */
export interface MainsSwitch extends UnitInstrument {
  readonly ways: readonly MainsWay[]
  /** Longest time in ms that it stays closed without a refresh. */
  readonly holdMs: number
  /** From the command to the contact, ms. */
  readonly settleMs: number
  /** Closes by this way, all others open. */
  close(way: string): Promise<void>
  open(): Promise<void>
  /** Read-back of the auxiliary contacts: the way that is closed, null where all poles are open. */
  closedWay(): Promise<string | null>
  readonly refreshCommand: string
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
}
export interface MainsWay {
  readonly name: string
  /** In line with the unit; 0 where it is straight. */
  readonly seriesOhm: number
  /** Continuous rating of that resistance, W; null where there is none. */
  readonly seriesW: number | null
  /** Share of the nominal mains volts that this way gives without a load. */
  readonly share: number
}

/** What the unit takes from its mains. Only an instrument rated for mains may read it. */
export interface PowerMeter extends UnitInstrument {
  /** Time of one reading in ms, without the link. */
  readonly readingMs: number
  readPower(): Promise<MainsReading>
}
export interface MainsReading {
  readonly voltage: Measured
  readonly current: Measured
  readonly power: Measured
  readonly frequencyHz: Measured
}

/** One sine of a test signal; volts RMS that the source gives into an open end. */
export interface DriveTone { readonly frequencyHz: number; readonly levelV: number }

/** What an instrument adds to a signal by itself, as its data sheet says. */
export interface OwnFigures {
  /** Most of its own harmonics together, RMS as a share of the signal. */
  readonly thdMost: number
  readonly noiseVPerRootHz: number
  /** Standard uncertainty of its clock as a share; 0 of one that takes the clock of the digitizer. */
  readonly clockU: number
}

/** Drives the inputs of a unit. Muted: no signal, and its source resistance still stands across the input. */
export interface Generator extends UnitInstrument {
  readonly channels: readonly number[]
  readonly sourceOhm: number
  readonly levelMaxV: number
  readonly frequencyMinHz: number
  readonly frequencyMaxHz: number
  /** It gives whole multiples of this; a tone in between is given at the nearest one. */
  readonly frequencyStepHz?: number
  readonly own?: OwnFigures
  /** Standard uncertainty of a level of so many volts. */
  levelU?(levelV: number): number
  /** Most sines at once in one channel: 1 or 2. */
  readonly tonesMost: 1 | 2
  /** Its samples come from the digitizer's clock: records can be coherent. */
  readonly sharesClock: boolean
  /** Sets the sum of these sines, muted or not as it is. Rejects OUT_OF_RANGE before anything is sent. */
  setTones(channel: number, tones: readonly DriveTone[]): Promise<void>
  /** Lets the signal out of this channel, or mutes it. */
  setOutput(channel: number, on: boolean): Promise<void>
  muteAll(): Promise<void>
  readonly settleMs: number
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
}

/** Samples volts. A differential input may hang on a bridged output; one whose return is earthed may not. */
export interface Digitizer extends UnitInstrument {
  readonly channels: readonly number[]
  readonly isDifferential: boolean
  readonly inputOhm: number
  /** Ranges as peak volts, from small to large. */
  readonly rangesV: readonly number[]
  readonly sampleRatesHz: readonly number[]
  readonly samplesMost: number
  /** In the range that is taken for so many peak volts. */
  own?(rangeV: number): OwnFigures & { readonly bits: number }
  capture(asked: CaptureAsked): Promise<Capture>
}
export interface CaptureAsked {
  readonly channels: readonly number[]
  /** Peak volts. The smallest range that is not below is taken; rejects OUT_OF_RANGE where there is none. */
  readonly rangeV: number
  readonly sampleHz: number
  readonly samples: number
}
export interface Capture {
  readonly sampleHz: number
  /** Volts by channel, in the order asked. */
  readonly volts: readonly Float64Array[]
  /** A sample stood at the end of the range: nothing is to be made of it. */
  readonly isClipped: readonly boolean[]
  /** Standard uncertainty of the scale as a share, and of the zero in volts. */
  readonly gainU: number
  readonly offsetUV: number
  readonly atMs: number
}

/** Reads root mean square volts of an alternating voltage. */
export interface AcMeter extends UnitInstrument {
  readonly inputOhm: number
  readonly bandMinHz: number
  readonly bandMaxHz: number
  readonly readingMs: number
  configure(setup: { rangeV: number | 'auto' }): Promise<void>
  readVoltage(): Promise<Measured>
}

/**
 * A resistive load for each output, rated in watts for as long as it lasts. A safe-off leaves it as it is:
 * what is behind it may still have power, and a valve stage must not run without it.
 */
export interface Load extends UnitInstrument {
  readonly channels: readonly number[]
  /** What each channel can be set to, Ω, as the profile declares them. */
  readonly stepsOhm: readonly number[]
  /** Standard uncertainty of a step, Ω. */
  stepU?(ohm: number): number
  /** One channel, for ever and for `peakS` seconds. */
  readonly continuousW: number
  readonly peakW: number
  readonly peakS: number
  /** Null opens it: never while the unit is driven, and never under a valve stage that is powered. */
  connect(channel: number, ohm: number | null): Promise<void>
  /** As it reads back: what is connected, Ω, null where it is open. */
  connected(channel: number): Promise<number | null>
  readonly settleMs: number
}

/** What the unit roles of one bench resolve to; absent where the bench has none. */
export interface UnitRoles {
  'mains-switch'?: MainsSwitch
  'power-meter'?: PowerMeter
  generator?: Generator
  digitizer?: Digitizer
  'ac-meter'?: AcMeter
  load?: Load
}
