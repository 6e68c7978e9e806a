/** A whole bench in one object: wiring and parts, and the instruments screwed to them. */
import type { Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { drawShare, type ErrorModel } from '../instruments/accuracy.ts'
import { DcSupply } from '../instruments/dc-supply.ts'
import { HoldInRelay } from '../instruments/hold-in-relay.ts'
import type { InstrumentSetup, SimInstrument } from '../instruments/instrument.ts'
import { LcrBridge } from '../instruments/lcr-bridge.ts'
import { Multimeter } from '../instruments/multimeter.ts'
import { RelayBoard } from '../instruments/relay-board.ts'
import { Scanner } from '../instruments/scanner.ts'
import { Beacon, InterlockReader, Thermometer } from '../instruments/small-instruments.ts'
import { meterFigures, supplyOutputF } from '../instruments/specifications.ts'
import { BenchSwitches } from '../instruments/terminals.ts'
import { makePart } from '../parts/make-part.ts'
import type { FaultSpec } from '../scpi-device/faults.ts'
import { Wiring, type WiringAudit } from '../wiring/wiring.ts'
import {
  benchFileOf, benchInstruments, fixtureFigures, fixtureTolerances, positionsOf, watchRelay,
  type InstrumentName,
} from './layout.ts'
import type { Scenario } from './scenario.ts'

/** Something wrong with the fixture itself, from bench time `fromMs` to `untilMs`. */
export interface FixtureFault {
  readonly position: string
  readonly kind: keyof typeof fixtureStates
  readonly fromMs?: number
  readonly untilMs?: number
}

/** Something wrong with what all positions share, from bench time `fromMs` to `untilMs`. */
export interface SharedFault {
  readonly kind: keyof typeof sharedStates
  readonly fromMs?: number
  readonly untilMs?: number
}

export interface BenchFaults {
  readonly instruments?: Readonly<Partial<Record<InstrumentName, readonly FaultSpec[]>>>
  readonly fixture?: readonly FixtureFault[]
  readonly shared?: readonly SharedFault[]
}

export interface SimBenchOptions {
  readonly seed: number
  readonly scenario: Scenario
  readonly clock: Clock
  readonly faults?: BenchFaults
  /** Instruments answer at once: for a bench that owns time. */
  readonly instant?: boolean
  /** Baud of the links that are serial, by instrument. */
  readonly bauds?: Readonly<Partial<Record<InstrumentName, number>>>
  readonly errors?: BenchErrors
}

/**
 * How the hidden errors of this bench come about. Left out: instruments well inside, resistors exactly as
 * marked.
 */
export interface BenchErrors {
  /** Fixed errors of instruments and of the fixture's resistors. */
  readonly model: ErrorModel
  /** Meters whose readings scatter more than they should. */
  readonly noiseFactor?: Readonly<Partial<Record<InstrumentName, number>>>
}

export interface TruthLine {
  readonly position: string; readonly part: string; readonly kind: string; readonly truth: string
  readonly grades: readonly string[]; readonly dispositions: readonly string[]
  /** What befell it, with bench seconds. */
  readonly happenings: readonly { readonly kind: string; readonly atS: number }[]
}

export type Instruments = ReturnType<typeof buildInstruments>

export class SimBench {
  readonly scenario: Scenario
  readonly clock: Clock
  readonly wiring: Wiring
  readonly switches = new BenchSwitches()
  readonly instruments: Instruments
  /** Which position the bridge relays lead to. */
  bridged: number | null = null
  /** The bus meter's lead is off: it reads nothing. */
  busMeterOff = false
  readonly #originMs: number
  readonly #positions: ReturnType<typeof positionsOf>

  constructor(options: SimBenchOptions) {
    this.scenario = options.scenario
    this.clock = options.clock
    this.#originMs = options.clock.monotonicMs()
    this.#positions = positionsOf(options.scenario)
    this.wiring = buildWiring(options)
    this.instruments = buildInstruments(this, options)
    if (options.scenario.single) wireForGood(this.wiring)
    for (const [name, specs] of Object.entries(options.faults?.instruments ?? {})) {
      for (const spec of specs ?? []) this.instrument(name).device.faults.set(spec)
    }
    for (const fault of options.faults?.fixture ?? []) this.fixtureFault(fault)
    for (const fault of options.faults?.shared ?? []) this.sharedFault(fault)
  }

  /** Bench time in ms: 0 when the bench was made. */
  get nowMs(): number { return this.clock.monotonicMs() - this.#originMs }
  get positions(): readonly { readonly name: string; readonly relay: number }[] { return this.#positions }

  /** The wiring brought to this instant. Everything that reads or sets it goes through here. */
  now(): Wiring {
    this.wiring.advanceTo(this.nowMs / 1000)
    return this.wiring
  }

  instrument(name: string): SimInstrument {
    const found = this.instruments[name as InstrumentName] as SimInstrument | undefined
    if (!found) throw new Error(`there is no instrument ${name} on this bench`)
    return found
  }

  /** The bench file as a plain object, see layout.ts. */
  benchFile(urls: Readonly<Record<string, string>> = {}, timeUrl?: string): object {
    return benchFileOf(this.scenario, urls, timeUrl)
  }

  /** What the parts really are. */
  truth(): TruthLine[] {
    return this.scenario.parts.map(({ position, id, kind, truth, grades, dispositions }, index) => ({
      position, part: id, kind, truth, grades, dispositions,
      happenings: this.wiring.part(index)?.happenings.map(h => ({ kind: h.kind, atS: h.atS })) ?? [],
    }))
  }

  audit(): WiringAudit { return this.now().audit() }

  fixtureFault({ position, kind, fromMs = 0, untilMs }: FixtureFault): void {
    const index = this.#positions.findIndex(({ name }) => name === position)
    if (index < 0) throw new Error(`there is no position ${position}`)
    const [broken, mended] = fixtureStates[kind]
    this.#at(fromMs, () => this.now().fault(index, broken))
    if (untilMs !== undefined) this.#at(untilMs, () => this.now().fault(index, mended))
  }

  /** Breaks something that all positions share. */
  sharedFault({ kind, fromMs = 0, untilMs }: SharedFault): void {
    this.#at(fromMs, () => sharedStates[kind](this, true))
    if (untilMs !== undefined) this.#at(untilMs, () => sharedStates[kind](this, false))
  }

  #at(ms: number, act: () => void): void {
    if (ms <= this.nowMs) act()
    else this.clock.after(ms - this.nowMs, act)
  }
}

export function createSimBench(options: SimBenchOptions): SimBench { return new SimBench(options) }

/** No relay stands between the one part and the supply: contacts that are always closed. */
function wireForGood(wiring: Wiring): void {
  wiring.fault(0, { relay: 'welded' })
  wiring.cutoffFault('welded')
}

const fixtureStates = {
  'lead-open': [{ lead: 'open' }, { lead: null }],
  'bleeder-open': [{ bleeder: 'open' }, { bleeder: null }],
  'relay-welded': [{ relay: 'welded' }, { relay: null }],
  'relay-dead': [{ relay: 'not-closing' }, { relay: null }],
  'formal-welded': [{ formal: 'welded' }, { formal: null }],
  'formal-dead': [{ formal: 'not-closing' }, { formal: null }],
  'bleeder-half': [{ bleederFactor: 0.5 }, { bleederFactor: 1 }],
  'bleeder-double': [{ bleederFactor: 2 }, { bleederFactor: 1 }],
  'bridge-welded': [{ bridge: 'welded' }, { bridge: null }],
  'bridge-dead': [{ bridge: 'not-closing' }, { bridge: null }],
} as const

const sharedStates = {
  'bus-bleeder-open': (bench: SimBench, broken: boolean): void =>
    bench.now().busBleederFault(broken ? 'open' : null),
  'bus-meter-lead-open': (bench: SimBench, broken: boolean): void => { bench.busMeterOff = broken },
  /** The contact stays closed while its auxiliary contact follows the coil. */
  'cutoff-welded-unseen': (bench: SimBench, broken: boolean): void =>
    bench.now().cutoffFault(broken ? 'welded' : null),
  /** The contact does not close while its auxiliary contact follows the coil. */
  'cutoff-dead-unseen': (bench: SimBench, broken: boolean): void =>
    bench.now().cutoffFault(broken ? 'not-closing' : null),
  /** The bleeders never open onto the watch resistance. */
  'watch-welded': (bench: SimBench, broken: boolean): void =>
    bench.now().watchFault(broken ? 'welded' : null),
  /** The bleeders never close again: the watch resistance stays in line. */
  'watch-dead': (bench: SimBench, broken: boolean): void =>
    bench.now().watchFault(broken ? 'not-closing' : null),
} as const

function buildWiring({ scenario, seed, errors }: SimBenchOptions): Wiring {
  const { senseClampV, busBleederOhm } = fixtureFigures
  const { ambientC, rated } = scenario
  const random = new SeededRandom(seed).fork('resistors')
  const resistors = () => ({ ...resistorsOf(errors?.model, random), senseClampV })
  const parts = scenario.parts.map(({ kind, id, options }) => ({
    ...resistors(), part: makePart(kind, rated, `${seed}:${id}`, { ambientC, ...options }),
  }))
  return new Wiring({
    positions: [...parts, { ...resistors(), part: null, dummyOhm: scenario.dummyOhm }],
    supply: { outputF: supplyOutputF[benchInstruments.psu] },
    bus: {
      bleederOhm: busBleederOhm,
      meterOhm: scenario.single ? Infinity : meterFigures[benchInstruments['bus-dmm']].inputOhm,
    },
    ambientC,
  })
}

/** One position's resistors: as marked, or with an error drawn for each. */
function resistorsOf(model: ErrorModel | undefined, random: SeededRandom) {
  const off = (ohm: number, tolerance: number): number =>
    ohm * (model === undefined ? 1 : 1 + tolerance * drawShare(model, random))
  const { sense, others } = fixtureTolerances
  const { senseOhm, limitOhm, formalOhm, bleederOhm, watchOhm } = fixtureFigures
  return {
    senseOhm: off(senseOhm, sense), limitOhm: off(limitOhm, others), formalOhm: off(formalOhm, others),
    bleedOhm: off(bleederOhm, others), watchOhm: off(watchOhm, others),
  }
}

function buildInstruments(bench: SimBench, options: SimBenchOptions) {
  const { seed, clock, instant = false, bauds = {}, errors } = options
  const setup = (name: InstrumentName): InstrumentSetup => {
    const baud = bauds[name]
    const noiseFactor = errors?.noiseFactor?.[name]
    return {
      name, clock, seed, instant, ...(baud === undefined ? {} : { baud }),
      ...(errors === undefined ? {} : { errors: errors.model }),
      ...(noiseFactor === undefined ? {} : { noiseFactor }),
    }
  }
  const sense = new SenseLine(bench, seed)
  const relays = new RelayBoard(setup('relays'), relayTerminals(bench))
  const scanner = new Scanner(benchInstruments.scanner, setup('scanner'), sense)
  sense.moving = () => scanner.moving
  return {
    psu: new DcSupply(benchInstruments.psu, setup('psu'), {
      apply: setting => bench.now().setSupply(setting),
      outputV: () => bench.now().supplyOutputV(),
      currentA: () => bench.now().supplyCurrentA(),
      mode: () => bench.now().supplyMode(),
    }),
    'bus-dmm': new Multimeter(
      benchInstruments['bus-dmm'], setup('bus-dmm'),
      { volts: () => bench.busMeterOff ? 0 : bench.now().busV() }
    ),
    'sense-dmm': new Multimeter(benchInstruments['sense-dmm'], setup('sense-dmm'), sense),
    bridge: new LcrBridge(benchInstruments.bridge, setup('bridge'), bridgeTerminals(bench)),
    scanner, relays,
    cutoff: new HoldInRelay(
      setup('cutoff'), { contact: closed => bench.now().cutoff(closed) }, bench.switches
    ),
    interlock: new InterlockReader(setup('interlock'), bench.switches),
    beacon: new Beacon(setup('beacon')),
    thermometer: new Thermometer(setup('thermometer'), { celsius: channel => celsius(bench, channel) }),
  }
}

/** Volts of thermal origin in one scanner channel, either way. */
const channelOffsetV = 2e-6

/** The scanner's common line: the sense resistor of whichever channels are closed. */
class SenseLine {
  moving: () => boolean = () => false
  readonly #bench: SimBench
  readonly #indexOf = new Map<number, number>()
  readonly #offsetsV: number[]
  #closed: readonly number[] = []

  constructor(bench: SimBench, seed: number) {
    this.#bench = bench
    const positions = positionsOf(bench.scenario)
    const random = new SeededRandom(seed).fork('thermal')
    positions.forEach(({ sense }, index) => this.#indexOf.set(sense, index))
    if (bench.scenario.single) this.#closed = [0]
    this.#offsetsV = positions.map(() => random.uniform(-channelOffsetV, channelOffsetV))
  }

  closed(channels: readonly number[]): void {
    this.#closed = channels.map(channel => this.#indexOf.get(channel)).filter(index => index !== undefined)
  }

  /** Two closed channels put their sense resistors in parallel; an open line reads nothing. */
  volts(): number {
    if (this.#closed.length === 0 || this.moving()) return 0
    const wiring = this.#bench.now()
    let sum = 0
    for (const index of this.#closed) sum += wiring.senseV(index) + this.#offsetsV[index]!
    const { inputOhm } = meterFigures[benchInstruments['sense-dmm']]
    const sourceOhm = fixtureFigures.senseOhm / this.#closed.length
    return sum / this.#closed.length * inputOhm / (inputOhm + sourceOhm)
  }
}

function relayTerminals(bench: SimBench) {
  const actions = new Map<number, (held: boolean) => void>()
  positionsOf(bench.scenario).forEach(({ relay, formalRelay, bridgeRelay }, index) => {
    actions.set(relay, held => bench.now().position(index, held ? 'bus' : 'bleeder'))
    if (formalRelay !== undefined) actions.set(formalRelay, held => bench.now().formal(index, held))
    if (bridgeRelay !== undefined) actions.set(bridgeRelay, held => bridgeAt(bench, index, held))
  })
  actions.set(watchRelay, held => bench.now().bleedWatch(held))
  return {
    contact: (relay: number, held: boolean): void => actions.get(relay)?.(held),
    input: (number: number): boolean =>
      number === 1 ? bench.switches.coverClosed : number === 2 ? bench.switches.present : false,
  }
}

function bridgeAt(bench: SimBench, index: number, held: boolean): void {
  if (held) bench.bridged = index
  else if (bench.bridged === index) bench.bridged = null
  bench.now().bridgeSelect(bench.bridged)
}

function bridgeTerminals(bench: SimBench) {
  return {
    impedance: (hertz: number): { re: number; im: number } => bench.now().bridgeLine(hertz),
  }
}

/** Sensors sit on the cans in order; those without a can show the air. */
function celsius(bench: SimBench, channel: number): number {
  return channel <= bench.scenario.parts.length ? bench.now().caseTempC(channel - 1) : bench.scenario.ambientC
}
