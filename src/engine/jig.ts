/**
 * The jig on real roles: relays that lead one instrument at a time to the terminals, moved only while
 * both sources are off, and sources that never give a part more than the jig's own limits. Low energy
 * only; the keeper is armed while it is in use, because a source is an energy link.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { harmlessV } from '../safety/dead.ts'
import type { JigSpec, LeadName } from '../schema/bench.ts'
import type {
  Charge,
  Charged,
  Force,
  ImpedanceReading,
  Jig,
  JigReach,
  Pair,
  Point,
  Residuals,
  SourceReach,
  Terminal,
} from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'
import type { Roles, Source } from '../schema/roles.ts'
import { chargeAndEmpty } from './jig-charge.ts'

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

  constructor(deps: JigDeps) {
    this.#deps = deps
    this.residuals = deps.residuals
    this.reach = reachOf(deps)
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
    const source = this.#source('source')
    return chargeAndEmpty({
      clock: this.#deps.clock, settleMs: source.settleMs,
      lead: () => this.#route([['source', pair]]),
      loose: () => this.clear(),
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
    }, charge)
  }

  async celsius(): Promise<Measured | null> {
    const { roles: { thermometer }, spec } = this.#deps
    return thermometer && spec.thermometer !== undefined
      ? await thermometer.readTemperature(spec.thermometer) : null
  }

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
    const { voltageMaxV, currentMaxA } = this.#deps.spec
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

  /**
   * Break before make; sources are off here, since every verb switches them off before it ends. After a
   * failure a relay counts as held where that harms and as released where it is wanted, until the board
   * has said otherwise.
   */
  async #hold(relays: readonly number[]): Promise<void> {
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

/** The relays that join the leads of one instrument with a pair; none where it is wired for good. */
export function relaysFor(spec: JigSpec, name: LeadName, { high, low }: Pair): number[] {
  const leads = spec.leads?.[name]
  if (!leads) {
    if (high !== 1 || low !== 2)
      throw beyond('terminals', `${high} to ${low}`, `${name} is wired from 1 to 2 for good`)
    return []
  }
  return bothOf(spec, leads, { high, low })
}

/** The relays that join two terminals by the bare wire of the jig. */
function jointRelays(spec: JigSpec, pair: Pair): number[] {
  if (!spec.joint) throw new BenchError('REFUSED', 'the jig has no wire that joins two terminals')
  return bothOf(spec, spec.joint, pair)
}

function bothOf(
  spec: JigSpec, leads: { readonly high: readonly number[]; readonly low: readonly number[] },
  { high, low }: Pair,
): number[] {
  const relays = [leads.high[high - 1], leads.low[low - 1]]
  if (relays.includes(undefined))
    throw beyond('terminals', `${high} to ${low}`, `${spec.terminals} terminals`)
  return relays as number[]
}

function reachOf({ roles, spec }: JigDeps): JigReach {
  const { bridge, 'ohm-meter': meter } = roles
  const led = (name: LeadName): boolean => spec.leads === undefined || spec.leads[name] !== undefined
  const sourceReach = (role: 'source' | 'second-source'): SourceReach | null => {
    const source = roles[role]
    return source && led(role)
      ? {
          voltageMaxV: Math.min(source.ratings.voltageMaxV, spec.voltageMaxV),
          currentMaxA: Math.min(source.ratings.currentMaxA, spec.currentMaxA),
        }
      : null
  }
  return {
    terminals: spec.terminals,
    bridge: bridge && led('bridge') ? { frequenciesHz: bridge.frequenciesHz, levelsV: bridge.levelsV } : null,
    joint: spec.joint !== undefined,
    ohms: meter && led('ohm-meter') ? { wires: meter.wires } : null,
    source: sourceReach('source'),
    secondSource: sourceReach('second-source'),
  }
}

const missing = (role: string): BenchError => new BenchError('REFUSED', `no ${role} reaches the jig`)
const beyond = (what: string, got: string, expected: string): BenchError =>
  new BenchError('OUT_OF_RANGE', `${what} at the jig`, { expected, got })
