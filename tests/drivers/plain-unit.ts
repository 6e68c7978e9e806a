/** A unit in closed form, for simulated instruments to hear, drive, load and feed; channels from 0. */
import type { MainsFed, MainsTaken, SourceTone, UnitWorld } from '../../mocks/units/world.ts'

export class PlainUnit implements UnitWorld {
  gain = 10
  inputOhm = 50e3
  outputOhm = 0.05
  dcV = 0
  /** What it looks like to its mains. */
  mainsOhm = 460
  mains: MainsFed | null = null
  readonly sources = new Map<number, { tones: readonly SourceTone[]; sourceOhm: number; noiseVPerRootHz: number }>()
  readonly loads = new Map<number, number | null>()
  readonly earthed = new Set<number>()

  drive(channel: number, tones: readonly SourceTone[], sourceOhm: number, noiseVPerRootHz = 0): void {
    this.sources.set(channel, { tones, sourceOhm, noiseVPerRootHz })
  }
  undrive(channel: number): void { this.sources.delete(channel) }
  setMains(mains: MainsFed | null): void { this.mains = mains }
  earthReturn(channel: number, isEarthed: boolean): void {
    if (isEarthed) this.earthed.add(channel)
    else this.earthed.delete(channel)
  }
  setLoad(channel: number, ohm: number | null): void { this.loads.set(channel, ohm) }

  /** RMS of the whole signal of a source into its open end, V. */
  sourceRmsV(channel: number): number {
    return Math.hypot(...(this.sources.get(channel)?.tones ?? []).map(tone => tone.peakV / Math.SQRT2))
  }

  input(channel: number, sampleHz: number, samples: number): Float64Array {
    const { tones, sourceOhm } = this.sources.get(channel) ?? { tones: [], sourceOhm: 0 }
    const share = this.inputOhm / (this.inputOhm + sourceOhm)
    return Float64Array.from({ length: samples }, (_, i) => share * tones.reduce((sum, tone) =>
      sum + tone.peakV * Math.sin(2 * Math.PI * tone.frequencyHz * i / sampleHz + tone.phaseRad), 0))
  }

  output(channel: number, sampleHz: number, samples: number): Float64Array {
    const ohm = this.loads.get(channel) ?? null
    const share = ohm === null ? 1 : ohm / (ohm + this.outputOhm)
    return this.input(channel, sampleHz, samples).map(volts => (volts * this.gain + this.dcV) * share)
  }

  mainsNow(): MainsTaken {
    if (this.mains === null) return { rmsV: 0, rmsA: 0, watts: 0, frequencyHz: 0 }
    const { rmsV, frequencyHz, seriesOhm } = this.mains
    const rmsA = rmsV / (seriesOhm + this.mainsOhm)
    return { rmsV: rmsA * this.mainsOhm, rmsA, watts: rmsA ** 2 * this.mainsOhm, frequencyHz }
  }

  rail(): number { return 0 }
  outputDc(): number { return this.dcV }
  idle(): number { return 0 }
  temperature(): number { return 25 }
  advance(): void {}
}
