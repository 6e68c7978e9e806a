/** Simulated interlock reader, beacon and thermometer. */
import type { Cancel } from '../../src/base/clock.ts'
import type { Deferred } from '../scpi-device/command-tree.ts'
import { fixed } from '../scpi-device/format.ts'
import { refuse } from '../scpi-device/status.ts'
import { quantise, ReadingFaults, Specimen } from './accuracy.ts'
import { SimInstrument, type InstrumentSetup } from './instrument.ts'
import { thermometerFigures } from './specifications.ts'
import type { BenchSwitches, TemperatureTerminals } from './terminals.ts'

const bounceOpenMs = 5

/** Reads the cover contact and the presence key. Cover faults here are faults of the contact itself. */
export class InterlockReader extends SimInstrument {
  readonly #switches: BenchSwitches
  #forcedOpen = false
  #cancelBounce: Cancel | undefined

  constructor(setup: InstrumentSetup, switches: BenchSwitches) {
    super('interlock-reader-a', setup, {
      terminator: '\n', errorQueue: 'plain', processMs: 1, inputBytesMax: 64, onReset: () => {},
      commands: [
        { pattern: 'INPut?', parameters: [{ kind: 'number' }], run: ([number]) => read(Number(number)) },
      ],
    })
    this.#switches = switches
    const read = (number: number): string => {
      if (number === 1) return switches.coverClosed ? '1' : '0'
      return number === 2 ? (switches.present ? '1' : '0') : refuse(-222)
    }
    this.device.onFault = () => this.#bringFaults()
  }

  #bringFaults(): void {
    const open = this.device.faults.holds('cover-open') !== undefined
    if (open !== this.#forcedOpen) {
      this.#forcedOpen = open
      this.#switches.coverClosed = !open
    }
    const bounce = this.device.faults.holds('cover-bounce')
    if (bounce && !this.#cancelBounce) this.#bounce(Number(bounce.value ?? 1000))
  }

  #bounce(everyMs: number): void {
    this.#switches.coverClosed = false
    this.#cancelBounce = this.clock.after(bounceOpenMs, () => {
      this.#switches.coverClosed = !this.#forcedOpen
      this.#cancelBounce = this.clock.after(Math.max(1, everyMs - bounceOpenMs), () => {
        this.#cancelBounce = undefined
        if (this.device.faults.holds('cover-bounce')) this.#bounce(everyMs)
      })
    })
  }
}

export class Beacon extends SimInstrument {
  #lamp = 'DARK'
  constructor(setup: InstrumentSetup) {
    const late: { self?: Beacon } = {}
    super('beacon-a', setup, {
      terminator: '\n', errorQueue: 'plain', processMs: 1, inputBytesMax: 64,
      onReset: () => late.self!.show('DARK'),
      commands: [
        {
          pattern: 'LAMP', parameters: [{ kind: 'word', words: ['DARK', 'LIVE', 'FAULt'] }],
          run: ([w]) => late.self!.show(String(w)),
        },
        { pattern: 'LAMP?', run: () => late.self!.lamp },
      ],
    })
    late.self = this
  }
  get lamp(): string { return this.#lamp }
  show(lamp: string): void {
    this.#lamp = lamp
    this.effect('lamp', ['DARK', 'LIVE', 'FAUL'].indexOf(lamp))
  }
}

const channelsMax = 64

export class Thermometer extends SimInstrument {
  readonly #terminals: TemperatureTerminals
  readonly #specimens: Specimen[]
  readonly #readings: ReadingFaults

  constructor(setup: InstrumentSetup, terminals: TemperatureTerminals) {
    const late: { self?: Thermometer } = {}
    super('thermometer-a', setup, {
      terminator: '\r\n', errorQueue: 'plain', processMs: 1, inputBytesMax: 128, onReset: () => {},
      commands: [
        { pattern: 'UNIT:TEMPerature', parameters: [{ kind: 'word', words: ['C'] }], run: () => {} },
        { pattern: 'UNIT:TEMPerature?', run: () => 'C' },
        {
          pattern: 'MEASure:TEMPerature?', parameters: [{ kind: 'number' }],
          run: ([n]) => late.self!.measure(Number(n)),
        },
      ],
    })
    late.self = this
    this.#terminals = terminals
    this.#readings = new ReadingFaults(this.device.faults)
    const { ofReading, offsetK } = thermometerFigures
    this.#specimens = Array.from({ length: channelsMax }, (_, i) =>
      new Specimen({ ofReading, ofRange: offsetK }, this.random.fork(`channel-${i + 1}`), setup.errors))
    this.device.onFault = () => this.#tellOpenSensor()
  }

  measure(channel: number): Deferred {
    if (!(Number.isInteger(channel) && channel >= 1 && channel <= channelsMax)) refuse(-222)
    return { waitMs: thermometerFigures.readMs, finish: () => this.#print(channel) }
  }

  #print(channel: number): string {
    const { faults } = this.device
    if (faults.holds('sensor-open', channel)) return 'OPEN'
    if (faults.holds('sensor-short', channel)) return 'SHORT'
    const { noiseK, stepK } = thermometerFigures
    const shownC = this.#specimens[channel - 1]!.of(this.#terminals.celsius(channel), 1)
    const c = shownC + this.random.normal() * noiseK
    return `${fixed(this.#readings.falsify(quantise(c, stepK), `channel ${channel}`), 2)} C`
  }

  #tellOpenSensor(): void {
    const open = this.device.faults.holds('sensor-open')
    if (open) this.device.emit(`! channel ${open.value ?? 'all'} open`)
  }
}
