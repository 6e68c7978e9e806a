/** Simulated multimeters (DC volts): two dialects over one core. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { Command, Deferred } from '../scpi-device/command-tree.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { fixed, scientific } from '../scpi-device/format.ts'
import { refuse } from '../scpi-device/status.ts'
import { quantise, ReadingFaults, Specimen } from './accuracy.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { meterFigures, type MeterFigures } from './specifications.ts'
import type { MeterTerminals } from './terminals.ts'

export type MeterProfile = keyof typeof meterFigures

export class Multimeter extends SimInstrument {
  readonly core: MeterCore

  constructor(profile: MeterProfile, setup: InstrumentSetup, terminals: MeterTerminals) {
    const late: { core?: MeterCore } = {}
    const core = (): MeterCore => late.core!
    super(profile, setup, (profile === 'multimeter-6d-a' ? dialectA : dialectB)(core))
    this.core = new MeterCore(meterFigures[profile], terminals, this.random, this.device.faults, setup)
    late.core = this.core
  }
}

/**
 * Noise of one reading, standard deviation in units of resolution: above it, so that no two readings repeat
 * for long.
 */
const noiseSteps = 1.2

export type MeterSetup = Pick<InstrumentSetup, 'mainsHz' | 'errors' | 'noiseFactor'>

export class MeterCore {
  readonly figures: MeterFigures
  autorange = true
  #range: number
  #speed: number
  readonly #terminals: MeterTerminals
  readonly #noise: SeededRandom
  readonly #specimens: Specimen[]
  readonly #readings: ReadingFaults
  readonly #mainsHz: number
  readonly #noiseSteps: number

  constructor(
    figures: MeterFigures, terminals: MeterTerminals, random: SeededRandom, faults: FaultPanel,
    { mainsHz = 50, errors = 'inside', noiseFactor = 1 }: MeterSetup = {},
  ) {
    this.figures = figures
    this.#terminals = terminals
    this.#mainsHz = mainsHz
    this.#noiseSteps = noiseSteps * noiseFactor
    this.#noise = random.fork('noise')
    this.#specimens = figures.ranges.map((range, i) =>
      new Specimen(range.limits, random.fork(`range-${i}`), errors))
    this.#readings = new ReadingFaults(faults)
    this.#range = figures.ranges.length - 1
    this.#speed = this.#speedOf(10)
  }

  get rangeV(): number { return this.figures.ranges[this.#range]!.rangeV }
  get nplc(): number { return this.figures.speeds[this.#speed]![0] }
  /** Time of one reading, ms. */
  get readingMs(): number {
    const { conversions, overheadMs } = this.figures
    return conversions * this.nplc * 1000 / this.#mainsHz + overheadMs
  }

  reset(): void {
    this.autorange = true
    this.#range = this.figures.ranges.length - 1
    this.#speed = this.#speedOf(10)
  }

  /** Fixes the smallest range that holds `rangeV`. */
  fixRange(rangeV: number): void {
    const found = this.figures.ranges.findIndex(range => range.rangeV >= Math.abs(rangeV) * (1 - 1e-9))
    if (found < 0) refuse(-222)
    this.#range = found
    this.autorange = false
  }

  setNplc(nplc: number): void { this.#speed = this.#speedOf(nplc) }

  /** One reading at this instant: ±Infinity when out of range. */
  read(): number {
    const trueV = this.#terminals.volts()
    if (this.autorange) {
      const fits = this.figures.ranges.findIndex(r => Math.abs(trueV) <= r.rangeV * r.overRange)
      this.#range = fits < 0 ? this.figures.ranges.length - 1 : fits
    }
    return this.#readOn(trueV)
  }

  #readOn(trueV: number): number {
    const { rangeV, overRange } = this.figures.ranges[this.#range]!
    const step = this.figures.speeds[this.#speed]![1] * rangeV
    const v = this.#specimens[this.#range]!.of(trueV, rangeV) + this.#noise.normal() * this.#noiseSteps * step
    if (Math.abs(v) > rangeV * overRange) return this.#overflow(v, trueV)
    return this.#readings.falsify(quantise(v, step), 'V')
  }

  /** Out of range; ranging by itself it goes up one and reads again, as long as there is one. */
  #overflow(v: number, trueV: number): number {
    if (!this.autorange || this.#range + 1 >= this.figures.ranges.length) return Math.sign(v) * Infinity
    this.#range++
    return this.#readOn(trueV)
  }

  /** A reading that takes its time and samples when that is over. */
  measure(print: (v: number) => string): Deferred {
    return { waitMs: this.readingMs, finish: () => print(this.read()) }
  }

  #speedOf(nplc: number): number {
    const found = this.figures.speeds.findIndex(([cycles]) => Math.abs(cycles - nplc) < 1e-6 * cycles)
    return found < 0 ? refuse(-222) : found
  }
}

type Core = () => MeterCore

function dialectA(core: Core): OwnOptions {
  const { commands, reset } = commandsA(core)
  return {
    terminator: '\r\n', errorQueue: 'plus', errorQueueMax: 20, remoteFirst: true, processMs: 1,
    inputBytesMax: 100,
    onReset: () => { core().reset(); reset() }, commands,
  }
}

function commandsA(core: Core): { commands: Command[]; reset: () => void } {
  let highInput = false
  const configure = (rangeV: number): void => {
    if (Number.isNaN(rangeV)) core().autorange = true
    else core().fixRange(rangeV)
    core().setNplc(10)
  }
  const setAuto = (on: boolean): void => {
    if (on) core().autorange = true
    else core().fixRange(core().rangeV)
  }
  const auto = { AUTO: NaN, DEFault: NaN }
  const commands: Command[] = [
    {
      pattern: 'CONFigure[:SCALar]:VOLTage:DC', parameters: [
        { kind: 'number', unit: 'V', words: auto, optional: true },
      ],
      run: ([v]) => configure(Number(v ?? NaN)),
    },
    {
      pattern: 'INPut:IMPedance:AUTO', parameters: [{ kind: 'boolean', forms: 'word' }],
      run: ([on]) => { highInput = on === 1 },
    },
    { pattern: 'INPut:IMPedance:AUTO?', run: () => highInput ? '1' : '0' },
    {
      pattern: '[SENSe:]VOLTage:DC:NPLCycles', parameters: [{ kind: 'number' }],
      run: ([n]) => core().setNplc(Number(n)),
    },
    { pattern: '[SENSe:]VOLTage:DC:NPLCycles?', run: () => scientific(core().nplc, 8) },
    {
      pattern: '[SENSe:]VOLTage:DC:RANGe[:UPPer]', parameters: [{ kind: 'number', unit: 'V' }],
      run: ([v]) => core().fixRange(Number(v)),
    },
    { pattern: '[SENSe:]VOLTage:DC:RANGe[:UPPer]?', run: () => scientific(core().rangeV, 8) },
    {
      pattern: '[SENSe:]VOLTage:DC:RANGe:AUTO', parameters: [{ kind: 'boolean', forms: 'word' }],
      run: ([on]) => setAuto(on === 1),
    },
    { pattern: '[SENSe:]VOLTage:DC:RANGe:AUTO?', run: () => core().autorange ? '1' : '0' },
    { pattern: 'READ?', run: () => core().measure(v => scientific(v, 8)) },
  ]
  return { commands, reset: () => { highInput = false } }
}

function dialectB(core: Core): OwnOptions {
  const printed = (v: number): string => {
    if (!Number.isFinite(v)) return v < 0 ? '-OVLD' : 'OVLD'
    const step = core().figures.speeds.find(([n]) => n === core().nplc)![1] * core().rangeV
    const decimals = Math.max(0, Math.ceil(-Math.log10(step)))
    return `${v < 0 ? '' : '+'}${fixed(v, decimals)} VDC`
  }
  const digit = [{ kind: 'boolean', forms: 'digit' }] as const
  return {
    terminator: '\r\n', errorQueue: 'none', prompt: '=>', processMs: 5, inputBytesMax: 80,
    onReset: () => core().reset(),
    commands: [
      {
        pattern: '[SENSe:]FUNCtion', parameters: [{ kind: 'string' }],
        run: ([name]) => { if (name !== 'VOLT:DC') refuse(-224) },
      },
      {
        pattern: 'SENSe:VOLTage:DC:RANGe', parameters: [{ kind: 'number' }],
        run: ([v]) => core().fixRange(Number(v)),
      },
      { pattern: 'SENSe:VOLTage:DC:RANGe?', run: () => String(core().rangeV) },
      {
        pattern: 'SENSe:VOLTage:DC:RANGe:AUTO', parameters: digit,
        run: ([on]) => { if (on === 1) core().autorange = true; else core().fixRange(core().rangeV) },
      },
      { pattern: 'SENSe:VOLTage:DC:RANGe:AUTO?', run: () => core().autorange ? '1' : '0' },
      {
        pattern: 'SENSe:VOLTage:DC:NPLCycles', parameters: [{ kind: 'number' }],
        run: ([n]) => core().setNplc(Number(n)),
      },
      { pattern: 'SENSe:VOLTage:DC:NPLCycles?', run: () => String(core().nplc) },
      { pattern: 'MEASure?', run: () => core().measure(printed) },
    ],
  }
}
