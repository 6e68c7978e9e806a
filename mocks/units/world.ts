/**
 * What the simulated instruments of a stand see of a unit, and do to it. Physics, in volts and amperes.
 * Channels count from 0, in the order in which the unit names them. Calls that read change nothing.
 */

/** One sine as the generator really gives it: with its errors, and its own harmonics as further sines. */
export interface SourceTone {
  readonly frequencyHz: number; readonly peakV: number; readonly phaseRad: number
}

export interface MainsFed { readonly rmsV: number; readonly frequencyHz: number; readonly seriesOhm: number }
export interface MainsTaken {
  readonly rmsV: number; readonly rmsA: number; readonly watts: number; readonly frequencyHz: number
}

export interface UnitWorld {
  /**
   * What the source gives into an open end, and its resistance; an empty list is a muted source. The noise of
   * the source itself, in volts over the root of hertz, is heard muted or not.
   */
  drive(channel: number, tones: readonly SourceTone[], sourceOhm: number, noiseVPerRootHz?: number): void
  /** Nothing at the input at all: it hangs open. */
  undrive(channel: number): void
  /** Null where all poles are open. */
  setMains(mains: MainsFed | null): void
  /** Null where the output stands open. */
  setLoad(channel: number, ohm: number | null): void
  /** One side of this output is joined to earth, as by an instrument with an earthed return, or is not. */
  earthReturn(channel: number, isEarthed: boolean): void
  /**
   * Volts at the output terminals at `samples` instants from now on, `sampleHz` of them a second, in the
   * steady state and without all above half of `sampleHz`: no folding, whatever the instrument makes of it.
   * The record goes on with time: what is turned before its end changes the rest of it. Read it at its end.
   */
  output(channel: number, sampleHz: number, samples: number): Float64Array
  /** Volts from the source itself, for a loop-back from generator to digitizer. */
  input(channel: number, sampleHz: number, samples: number): Float64Array
  mainsNow(): MainsTaken
  /** DC volts of a rail now, by its name in the unit. */
  rail(name: string): number
  /** DC at the output terminals now. */
  outputDc(channel: number): number
  /** Volts over the resistor of an idle current, by its name. */
  idle(name: string): number
  temperature(place: string): number
  /** Moves heat, charge and drift on; called with the clock. Seconds from the last call. */
  advance(seconds: number): void
}
