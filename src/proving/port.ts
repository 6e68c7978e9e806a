/**
 * What the proof of a unit needs of its bench, and no more. Levels are root mean square volts unless a name
 * says peak; channels are those of the unit profile. Volts are those at the terminals of the unit: whoever
 * makes the port takes dividers into account. Every verb rejects with a BenchError.
 */
import type { Clock } from '../base/clock.ts'
import type { Measured } from '../schema/reading.ts'
import type { UnitChannel } from '../schema/unit-profile.ts'
import type { Capture, DriveTone } from '../schema/unit-roles.ts'

export interface Known { readonly value: number; readonly u: number }

export interface GeneratorReach {
  readonly sourceOhm: number
  readonly levelMaxV: number
  readonly frequencyMinHz: number
  readonly frequencyMaxHz: number
  readonly tonesMost: 1 | 2
  readonly sharesClock: boolean
  readonly settleMs: number
  /** Most of its own noise, as its data sheet says; it is there while it is muted too. */
  readonly noiseVPerRootHz?: number
}

export interface DigitizerReach {
  readonly inputOhm: number
  readonly isDifferential: boolean
  /** Peak volts at the terminals of the unit, from small to large. */
  readonly rangesV: readonly number[]
  /** Before its inputs; 1 when left out. In loop-back it is left out, and ranges are so much smaller. */
  readonly divider?: number
  /** Most of its own noise at its inputs on its smallest range, as its data sheet says. */
  readonly noiseVPerRootHz?: number
  readonly sampleRatesHz: readonly number[]
  readonly samplesMost: number
}

export interface MeterReach {
  readonly bandMinHz: number
  readonly bandMaxHz: number
  /** RMS volts at the terminals of that channel. */
  read(channel: string): Promise<Measured>
}

/** What hangs at an output. Only a `load` whose ohms were measured and whose watts are rated is driven. */
export interface LoadState {
  readonly kind: 'load' | 'loudspeaker' | 'open'
  /** As measured where the digitizer looks; null where it was not measured. */
  readonly ohm: Known | null
  /** Of the leads between the terminals of the unit and there. */
  readonly leadOhm: Known
  readonly continuousW: number | null
  readonly peakW: number | null
  readonly peakS: number | null
}

/** Absolute ceilings of one channel: nothing that is asked goes beyond, whatever the unit claims. */
export interface ChannelLimits {
  /** Of the generator, RMS of the whole signal. */
  readonly driveMaxV: number
  readonly outputMaxV: number
  readonly outputMaxW: number
  /** Longest time without a pause above an eighth of the watts above. */
  readonly dwellMaxS: number
}

export interface Progress {
  readonly what: string
  readonly channel: string | null
  readonly done: number
  readonly of: number
}

export interface ProvingPort {
  readonly channels: readonly UnitChannel[]
  readonly generator: GeneratorReach
  readonly digitizer: DigitizerReach
  /** Ω that a load can be set to. */
  readonly loadStepsOhm: readonly number[]
  readonly mains: { readonly voltageV: number; readonly frequencyHz: number } | null
  /** Beside the unit, °C; left out, or null, where nothing tells. */
  ambientC?(): Promise<number | null>
  readonly limits: Readonly<Record<string, ChannelLimits>>
  readonly clock: Clock
  readonly signal: AbortSignal
  tell(progress: Progress): void
  /** Leads the generator into the digitizer, or into the unit and its outputs into the digitizer. */
  patch(to: 'loop' | 'unit'): Promise<void>
  setTones(channel: string, tones: readonly DriveTone[]): Promise<void>
  setOutput(channel: string, on: boolean): Promise<void>
  muteAll(): Promise<void>
  capture(asked: CaptureOf): Promise<Capture>
  load(channel: string): Promise<LoadState>
  connectLoad(channel: string, ohm: number | null): Promise<void>
  /** At the outputs; left out where there is none. */
  readonly meter?: MeterReach
  /** A square wave and a sine, 4 to 1 peak to peak, of this peak; left out where no generator makes it. */
  setTransient?(channel: string, peakV: number): Promise<void>
}

/** What a bench has, without anything that acts. */
export type Reach = Pick<
  ProvingPort, 'channels' | 'generator' | 'digitizer' | 'loadStepsOhm' | 'mains' | 'limits' | 'setTransient'
>

export interface CaptureOf {
  readonly channels: readonly string[]
  readonly rangeV: number
  readonly sampleHz: number
  readonly samples: number
}
