/**
 * The jig on real roles: relays that lead one instrument at a time to the terminals, moved only while
 * both sources are off, and sources that never give a part more than the jig's own limits: above touch-safe
 * only behind a cover that was locked at a press of the button. The keeper is armed while it is in use,
 * because a source is an energy link.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { asBenchError, BenchError, hasCode } from '../base/errors.ts'
import { formatMinute, formatSi } from '../base/format.ts'
import { harmlessV } from '../safety/dead.ts'
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
} from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'
import type { Roles, Source } from '../schema/roles.ts'
import type { Enclosure } from './enclosure.ts'
import { chargeAndEmpty, showDead, type ChargePorts } from './jig-charge.ts'
import { beyond, jointRelays, openVolts, reachOf, relaysFor } from './jig-reach.ts'

export interface JigDeps {
  readonly roles: Roles
  readonly spec: JigSpec
  readonly clock: Clock
  readonly signal: AbortSignal
  readonly residuals: Residuals
  /** Called with the volts that a part is about to hold, and with 0 once it is shown to be harmless. */
  readonly holds?: (volts: number) => Promise<void>
  /** Called while a long wait goes on as it should. */
  readonly waits?: () => void
  /** Most volts that may be touched, V; 60 where it is left out. */
  readonly touchSafeV?: number
  /** Moves the lock of a jig with a cover; without it nothing goes above touch-safe. */
  readonly enclosure?: Enclosure
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
  /** The cover is locked and watched: the jig's own limit holds, and not touch-safe. */
  #isCovered = false
  readonly #openV: number
  /** What keeps the bleeder off the terminals. */
  readonly #bleed: readonly number[]

  constructor(deps: JigDeps) {
    this.#deps = deps
    this.residuals = deps.residuals
    this.#openV = openVolts(deps)
    this.#bleed = deps.spec.cover ? [deps.spec.cover.bleedRelay] : []
    this.reach = reachOf(deps, this.#openV)
  }

  async impedance(
    pair: Pair, setup: { frequencyHz: number; levelV: number }, joined?: Pair,
  ): Promise<ImpedanceReading> {
    const { bridge } = this.#deps.roles
    if (!bridge) throw missing('bridge')
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

  async underCover<T>(volts: number, hands: HandsAtCover, work: () => Promise<T>): Promise<T> {
    const { enclosure } = this.#deps
    if (!enclosure) throw new BenchError('REFUSED', 'the jig has no cover')
    await this.clear()
    hands.say(`${enclosure.sentence}: ${formatSi(volts, 'V')}`)
    await enclosure.pressed(() => hands.isOver?.() ?? false)
    const done = await outcomeOf(async () => {
      await enclosure.lock()
      this.#isCovered = true
      this.#touch(`NOT SAFE TO TOUCH: ${formatSi(volts, 'V')} behind the cover`, hands)
      return await work()
    })
    this.#isCovered = false
    if ('error' in done) this.#throwIfLeftLocked(done.error)
    await this.open()
    if ('error' in done) throw done.error
    return done.value
  }

  /**
   * Frees the cover, where there is one, once the terminals were shown to be harmless. Rejects TRIPPED, and
   * leaves it locked, where that fails.
   */
  async open(): Promise<void> {
    const { enclosure, spec: { cover }, signal, clock } = this.#deps
    if (!enclosure || !cover) return
    try {
      await showDead({
        ...this.#ports(), loose: () => this.clear(),
        lead: () => this.#move(relaysFor(this.#deps.spec, 'source', { high: 1, low: 2 })),
      }, { bleederOhm: cover.bleederOhm, openV: this.#openV })
      await this.clear()
      await enclosure.free()
    } catch (error) {
      signal.throwIfAborted()
      throw new BenchError('TRIPPED', `the cover stays locked: ${asBenchError(error).message}`, {}, error)
    }
    this.#touch(`measured below ${formatSi(harmlessV, 'V', 1)} at ${formatMinute(clock.wallMs())}; `
      + 'prove dead before touching')
  }

  #touch(words: string, hands?: HandsAtCover): void {
    this.#deps.touch?.(words)
    hands?.say(words)
  }

  /** What was not seen to be harmless keeps the cover locked, and ends the session. */
  #throwIfLeftLocked(error: unknown): void {
    this.#deps.signal.throwIfAborted()
    if (hasCode(error, 'TRIPPED')) throw error
    if (this.#heldV > 0) throw new BenchError('TRIPPED', asBenchError(error).message, {}, error)
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
      holds: async volts => {
        if (volts > 0) this.#heldV = volts
        await this.#deps.holds?.(volts)
        this.#heldV = volts
      },
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

  /** What lies in the jig may hold so much, V; 0 where that was shown to be harmless. */
  get mayHoldV(): number { return this.#heldV }

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

  /** Nothing is led to the terminals any more. */
  async clear(): Promise<void> {
    await this.#hold([])
  }

  /** The same at the end: a cover is locked from then on. */
  async close(): Promise<void> {
    await this.clear()
    await this.#deps.enclosure?.shut()
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

async function outcomeOf<T>(work: () => Promise<T>): Promise<{ value: T } | { error: unknown }> {
  try {
    return { value: await work() }
  } catch (error) {
    return { error }
  }
}

const missing = (role: string): BenchError => new BenchError('REFUSED', `no ${role} reaches the jig`)
