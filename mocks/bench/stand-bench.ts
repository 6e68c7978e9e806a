/**
 * A bench on which one whole unit stands: contactor and power meter in its mains, a meter that the scanner
 * leads to its rails, idle currents and outputs, sensors on it, generator, digitizer and loads.
 */
import type { Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { drawShare, type ErrorModel } from '../instruments/accuracy.ts'
import { SimDigitizer } from '../instruments/digitizer.ts'
import { identityOf, type InstrumentSetup, type SimInstrument } from '../instruments/instrument.ts'
import { SimLoadBank } from '../instruments/load-bank.ts'
import { MainsContactor } from '../instruments/mains-contactor.ts'
import { Multimeter } from '../instruments/multimeter.ts'
import { SimPowerMeter } from '../instruments/power-meter.ts'
import { Scanner } from '../instruments/scanner.ts'
import { SimSignalGenerator } from '../instruments/signal-generator.ts'
import { InterlockReader, Thermometer } from '../instruments/small-instruments.ts'
import { BenchSwitches } from '../instruments/terminals.ts'
import { signalFigures } from '../instruments/unit-specifications.ts'
import type { SimulatedUnit } from '../units/amplifier.ts'
import type { UnitWorld } from '../units/world.ts'

/** Instruments of this bench by name, with their profiles. */
const profiles = {
  contactor: 'mains-contactor-a', watts: 'power-meter-a', dmm: 'multimeter-6d-a', scanner: 'scanner-b',
  thermo: 'thermometer-a', door: 'interlock-reader-a', generator: 'signal-generator-a',
  digitizer: 'digitizer-a', loads: 'load-bank-a',
} as const
export type StandInstrument = keyof typeof profiles

const roles = {
  'mains-switch': 'contactor', 'power-meter': 'watts', 'sense-meter': 'dmm', scanner: 'scanner',
  thermometer: 'thermo', interlock: 'door', generator: 'generator', digitizer: 'digitizer', load: 'loads',
} as const

/** Before probes at rails. */
const railRatio = 10
/** Above so many volts RMS at an output a divider stands before the digitizer. */
const undividedV = 40
const dividerOf = ({ ratedW, ratedOhm }: { ratedW: number; ratedOhm: number }): number =>
  Math.sqrt(ratedW * ratedOhm) > undividedV ? 10 : 1
/** Of its ratio, %. */
const dividerPct = 0.1
const trueRatio = (ratio: number, name: string, seed: number, errors: ErrorModel): number =>
  ratio === 1 ? 1 : ratio * (1 + dividerPct / 100 * drawShare(errors, new SeededRandom(seed).fork(name)))

/** Resistors in the leads to the inputs: with the generator's own 25 Ω, 600 Ω or, for valves, 10 kΩ. */
const inLineOf = (isValve: boolean): number => isValve ? 9975 : 575

export interface StandBenchOptions {
  readonly clock: Clock
  readonly seed: number
  readonly unit: SimulatedUnit
  readonly instant?: boolean
  readonly errors?: ErrorModel
  /** In line with each input, Ω; by what the unit is when left out. */
  readonly inLineOhm?: number
}

/** What a probe of the meter lies on: volts at the tip. */
interface Tip { readonly name: string; readonly ratio: number; readonly volts: () => number }

export class StandBench {
  readonly clock: Clock
  readonly unit: SimulatedUnit
  readonly switches = new BenchSwitches()
  readonly instruments: Readonly<Record<StandInstrument, SimInstrument>>
  readonly contactor: MainsContactor
  readonly tips: readonly Tip[]
  /** Probes that came off, by name: they lie on nothing. */
  readonly off = new Set<string>()
  /** Where a person has led the generator: into the unit, or past it into the digitizer. */
  patched: 'unit' | 'loop' = 'unit'
  readonly #inLineOhm: number
  readonly #digitizer: SimDigitizer
  #seenMs: number
  #closed: readonly number[] = []

  constructor({ clock, seed, unit, instant = false, errors = 'inside', inLineOhm }: StandBenchOptions) {
    this.clock = clock
    this.unit = unit
    this.#seenMs = clock.monotonicMs()
    const { channels } = unit.truth
    this.#inLineOhm = inLineOhm ?? inLineOf(channels[0]!.output.isValve)
    this.tips = this.#tipsOf()
    const world = this.#inTime()
    const setup = (name: StandInstrument): InstrumentSetup => ({ name, clock, seed, instant, errors })
    const volts = (): number => this.#probed()
    const digitizer = new SimDigitizer(profiles.digitizer, {
      ...setup('digitizer'),
      dividers: channels.map(({ output }, i) => trueRatio(dividerOf(output), `divider-${i}`, seed, errors)),
      sourceOhm: this.sourceOhm,
      heard: channels.map((_, channel) => ({ at: 'output' as const, channel })),
    }, world)
    this.#digitizer = digitizer
    const wired = channels.map((_, channel) => channel)
    this.contactor = new MainsContactor(setup('contactor'), world)
    this.instruments = {
      contactor: this.contactor,
      watts: new SimPowerMeter(profiles.watts, setup('watts'), world),
      dmm: new Multimeter(profiles.dmm, setup('dmm'), { volts }),
      scanner: new Scanner(profiles.scanner, setup('scanner'), {
        closed: channels => { this.#closed = channels },
      }),
      thermo: new Thermometer(setup('thermo'), {
        celsius: channel => this.#celsius(world, this.places[channel - 1]!),
      }),
      door: new InterlockReader(setup('door'), this.switches),
      // A cable takes the clock of the digitizer to its reference input.
      generator: new SimSignalGenerator(profiles.generator, {
        ...setup('generator'), wired, reference: () => digitizer.core.clockError,
      }, world),
      digitizer,
      loads: new SimLoadBank(setup('loads'), world, wired),
    }
  }

  /** At the inputs of the unit, Ω. */
  get sourceOhm(): number { return signalFigures['signal-generator-a'].sourceOhm + this.#inLineOhm }

  get names(): StandInstrument[] { return Object.keys(profiles) as StandInstrument[] }

  /** Where temperatures are felt: on the unit, and in the air beside it. */
  get places(): string[] { return [...this.unit.truth.thermal.places.map(({ name }) => name), 'air'] }

  /** Mains reaches the unit. */
  get isOn(): boolean { return this.unit.supply.mains !== null }

  #celsius(world: UnitWorld, place: string): number {
    return place === 'air' ? this.unit.thermal.ambientC : world.temperature(place)
  }

  /** A person changes the leads of all channels. */
  patch(to: 'unit' | 'loop'): void {
    this.patched = to
    this.unit.truth.channels.forEach((_, channel) =>
      this.#digitizer.core.connect(channel + 1, { at: to === 'loop' ? 'input' : 'output', channel }))
  }

  /** What a person does who is told to by the hold point of this name. */
  obey(holdId: string): void {
    if (holdId === 'patch.loop') this.patch('loop')
    if (holdId === 'patch.unit') this.patch('unit')
  }

  /** Highest rail of the unit now, volts without sign. */
  highestV(): number {
    this.#advance()
    return Math.max(0, ...this.unit.truth.supply.rails.map(({ name }) => Math.abs(this.unit.rail(name))))
  }

  /** The bench file as a plain object: `urls` by instrument; `timeUrl` where the bench owns time. */
  benchFile(urls: Readonly<Record<string, string>> = {}, timeUrl?: string): object {
    const { supply, channels } = this.unit.truth
    return {
      bench: 'unit-stand', description: 'a stand for one whole unit, simulated',
      instruments: Object.fromEntries(Object.entries(profiles).map(([name, profile]) => [name, {
        profile, url: urls[name] ?? `memory:${name}`, identity: identityOf(profile, { name }),
      }])),
      roles,
      fixture: {
        kind: 'single', positions: [{ name: 'P01' }], limitOhm: 100e3, limitW: 1, limitWorkingV: 100,
        senseOhm: 1e3, senseClampV: 10, busBleederOhm: 470e3, busBleederW: 1, ratedV: 60,
      },
      stand: {
        mainsV: supply.mainsV, mainsHz: supply.mainsHz,
        probes: this.tips.map(({ name, ratio }, i) => ({ name, channel: i + 1, ratio, tipMaxV: 1000 })),
        outputs: channels.map(({ name, output }, i) => ({
          name, load: i + 1, generator: i + 1, digitizer: i + 1, divider: dividerOf(output),
          dividerPct: dividerOf(output) === 1 ? 0 : dividerPct, dividerMaxV: 300, inLineOhm: this.#inLineOhm,
        })),
        thermometers: this.places.map((name, i) => ({ name, channel: i + 1 })),
      },
      limits: { voltageMaxV: 60, currentMaxA: 0.1, partEnergyMaxJ: 0.1, rackEnergyMaxJ: 0.1 },
      use: ['attended', 'unattended'],
      ...timeUrl === undefined ? {} : { simulated: { timeUrl } },
    }
  }

  #tipsOf(): Tip[] {
    const { unit } = this
    const { supply, channels } = unit.truth
    return [
      ...supply.rails.map(({ name }) => ({ name, ratio: railRatio, volts: () => unit.rail(name) })),
      ...channels.map(({ power: { idleName } }) =>
        ({ name: idleName, ratio: 1, volts: () => unit.idle(idleName) })),
      ...channels.map(({ name }, i) => ({ name: `${name}-dc`, ratio: 1, volts: () => unit.outputDc(i) })),
    ]
  }

  /** Two closed channels join their tips: what stands there is not what either would show. */
  #probed(): number {
    this.#advance()
    const tips = this.#closed.flatMap(channel => this.tips[channel - 1] ?? [])
    const seen = tips.map(({ name, ratio, volts }) => this.off.has(name) ? 0 : volts() / ratio)
    return seen.length === 0 ? 0 : seen.reduce((sum, v) => sum + v, 0) / seen.length
  }

  #advance(): void {
    const nowMs = this.clock.monotonicMs()
    const seconds = (nowMs - this.#seenMs) / 1000
    this.#seenMs = nowMs
    if (seconds > 0) this.unit.advance(seconds)
  }

  /** The unit as instruments see it: whatever they do or read, it has lived until then. */
  #inTime(): UnitWorld {
    const { unit } = this
    const now = (): SimulatedUnit => { this.#advance(); return unit }
    return {
      drive: (channel, tones, ohm, noise) => now().drive(channel, tones, ohm + this.#inLineOhm, noise),
      undrive: channel => now().undrive(channel),
      setMains: mains => now().setMains(mains), setLoad: (...args) => now().setLoad(...args),
      earthReturn: (...args) => now().earthReturn(...args), output: (...args) => now().output(...args),
      input: (...args) => now().input(...args), mainsNow: () => now().mainsNow(),
      rail: name => now().rail(name),
      outputDc: channel => now().outputDc(channel), idle: name => now().idle(name),
      temperature: place => now().temperature(place), advance: () => { this.#advance() },
    }
  }
}
