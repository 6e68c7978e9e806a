/** Simulated power meters between mains and unit: two dialects over one core. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { Deferred } from '../scpi-device/command-tree.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { fixed, scientific } from '../scpi-device/format.ts'
import type { MainsTaken, UnitWorld } from '../units/world.ts'
import { drawShare, quantise, ReadingFaults, Specimen, type Limits } from './accuracy.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { powerFigures, type PowerFigures, type PowerRange } from './unit-specifications.ts'

export type PowerProfile = keyof typeof powerFigures
/** ±Infinity beyond the largest range; hertz NaN where there is nothing to count. */
export interface PowerRead {
  readonly volts: number; readonly amps: number; readonly watts: number; readonly hertz: number
}

interface Found { readonly range: PowerRange; readonly index: number; readonly value: number }
type CoreSetup = Pick<InstrumentSetup, 'errors' | 'noiseFactor'>

export class PowerCore {
  readonly figures: PowerFigures
  readonly #noise: SeededRandom
  readonly #noiseFactor: number
  readonly #readings: ReadingFaults
  readonly #volts: readonly Specimen[]
  readonly #amps: readonly Specimen[]
  readonly #watts: Specimen
  readonly #clock: number

  constructor(
    figures: PowerFigures, random: SeededRandom, faults: FaultPanel,
    { errors = 'inside', noiseFactor = 1 }: CoreSetup,
  ) {
    this.figures = figures
    this.#noise = random.fork('noise')
    this.#noiseFactor = noiseFactor
    this.#readings = new ReadingFaults(faults)
    const draw = (limits: Limits, name: string): Specimen => new Specimen(limits, random.fork(name), errors)
    this.#volts = figures.volts.map(({ limits }, i) => draw(limits, `volts-${i}`))
    this.#amps = figures.amps.map(({ limits }, i) => draw(limits, `amps-${i}`))
    this.#watts = draw(figures.power.limits, 'watts')
    this.#clock = 1 + figures.hertz.ofReading * drawShare(errors, random.fork('clock'))
  }

  read({ rmsV, rmsA, watts, frequencyHz }: MainsTaken): PowerRead {
    const volts = this.#ranged(this.figures.volts, this.#volts, rmsV, 'V')
    const amps = this.#ranged(this.figures.amps, this.#amps, rmsA, 'A')
    const { step, noise } = this.figures.power
    const size = volts.range.size * amps.range.size
    const read = this.#watts.of(watts, size) + this.#normal(noise * size)
    const isBeyond = !Number.isFinite(volts.value) || !Number.isFinite(amps.value)
    return {
      volts: volts.value, amps: amps.value, hertz: this.#hertz(rmsV, frequencyHz),
      watts: isBeyond ? Infinity : this.#readings.falsify(quantise(read, step * size), 'W'),
    }
  }

  #ranged(ranges: readonly PowerRange[], specimens: readonly Specimen[], truth: number, name: string): Found {
    for (const [index, range] of ranges.entries()) {
      const value = Math.abs(specimens[index]!.of(truth, range.size) + this.#normal(range.noise))
      if (value > range.size * range.overRange) continue
      return { range, index, value: this.#readings.falsify(quantise(value, range.step), name) }
    }
    return { range: ranges.at(-1)!, index: ranges.length - 1, value: Infinity }
  }

  /** It counts crossings, and needs some volts for that. */
  #hertz(rmsV: number, frequencyHz: number): number {
    const { step, min, max } = this.figures.hertz
    if (rmsV < 1 || frequencyHz < min || frequencyHz > max) return NaN
    return quantise(frequencyHz * this.#clock, step)
  }

  #normal(deviation: number): number { return this.#noise.normal() * deviation * this.#noiseFactor }
}

export class SimPowerMeter extends SimInstrument {
  readonly core: PowerCore
  readonly #world: Pick<UnitWorld, 'mainsNow'>

  constructor(profile: PowerProfile, setup: InstrumentSetup, world: Pick<UnitWorld, 'mainsNow'>) {
    const late: { self?: SimPowerMeter } = {}
    super(profile, setup, (profile === 'power-meter-a' ? dialectA : dialectB)(() => late.self!))
    this.core = new PowerCore(powerFigures[profile], this.random, this.device.faults, setup)
    this.#world = world
    late.self = this
  }

  /** A reading that takes its time and is of the instant when that is over. */
  measure(print: (read: PowerRead) => string): Deferred {
    const { readingMs } = this.core.figures
    return { waitMs: readingMs, finish: () => print(this.core.read(this.#world.mainsNow())) }
  }
}

type Self = () => SimPowerMeter

function dialectA(self: Self): OwnOptions {
  const all = ({ volts, amps, watts, hertz }: PowerRead): string =>
    [volts, amps, watts, hertz].map(value => scientific(value, 6)).join(',')
  return {
    terminator: '\n', errorQueue: 'plain', errorQueueMax: 20, processMs: 2, inputBytesMax: 256,
    onReset: () => {},
    commands: [
      { pattern: 'MEASure:ALL?', run: () => self().measure(all) },
      // Ranges and filters are its own to choose; only automatic ones are simulated.
      { pattern: '[SENSe:]RANGe:AUTO', parameters: [{ kind: 'boolean', forms: 'word' }], run: () => {} },
    ],
  }
}

const keywords = [
  ['VOLTage', 'volts', 'V', 2], ['CURRent', 'amps', 'A', 5], ['POWer', 'watts', 'W', 3],
  ['FREQuency', 'hertz', 'HZ', 2],
] as const

/** One quantity at a time, with its unit, and figures of a fixed number of decimals. */
function dialectB(self: Self): OwnOptions {
  const print = (value: number, unit: string, decimals: number): string => {
    if (Number.isNaN(value)) return '----'
    return Number.isFinite(value) ? `${fixed(value, decimals)} ${unit}` : 'OVER'
  }
  return {
    terminator: '\r\n', errorQueue: 'none', processMs: 10, inputBytesMax: 64,
    onReset: () => {},
    commands: keywords.map(([keyword, name, unit, decimals]) => ({
      pattern: `MEASure:${keyword}?`,
      run: () => self().measure(read => print(read[name], unit, decimals)),
    })),
  }
}
