/**
 * The jig on real roles: relays that lead one instrument at a time to the terminals, moved only while
 * both sources are off, and sources that never give a part more than the jig's own limits: above touch-safe
 * only behind a cover that was locked at a press of the button. The keeper is armed while it is in use,
 * because a source is an energy link.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { harmlessV } from '../safety/dead.ts'
import { isNear, seenOf } from '../safety/same-part.ts'
import type { Behind, Held } from '../schema/behind.ts'
import type { JigSpec, LeadName } from '../schema/bench.ts'
import type {
  Charge,
  Charged,
  Force,
  HandsAtCover,
  ImpedanceReading,
  Jig,
  JigReach,
  Pair,
  Point,
  Residuals,
  Terminal,
  ToCover,
} from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'
import type { Bridge, Roles, Source } from '../schema/roles.ts'
import { Covered } from './covered.ts'
import type { Enclosure } from './enclosure.ts'
import { chargeAndEmpty, type ChargePorts } from './jig-charge.ts'
import { beyond, jointRelays, openVolts, reachOf, relaysFor } from './jig-reach.ts'

export interface JigDeps {
  readonly roles: Roles
  readonly spec: JigSpec
  readonly clock: Clock
  readonly signal: AbortSignal
  readonly residuals: Residuals
  /** Called with what a part is about to hold. */
  readonly holds?: (held: Held) => Promise<void>
  /** Called once it was seen to be harmless, and to be there yet. */
  readonly emptied?: () => Promise<void>
  /** Called while a long wait goes on as it should. */
  readonly waits?: () => void
  /** Most volts that may be touched, V; 60 where it is left out. */
  readonly touchSafeV?: number
  /** Moves the lock of a jig with a cover; without it nothing goes above touch-safe. */
  readonly enclosure?: Enclosure
  /** Relays that lead on to where the part lies, held while anything is led to the terminals. */
  readonly onwards?: readonly number[]
  /** Called with what there is to say of touching what lies behind the cover. */
  readonly touch?: (words: string) => void
}

/** A wait is cut into pieces of this, ms: whoever watches sees that it goes on. */
const waitPieceMs = 10_000

export class BenchJig implements Jig {
  readonly reach: JigReach
  /** Another takes its place when the jig is compensated anew. */
  residuals: Residuals
  readonly #deps: JigDeps
  /** Relays that the board took, and all that may be held after a failure. */
  readonly #held = new Set<number>()
  readonly #maybeHeld = new Set<number>()
  #range: { mostOhm: number | 'any'; wires: 2 | 4 } | null = null
  #heldV = 0
  #unseen: Held | null = null
  readonly #covered: Covered | null
  /** The cover is locked and watched: the jig's own limit holds, and not touch-safe. */
  #isCovered = false
  readonly #openV: number
  /** What keeps the bleeder off the terminals, and leads on from them. */
  readonly #bleed: readonly number[]

  constructor(deps: JigDeps) {
    this.#deps = deps
    this.residuals = deps.residuals
    this.#openV = openVolts(deps)
    this.#bleed = [...deps.spec.cover ? [deps.spec.cover.bleedRelay] : [], ...deps.onwards ?? []]
    this.reach = reachOf(deps, this.#openV)
    this.#covered = this.#behindCover()
  }

  async impedance(
    pair: Pair, setup: { frequencyHz: number; levelV: number }, joined?: Pair,
  ): Promise<ImpedanceReading> {
    const bridge = this.#bridge()
    await this.#route([['bridge', pair]], joined)
    const { rOhm, xOhm, frequencyHz } = await bridge.impedance(setup)
    return this.residuals.impedance({ rOhm, xOhm, frequencyHz, levelV: setup.levelV }, pair)
  }

  async resistance(pair: Pair, setup: { mostOhm: number | 'any'; wires: 2 | 4 }): Promise<Measured> {
    const meter = this.#deps.roles['ohm-meter']
    if (!meter) throw missing('ohm-meter')
    const { mostOhm, wires } = setup
    await this.#route([['ohm-meter', pair]])
    if (this.#range?.mostOhm !== mostOhm || this.#range.wires !== wires) {
      this.#range = null
      // Ranging by itself it uses the stimulus of its lowest range for low resistance.
      const { openV, currentA } = meter.stimulus(mostOhm === 'any' ? 0 : mostOhm)
      this.#allow(openV, currentA)
      await meter.configure({ rangeOhm: mostOhm === 'any' ? 'auto' : mostOhm, wires, nplc: 1 })
      // The first reading after a change of range is no reading yet (common practice).
      await meter.readResistance()
      this.#range = setup
    }
    return this.residuals.resistance(await meter.readResistance(), pair, wires)
  }

  async force(pair: Pair, force: Force, holdMs?: number): Promise<Point> {
    const source = this.#source('source')
    await this.#route([['source', pair]])
    await this.#set(source, force)
    return this.#while([source], async () => {
      await this.rest(Math.max(source.settleMs, holdMs ?? 0))
      return source.measure()
    })
  }

  async charge(pair: Pair, charge: Charge): Promise<Charged> {
    return chargeAndEmpty({
      ...this.#ports(), lead: () => this.#route([['source', pair]]), loose: () => this.#move(this.#bleed),
    }, charge)
  }

  async stillThere(pair: Pair, seen: ImpedanceReading): Promise<boolean> {
    const isThere = isNear(seenOf(seen), await this.impedance(pair, seen))
    if (isThere) await this.#emptied()
    return isThere
  }

  async underCover<T>(what: ToCover, hands: HandsAtCover, work: () => Promise<T>): Promise<T> {
    if (!this.#covered) throw new BenchError('REFUSED', 'the jig has no cover')
    return await this.#covered.under(what, hands, work)
  }

  /**
   * Frees the cover, where there is one, once the terminals were shown to be harmless, and what `behind`
   * says to have been under volts was seen to be there and empty. Rejects TRIPPED, and leaves it locked,
   * where that fails.
   */
  async open(behind: Behind | null = null): Promise<void> {
    if (behind) {
      this.#unseen = behind
      this.#heldV = behind.volts
    }
    if (this.#covered) await this.#covered.open(behind)
    else if (behind) throw new BenchError('TRIPPED', 'the jig has no cover any more')
  }

  /** It was seen empty where it lies. */
  async #emptied(): Promise<void> {
    if (this.#unseen) await this.#deps.emptied?.()
    this.#unseen = null
  }

  #behindCover(): Covered | null {
    const { enclosure, spec, clock, signal, touch } = this.#deps
    if (!enclosure || !spec.cover) return null
    return new Covered({
      clock, signal, enclosure, spec, cover: spec.cover, openV: this.#openV,
      source: () => this.#ports(), move: relays => this.#move(relays), clear: () => this.clear(),
      impedance: (pair, setup) => this.impedance(pair, setup),
      bridge: ({ frequencyHz, levelV }) => this.#bridge().impedance({ frequencyHz, levelV }),
      emptied: () => this.#emptied(),
      mayGive: isCovered => { this.#isCovered = isCovered },
      held: () => (this.#unseen?.volts ?? 0) > this.#openV ? this.#unseen : null,
      touch: words => touch?.(words),
    })
  }

  #ports(): Omit<ChargePorts, 'lead' | 'loose'> {
    const source = this.#source('source')
    return {
      clock: this.#deps.clock, settleMs: source.settleMs,
      force: force => this.#set(source, force),
      setOutput: async on => {
        // What hung until the session had ended must not energise in another one.
        if (on) this.#deps.signal.throwIfAborted()
        await source.setOutput(on)
      },
      measure: () => source.measure(),
      rest: ms => this.rest(ms),
      holds: async (volts, forMs) => {
        this.#heldV = volts
        this.#unseen = { volts, forMs, ...this.#covered?.seen ?? unseen }
        await this.#deps.holds?.(this.#unseen)
      },
      low: () => { this.#heldV = 0 },
      lost: () => this.#covered?.lost(),
    }
  }

  async celsius(): Promise<Measured | null> {
    const { roles: { thermometer }, spec } = this.#deps
    return thermometer && spec.thermometer !== undefined
      ? await thermometer.readTemperature(spec.thermometer) : null
  }

  /** The cover contact is read as often as it must be, where it must be. */
  get isCoverSeen(): boolean { return this.#deps.enclosure?.isSeen ?? true }

  /** Somebody is to close the cover and press; nothing is energised. */
  get waitsForPress(): boolean { return this.#deps.enclosure?.isAsking ?? false }

  /** What stands at the terminals may be so much, V; 0 where that was shown to be harmless. */
  get mayHoldV(): number { return this.#heldV }

  /** What was charged, and was not seen to be there yet and empty since. */
  get unseen(): Held | null { return this.#unseen }

  /** What was charged behind the cover is known to have left the terminals. */
  get hasLost(): boolean { return this.#covered?.hasLost ?? false }

  async drive(
    pair: Pair,
    force: Force,
    control: Terminal,
    controlForce: Force,
    holdMs?: number,
  ): Promise<{ main: Point; control: Point }> {
    const [source, second] = [this.#source('source'), this.#source('second-source')]
    await this.#route([
      ['source', pair],
      ['second-source', { high: control, low: pair.low }],
    ])
    await this.#set(source, force)
    await this.#set(second, controlForce)
    return this.#while([second, source], async () => {
      await this.rest(Math.max(source.settleMs, second.settleMs, holdMs ?? 0))
      const [main, at] = [await source.measure(), await second.measure()]
      return { main, control: at }
    })
  }

  async rest(ms: number): Promise<void> {
    const { clock, signal, waits } = this.#deps
    for (let leftMs = ms; ; leftMs -= waitPieceMs) {
      await sleep(clock, Math.min(leftMs, waitPieceMs), signal)
      if (leftMs <= waitPieceMs) return
      waits?.()
    }
  }

  /** The bleeder of a covered jig lies across the terminals for so long, ms, between two looks. */
  async bleed(ms: number): Promise<void> {
    if (!this.#covered) return
    await this.clear()
    await this.rest(ms)
  }

  /** Nothing is led to the terminals any more. */
  async clear(): Promise<void> {
    await this.#hold([])
  }

  /** Nobody is locked out of what lies there: whether the freed cover was opened, or there is none. */
  async letOut(ask: () => void, isOver: () => boolean): Promise<boolean> {
    return await this.#deps.enclosure?.opened(ask, isOver) ?? true
  }

  /** The same at the end: a cover is locked from then on. */
  async close(): Promise<void> {
    await this.clear()
    await this.#deps.enclosure?.shut()
  }

  #bridge(): Bridge {
    const { bridge } = this.#deps.roles
    if (!bridge) throw missing('bridge')
    return bridge
  }

  #source(role: 'source' | 'second-source'): Source {
    const source = this.#deps.roles[role]
    if (!source) throw missing(role)
    return source
  }

  async #set(source: Source, force: Force): Promise<void> {
    if ('voltageV' in force) {
      this.#allow(Math.abs(force.voltageV), force.limitA)
      await source.forceVoltage(force.voltageV, force.limitA)
    } else {
      this.#allow(force.limitV, Math.abs(force.currentA))
      await source.forceCurrent(force.currentA, force.limitV)
    }
  }

  /** Throws OUT_OF_RANGE where the jig allows less, whatever the instrument could do. */
  #allow(volts: number, amps: number): void {
    const { spec } = this.#deps
    const { currentMaxA } = spec
    const voltageMaxV = this.#isCovered ? spec.voltageMaxV : this.#openV
    if (volts > voltageMaxV) throw beyond('volts', `${volts} V`, `${voltageMaxV} V`)
    if (amps > currentMaxA) throw beyond('current', `${amps} A`, `${currentMaxA} A`)
  }

  /**
   * Outputs on, the work, and outputs off whatever became of it: each is tried, and the first error told.
   */
  async #while<T>(sources: readonly Source[], work: () => Promise<T>): Promise<T> {
    const on: Source[] = []
    let result: { value: T } | { error: unknown }
    try {
      for (const source of sources) {
        // What hung until the session had ended must not energise in another one.
        this.#deps.signal.throwIfAborted()
        on.push(source)
        await source.setOutput(true)
      }
      result = { value: await work() }
    } catch (error) {
      result = { error }
    }
    for (const source of on.reverse()) {
      await source.setOutput(false).catch((error: unknown) => {
        if ('value' in result) result = { error }
      })
    }
    if ('error' in result) throw result.error
    return result.value
  }

  async #route(uses: readonly [LeadName, Pair][], joined?: Pair): Promise<void> {
    this.#deps.signal.throwIfAborted()
    if (this.#heldV > 0 && uses.some(([name]) => name !== 'source')) {
      throw new BenchError('TRIPPED', 'what lies in the jig was not seen to discharge', {
        expected: `below ${harmlessV} V`, got: `up to ${this.#heldV} V`,
      })
    }
    const { spec } = this.#deps
    const joint = joined ? jointRelays(spec, joined) : []
    await this.#hold([...uses.flatMap(([name, pair]) => relaysFor(spec, name, pair)), ...joint])
  }

  /** The bleeder lies across the terminals only while nothing is led to them. */
  async #hold(relays: readonly number[]): Promise<void> {
    await this.#move(relays.length === 0 ? [] : [...relays, ...this.#bleed])
  }

  /**
   * Break before make; sources are off here, since every verb switches them off before it ends. After a
   * failure a relay counts as held where that harms and as released where it is wanted, until the board
   * has said otherwise.
   */
  async #move(relays: readonly number[]): Promise<void> {
    const { jig: board } = this.#deps.roles
    if (!board) return
    const drop = [...this.#maybeHeld].filter(relay => !relays.includes(relay))
    const take = relays.filter(relay => !this.#held.has(relay))
    if (drop.length === 0 && take.length === 0) return
    for (const relay of drop) this.#held.delete(relay)
    if (drop.length > 0) await board.release(drop)
    for (const relay of drop) this.#maybeHeld.delete(relay)
    for (const relay of take) this.#maybeHeld.add(relay)
    if (take.length > 0) await board.hold(take)
    for (const relay of take) this.#held.add(relay)
    await this.rest(board.settleMs)
  }
}

const unseen = seenOf(null)
const missing = (role: string): BenchError => new BenchError('REFUSED', `no ${role} reaches the jig`)
