/** What the simulated instruments of a stand see of a unit, and do to it. Physics, in volts and amperes. */

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
  /** Volts at the output terminals at `samples` instants from now on, `sampleHz` of them a second. */
  output(channel: number, sampleHz: number, samples: number): Float64Array
  /** Volts from the source itself, for a loop-back from generator to digitizer. */
  input(channel: number, sampleHz: number, samples: number): Float64Array
  mainsNow(): MainsTaken
  /** DC volts of a rail now, by its name in the unit. */
  rail(name: string): number
  /** DC at the output terminals now. */
  outputDc(channel: number): number
  /** Idle current as volts over its resistor, by its name. */
  idle(name: string): number
  temperature(place: string): number
  /** Moves heat, charge and drift on; called with the clock. Seconds from the last call. */
  advance(seconds: number): void
}
