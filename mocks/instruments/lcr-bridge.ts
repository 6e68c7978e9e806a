/** Simulated LCR bridges: one triggered over the bus, one hand-held that measures all the time. */
import type { Clock } from '../../src/base/clock.ts'
import type { SeededRandom } from '../../src/base/random.ts'
import type { Command, Deferred } from '../scpi-device/command-tree.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { scientific } from '../scpi-device/format.ts'
import { refuse } from '../scpi-device/status.ts'
import { drawShare, type ErrorModel, ReadingFaults } from './accuracy.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { bridgeFigures } from './specifications.ts'
import type { BridgeTerminals } from './terminals.ts'

export type BridgeProfile = keyof typeof bridgeFigures
type BridgeFigures = (typeof bridgeFigures)[BridgeProfile]

export class LcrBridge extends SimInstrument {
  readonly core: BridgeCore
  constructor(profile: BridgeProfile, setup: InstrumentSetup, terminals: BridgeTerminals) {
    const late: { core?: BridgeCore } = {}
    super(profile, setup, (profile === 'lcr-bridge-a' ? dialectA : dialectB)(() => late.core!))
    const { measureMs } = bridgeFigures[profile]
    this.core = new BridgeCore(
      this.clock, terminals, this.random, this.device.faults, bridgeFigures[profile],
      this.instant ? 0 : measureMs, setup.errors)
    late.core = this.core
  }
}

/** Series capacitance and resistance; undefined when it cannot measure what it sees. */
export interface SeriesReading { capacitanceF: number; resistanceOhm: number }

/** Above this it sees an open circuit, below it a short, ohm. */
const openOhm = 1e8
const shortOhm = 1e-3

export class BridgeCore {
  frequencyHz = 1000
  levelV = 1
  readonly measureMs: number
  readonly clock: Clock
  readonly #terminals: BridgeTerminals
  readonly #noise: SeededRandom
  readonly #readings: ReadingFaults
  readonly #figures: BridgeFigures
  /** Hidden errors of reactance and resistance, as shares of the stated limit. */
  readonly #errorX: number
  readonly #errorR: number
  /** Whether the limit is the whole of the specification, or its basic part alone. */
  readonly #whole: boolean

  constructor(
    clock: Clock, terminals: BridgeTerminals, random: SeededRandom, faults: FaultPanel,
    figures: BridgeFigures, measureMs: number, errors: ErrorModel = 'inside',
  ) {
    this.clock = clock
    this.#terminals = terminals
    this.#noise = random.fork('noise')
    this.#readings = new ReadingFaults(faults)
    this.#figures = figures
    this.measureMs = measureMs
    const hidden = random.fork('hidden')
    this.#errorX = drawShare(errors, hidden)
    this.#errorR = drawShare(errors, hidden)
    this.#whole = errors !== 'inside'
  }

  reset(): void { this.frequencyHz = 1000; this.levelV = 1 }

  measure(): SeriesReading | undefined {
    const { re, im } = this.#terminals.impedance(this.frequencyHz)
    const size = Math.hypot(re, im)
    if (!(size < openOhm && size > shortOhm)) return undefined
    const { basic, zsOhm, yoS } = this.#figures
    const limit = this.#whole ? basic * (1 + zsOhm / size + size * yoS) : basic
    const noise = (): number => this.#noise.normal() * basic / 20
    // Within its whole specification the vector errs by a share of its length; else of the reactance alone.
    const reactance = im + (this.#whole ? size : im) * (limit * this.#errorX + noise())
    const capacitanceF = -1 / (2 * Math.PI * this.frequencyHz * reactance)
    return {
      capacitanceF: this.#readings.falsify(capacitanceF, 'F'),
      resistanceOhm: re + size * (limit * this.#errorR + noise()),
    }
  }
}

type Core = () => BridgeCore

function dialectA(core: Core): OwnOptions {
  const trigger = new TriggeredBridge(core)
  const limits = (low: number, high: number, v: number): number => v >= low && v <= high ? v : refuse(-222)
  const commands: Command[] = [
    {
      pattern: 'FUNCtion:IMPedance[:TYPE]', parameters: [
        { kind: 'word', words: ['CSRS', 'CSD', 'CPD', 'RX', 'ZTD'] },
      ],
      run: ([type]) => { if (type !== 'CSRS') refuse(-224) },
    },
    { pattern: 'FUNCtion:IMPedance[:TYPE]?', run: () => 'CSRS' },
    {
      pattern: 'FREQuency[:CW]', parameters: [{ kind: 'number', unit: 'HZ' }],
      run: ([hz]) => { core().frequencyHz = limits(20, 100e3, Number(hz)) },
    },
    { pattern: 'FREQuency[:CW]?', run: () => scientific(core().frequencyHz, 5) },
    {
      pattern: 'VOLTage[:LEVel]', parameters: [{ kind: 'number', unit: 'V' }],
      run: ([v]) => { core().levelV = limits(0.01, 2, Number(v)) },
    },
    { pattern: 'VOLTage[:LEVel]?', run: () => scientific(core().levelV, 5) },
    {
      pattern: 'APERture', parameters: [{ kind: 'word', words: ['SHORt', 'MEDium', 'LONG'] }],
      run: ([word]) => { trigger.aperture = String(word) },
    },
    { pattern: 'APERture?', run: () => trigger.aperture },
    {
      pattern: 'TRIGger:SOURce', parameters: [{ kind: 'word', words: ['INTernal', 'BUS'] }],
      run: ([word]) => { trigger.source = String(word) },
    },
    { pattern: 'TRIGger:SOURce?', run: () => trigger.source },
    { pattern: 'TRIGger[:IMMediate]', run: () => trigger.start() },
    { pattern: 'FETCh?', run: () => trigger.fetch() },
  ]
  return {
    terminator: '\n', errorQueue: 'plus', processMs: 3, inputBytesMax: 128,
    onReset: () => { core().reset(); trigger.reset() }, commands,
  }
}

class TriggeredBridge {
  source = 'INT'
  aperture = 'MED'
  #readyAtMs: number | undefined
  readonly #core: Core
  constructor(core: Core) { this.#core = core }

  reset(): void { this.source = 'INT'; this.aperture = 'MED'; this.#readyAtMs = undefined }
  start(): void {
    if (this.source !== 'BUS') refuse(-211)
    this.#readyAtMs = this.#core().clock.monotonicMs() + this.#core().measureMs
  }
  fetch(): Deferred | string {
    const core = this.#core()
    const nowMs = core.clock.monotonicMs()
    if (this.source === 'BUS' && this.#readyAtMs === undefined) return '+9.90000E+37,+9.90000E+37,-1'
    const waitMs = this.source === 'BUS' ? Math.max(0, this.#readyAtMs! - nowMs) : core.measureMs
    return { waitMs, finish: () => this.#print(core.measure()) }
  }
  #print(reading: SeriesReading | undefined): string {
    if (!reading) return '+9.90000E+37,+9.90000E+37,+1'
    return `${scientific(reading.capacitanceF, 5)},${scientific(reading.resistanceOhm, 5)},+0`
  }
}

/** Passes over in silence what it does not know: there is no error queue, and a bad query gets no answer. */
function dialectB(core: Core): OwnOptions {
  const shown = { a: 'C', b: 'D', circuit: 'SER' }
  const fetch = (): Deferred => ({
    waitMs: core().measureMs,
    finish: () => {
      const reading = core().measure()
      if (!reading) return 'OL,OL'
      const loss = 2 * Math.PI * core().frequencyHz * reading.capacitanceF * reading.resistanceOhm
      return `${plain(reading.capacitanceF)},${loss.toFixed(4)}`
    },
  })
  const setFrequency = (hz: number): void => {
    if (![100, 120, 1000, 10000].includes(hz)) refuse(-222)
    core().frequencyHz = hz
  }
  const commands: Command[] = [
    {
      pattern: 'FUNCtion:IMPA', parameters: [{ kind: 'word', words: ['C'] }],
      run: ([w]) => { shown.a = String(w) },
    },
    { pattern: 'FUNCtion:IMPA?', run: () => shown.a },
    {
      pattern: 'FUNCtion:IMPB', parameters: [{ kind: 'word', words: ['D'] }],
      run: ([w]) => { shown.b = String(w) },
    },
    { pattern: 'FUNCtion:IMPB?', run: () => shown.b },
    {
      pattern: 'FUNCtion:EQUivalent', parameters: [{ kind: 'word', words: ['SERies'] }],
      run: ([w]) => { shown.circuit = String(w) },
    },
    { pattern: 'FUNCtion:EQUivalent?', run: () => shown.circuit },
    { pattern: 'FREQuency', parameters: [{ kind: 'number' }], run: ([hz]) => setFrequency(Number(hz)) },
    { pattern: 'FREQuency?', run: () => String(core().frequencyHz) },
    { pattern: 'FETCh?', run: fetch },
  ]
  return {
    terminator: '\r\n', errorQueue: 'none', echo: true, processMs: 8, inputBytesMax: 64,
    onReset: () => core().reset(), commands,
  }
}

/** Five digits with a two-digit exponent: `4.7021e-05`. */
const plain = (value: number): string => value.toExponential(4).replace(/e([+-])(\d)$/, 'e$10$2')
