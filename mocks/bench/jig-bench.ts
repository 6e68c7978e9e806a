/**
 * A bench with a jig: a bridge, an ohm-meter and two source-measure units, which relays join with the four
 * terminals that hold one part.
 */
import type { Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { Component } from '../components/component.ts'
import { ComponentFixture, type LeadPair, type Residuals } from '../components/fixture.ts'
import type { ErrorModel } from '../instruments/accuracy.ts'
import { identityOf, type InstrumentSetup, type SimInstrument } from '../instruments/instrument.ts'
import { LcrBridge } from '../instruments/lcr-bridge.ts'
import { Multimeter } from '../instruments/multimeter.ts'
import { RelayBoard } from '../instruments/relay-board.ts'
import { Scanner } from '../instruments/scanner.ts'
import { InterlockReader } from '../instruments/small-instruments.ts'
import { SourceMeasure } from '../instruments/source-measure.ts'
import { bleederOhm, coverRelays, JigCover } from './jig-cover.ts'
import { JigTray, trayJoin, trayScanner } from './jig-tray.ts'
import { Loose } from './loose.ts'

/** Instruments of this bench by name, with their profiles. */
export const jigInstruments = {
  lcr: 'lcr-bridge-a', ohms: 'multimeter-6d-a', smu: 'source-measure-a', 'base-smu': 'source-measure-b',
  matrix: 'relay-board-a',
} as const
export type JigInstrument = keyof typeof jigInstruments
export const jigInstrumentNames = Object.keys(jigInstruments) as JigInstrument[]

/** With a cover: a source of some hundred volts, and a reader of its contact and of a button. */
const coveredInstruments = { ...jigInstruments, smu: 'source-measure-c', door: 'interlock-reader-a' } as const
/** With a tray: the scanner in front of it. */
const trayInstruments = { ...jigInstruments, scan: trayScanner } as const
export type JigInstrumentName = keyof typeof coveredInstruments | keyof typeof trayInstruments

const roles = {
  bridge: 'lcr', 'ohm-meter': 'ohms', source: 'smu', 'second-source': 'base-smu', jig: 'matrix',
} as const

const leadNames = ['bridge', 'ohm-meter', 'source', 'second-source'] as const
type LeadName = (typeof leadNames)[number]
const terminals = 4
/** What the inputs of bridge and ohm-meter take from a charged part (common practice). */
const meterMostV = 3
/** What stands where is looked at so often, whatever anybody does, ms. */
const judgeEveryMs = 1000

/** Relays that join one end of a lead with each terminal, in order. */
const relaysOf = (lead: number, end: 0 | 1): number[] =>
  Array.from({ length: terminals }, (_, terminal) => (2 * lead + end) * terminals + terminal + 1)

/** Beyond the leads of the instruments: a bare wire that joins two terminals. */
const joint = { high: relaysOf(leadNames.length, 0), low: relaysOf(leadNames.length, 1) }

const endsOf = (name: LeadName): { high: number[]; low: number[] } => {
  const lead = leadNames.indexOf(name)
  return { high: relaysOf(lead, 0), low: relaysOf(lead, 1) }
}
const leads = {
  bridge: endsOf('bridge'), 'ohm-meter': endsOf('ohm-meter'), source: endsOf('source'),
  'second-source': endsOf('second-source'),
} satisfies Record<LeadName, { high: number[]; low: number[] }>

/** As contacts and leads come back when a part is changed (ours). */
export const usualWander: Residuals =
  { seriesOhm: 0.01, seriesH: 0.02e-6, strayF: 0.1e-12, strayS: 0, leadsOhm: 0.02 }

/** Leads of a foot, by themselves (ours). */
export function drawResiduals(seed: number): Residuals {
  const random = new SeededRandom(seed).fork('jig residuals')
  return {
    seriesOhm: random.uniform(5e-3, 40e-3), seriesH: random.uniform(0.03e-6, 0.15e-6),
    strayF: random.uniform(0.3e-12, 1.5e-12), strayS: random.uniform(1e-12, 20e-12),
    leadsOhm: random.uniform(0.1, 0.4),
  }
}

export interface JigBenchOptions {
  readonly clock: Clock
  readonly seed: number
  /** Instruments answer at once: for a bench that owns time, and to measure what is not theirs. */
  readonly instant?: boolean
  /** How fixed errors of instruments are drawn; well inside their limits when left out. */
  readonly errors?: ErrorModel
  /** What the jig itself adds; drawn by the seed when left out. */
  readonly residuals?: Residuals
  /** A cover that locks, and a source that gives some hundred volts behind it. */
  readonly covered?: boolean
  /** Positions of a tray; none when left out. */
  readonly tray?: number
  /** Of instruments on serial lines. */
  readonly bauds?: Readonly<Partial<Record<JigInstrument, number>>>
}

export class JigBench {
  readonly clock: Clock
  readonly instruments: Readonly<Record<string, SimInstrument>>
  /** Null on a jig without one. */
  readonly cover: JigCover | null
  readonly tray: JigTray | null
  /** What nobody should do, in words: relays moved while a source is on, two instruments on the part. */
  readonly wrongs: string[] = []
  /** Highest that each source really was told to force or to allow while it was on, volts and amperes. */
  readonly most = { volts: 0, amps: 0 }
  /** Within this about its own what the jig adds is another each time something is put in or taken out. */
  wander: Residuals | null = null
  /** Somebody bridged the interlock input of the source: it gives its volts to an open jig too. */
  interlockBridged = false
  /** Its wire is off. */
  bleederBroken = false
  readonly #fixture: ComponentFixture
  readonly #own: Residuals
  readonly #contacts: SeededRandom
  readonly #joined = new Set<number>()
  /** Out of its clips, behind the cover or in somebody's hand. */
  readonly #loose: Loose
  readonly #sources: readonly SourceMeasure[]
  /** What lies in the holder. */
  #byHand: Component | null = null
  #isTrayJoined = false
  readonly #profiles: Readonly<Partial<Record<JigInstrumentName, string>>>
  /** What each source may give now, V. */
  readonly #givesV: [number, number] = [0, 0]
  #sourceLed = [false, false]
  #meterLed = false
  #stopJudging: () => void = () => {}

  constructor(options: JigBenchOptions) {
    const {
      clock, seed, instant = false, errors = 'inside', bauds = {}, residuals, covered = false, tray = 0,
    } = options
    this.clock = clock
    if (covered && tray > 0) throw new Error('a jig with a cover has no tray')
    this.#profiles = covered ? coveredInstruments : tray > 0 ? trayInstruments : jigInstruments
    this.cover = covered ? new JigCover(clock) : null
    this.#own = residuals ?? drawResiduals(seed)
    this.#contacts = new SeededRandom(seed).fork('jig contacts')
    this.#fixture = new ComponentFixture(clock, this.#own)
    this.#loose = new Loose(clock)
    this.tray = tray > 0 ? new JigTray(clock, seed, tray, instant) : null
    const setup = (name: JigInstrumentName): InstrumentSetup => {
      const baud = name === 'door' || name === 'scan' ? undefined : bauds[name]
      return { name, clock, seed, instant, errors, ...baud === undefined ? {} : { baud } }
    }
    const [smu, baseSmu] = ([0, 1] as const).map(index => {
      const name = index === 0 ? 'smu' : 'base-smu'
      const inner = this.#fixture.sources[index]
      const profile = index === 0 ? (covered ? 'source-measure-c' : 'source-measure-a') : 'source-measure-b'
      return new SourceMeasure(profile, setup(name), {
        volts: () => inner.volts(), amps: () => inner.amps(), limited: () => inner.limited(),
        operate: setting => { inner.operate(setting); this.#note(index, setting) },
      })
    }) as [SourceMeasure, SourceMeasure]
    this.#sources = [smu, baseSmu]
    this.instruments = {
      smu, 'base-smu': baseSmu,
      lcr: new LcrBridge(jigInstruments.lcr, setup('lcr'), this.#fixture.bridge),
      ohms: new Multimeter(jigInstruments.ohms, setup('ohms'), this.#fixture.meter),
      matrix: new RelayBoard(setup('matrix'), {
        contact: (relay, held) => this.#contact(relay, held), input: () => false,
      }),
    }
    if (this.cover) {
      const door = new InterlockReader(setup('door'), this.cover.switches)
      this.instruments = { ...this.instruments, door }
      smu.core.interlockOpen = () => !this.interlockBridged && !this.cover!.switches.coverClosed
      this.cover.onChange = () => { smu.core.drive(); this.#seeExposure() }
      this.#judge()
    }
    if (this.tray) this.instruments = { ...this.instruments, scan: this.#scannerOf(this.tray, setup('scan')) }
    this.#wire()
  }

  #scannerOf(tray: JigTray, setup: InstrumentSetup): Scanner {
    tray.onChange = () => { if (this.#isTrayJoined) this.#fixture.hold(tray.seen(this.#byHand)) }
    return new Scanner(trayScanner, setup, {
      closed: channels => {
        if (this.driven && this.#isTrayJoined) this.wrongs.push('a channel moved while a source was on')
        if (this.#fixture.heldV > meterMostV) {
          this.wrongs.push(`a channel moved while a part stood at ${this.#fixture.heldV.toFixed(1)} V`)
        }
        tray.closed(channels)
      },
    })
  }

  /** Of all instruments. */
  get names(): string[] { return Object.keys(this.#profiles) }

  instrument(name: string): SimInstrument {
    const found = this.instruments[name]
    if (!found) throw new Error(`there is no instrument ${name} on this bench`)
    return found
  }

  /** What the jig adds now; leads that are moved, and contacts that wear, add something else. */
  get residuals(): Residuals { return this.#fixture.residuals }
  set residuals(residuals: Residuals) { this.#fixture.residuals = residuals }

  /** Open leads are insulated from each other as by a damp board: no source drifts away there. */
  quietLeads(): void { this.#fixture.leadsOhm = 1e9 }

  get part(): Component | null { return this.#byHand }

  /** Puts a part in, or takes out what lies there. */
  put(part: Component | null): void {
    if (this.cover?.isClosed) throw new Error('no hand reaches through a closed cover')
    if (this.wander) this.#fixture.residuals = this.#wandered(this.wander)
    if (this.cover && this.part) this.#loose.take(this.part)
    if (part) this.#loose.leave(part)
    this.#byHand = part
    this.#fixture.hold(this.tray && this.#isTrayJoined ? this.tray.seen(part) : part)
    this.#seeExposure()
  }

  /** It drops off its clips where it is, as it is charged, and lies there. */
  drop(): void {
    if (this.part) this.#loose.drop(this.part)
    this.#fixture.hold(null)
    this.#seeExposure()
  }

  /** It touches its clips again. */
  touchAgain(): void {
    const part = this.#loose.dropped
    if (!part) return
    this.#loose.leave(part)
    this.#fixture.hold(part)
    this.#seeExposure()
  }

  /** A person with a discharge stick at whatever lies behind the cover. */
  stick(): void {
    this.#loose.short()
    this.part?.short()
  }

  /** Volts that what lies in it holds. */
  get heldV(): number { return this.#fixture.heldV }

  /** Most volts of what lies loose behind the cover, or is in a hand. */
  get looseV(): number { return this.#loose.heldV }

  /** For good: nobody looks any more. */
  close(): void { this.#stopJudging() }

  /** What really stands at the terminals is switched on. */
  get driven(): boolean { return this.#sources.some(({ core }) => core.driven) }

  /** The bench file as a plain object: `urls` by instrument; `timeUrl` where the bench owns time. */
  benchFile(urls: Readonly<Record<string, string>> = {}, timeUrl?: string): object {
    const { cover } = this
    const [volts, joules] = cover ? [500, 0.25] : [60, 0.1]
    return {
      bench: 'jig-table', description: 'a jig for one part, simulated',
      instruments: Object.fromEntries(Object.entries(this.#profiles).map(([name, profile]) => [name, {
        profile, url: urls[name] ?? `memory:${name}`, identity: identityOf(profile, { name }),
      }])),
      roles: { ...roles, ...cover ? { interlock: 'door' } : {}, ...this.tray ? { scanner: 'scan' } : {} },
      fixture: {
        kind: 'single', positions: [{ name: 'P01' }], limitOhm: 100e3, limitW: 1, limitWorkingV: 100,
        senseOhm: 1e3, senseClampV: 10, busBleederOhm: 470e3, busBleederW: 1, ratedV: volts,
      },
      jig: {
        terminals, leads, joint,
        ...cover ? { voltageMaxV: volts, currentMaxA: 0.02, cover: { ...coverRelays, bleederOhm } } : {},
        ...this.tray ? { tray: { join: trayJoin, positions: this.tray.positions } } : {},
      },
      limits: { voltageMaxV: volts, currentMaxA: 0.1, partEnergyMaxJ: joules, rackEnergyMaxJ: joules },
      use: ['touch-safe'],
      ...timeUrl === undefined ? {} : { simulated: { timeUrl } },
    }
  }

  #wandered(wander: Residuals): Residuals {
    const names = Object.keys(wander) as (keyof Residuals)[]
    const near = (name: keyof Residuals): number =>
      Math.max(0, this.#own[name] + this.#contacts.uniform(-wander[name], wander[name]))
    return Object.fromEntries(names.map(name => [name, near(name)])) as unknown as Residuals
  }

  #note(
    index: 0 | 1, { mode, value, limit, on }: { mode: string; value: number; limit: number; on: boolean },
  ): void {
    const [volts, amps] = mode === 'voltage' ? [Math.abs(value), limit] : [limit, Math.abs(value)]
    this.#givesV[index] = on ? volts : 0
    if (on) {
      this.most.volts = Math.max(this.most.volts, volts)
      this.most.amps = Math.max(this.most.amps, amps)
    }
    this.#seeExposure()
  }

  /** What could be touched now, whatever any program believes. */
  #seeExposure(): void {
    const given = this.#givesV.filter((_, index) => this.#sourceLed[index])
    if (this.cover?.isLocked === false) {
      this.cover.see(Math.max(this.#fixture.heldV, this.#loose.heldV, ...given))
    }
  }

  /** What absorption brings back comes while nobody does anything. */
  #judge(): void {
    this.#seeExposure()
    this.#loose.see(volts => this.cover!.inHand(volts))
    this.#seeMeter()
    this.#stopJudging = this.clock.after(judgeEveryMs, () => this.#judge())
  }

  #seeMeter(): void {
    if (!this.#meterLed || this.#fixture.heldV <= meterMostV) return
    this.wrongs.push(`a meter was joined with a part that stood at ${this.#fixture.heldV.toFixed(1)} V`)
  }

  #contact(relay: number, held: boolean): void {
    if (this.driven) this.wrongs.push(`relay ${relay} moved while a source was on`)
    if (held) this.#joined.add(relay)
    else this.#joined.delete(relay)
    this.#wire()
    if (this.cover) this.cover.freed = this.#joined.has(coverRelays.lockRelay)
  }

  #joinTray(): void {
    const isJoined = trayJoin.every(relay => this.#joined.has(relay))
    if (!this.tray || isJoined === this.#isTrayJoined) return
    this.#isTrayJoined = isJoined
    this.#fixture.hold(isJoined ? this.tray.seen(this.#byHand) : this.#byHand)
  }

  #wire(): void {
    this.#joinTray()
    const pairs = leadNames.map(name => this.#pairOf(name, leads[name]))
    const [bridge, meter, source, second] = pairs as [LeadPair, LeadPair, LeadPair, LeadPair]
    const apart = [bridge, meter, source ?? second].filter(pair => pair !== null)
    if (apart.length > 1) this.wrongs.push('two instruments are joined with the terminals')
    this.#meterLed = (bridge ?? meter) !== null
    this.#seeMeter()
    // Bridge and ohm-meter are never joined together, so one pair of leads stands for both.
    const joined = this.#pairOf('joint', joint)
    if (joined && (meter ?? source ?? second)) this.wrongs.push('a wire joins terminals beside an instrument')
    this.#fixture.wire([source, second], bridge ?? meter, joined)
    if (this.cover) {
      const isOff = this.bleederBroken || this.#joined.has(coverRelays.bleedRelay)
      this.#fixture.bleed(isOff ? Infinity : bleederOhm)
    }
    this.#sourceLed = [source !== null, second !== null]
    this.#seeExposure()
  }

  #pairOf(name: string, ends: { high: readonly number[]; low: readonly number[] }): LeadPair {
    const at = (relays: readonly number[]): number | undefined => {
      const joined = relays.flatMap((relay, terminal) => this.#joined.has(relay) ? [terminal] : [])
      if (joined.length > 1) this.wrongs.push(`a lead of the ${name} joins two terminals`)
      return joined[0]
    }
    const [high, low] = [at(ends.high), at(ends.low)]
    return high === undefined || low === undefined ? null : [high, low]
  }
}
