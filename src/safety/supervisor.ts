/**
 * Judges every reading before anything else sees it, holds the latch, and is the only door to energy:
 * a set-point that is above the envelope, or that comes after a latch, does not get through. No I/O;
 * time is in the readings.
 */
import { BenchError } from '../base/errors.ts'
import { assert } from '../base/assert.ts'
import { formatSi } from '../base/format.ts'
import type { Channel, Reading } from '../schema/reading.ts'
import type { Limit, LimitState } from './limit.ts'
import { freshLimit, stepLimit, tellsNothing } from './limit.ts'
import type { Verdict } from './verdict.ts'
import { condemned, untold } from './verdict.ts'
import type { Watch } from './watch.ts'

/** What a limit, a stale channel or a fault demands. */
export interface Demand {
  readonly id: string
  readonly reaction: 'stop' | 'drop'
  readonly position?: string
  /** What a drop says of the part. */
  readonly verdict?: Verdict
  /** The readings that decided it told nothing: unknown is not safe, and no sign of a fault either. */
  readonly isBlind?: true
  readonly text: string
  /** When the reading that decided it was taken, monotonic ms. */
  readonly atMs: number
}

/** A channel that must be read again within `maxAgeMs`, or the bench stops. */
export interface Freshness { readonly channel: string; readonly maxAgeMs: number }

export interface Ceiling { readonly voltageV: number; readonly currentA: number }

interface Watched { limit: Limit; state: LimitState; readonly allowances: Set<Allowance> }
interface Allowance { readonly untilMs: number }
/** One watch stands on the list of every channel that it sees. */
interface Watching { readonly watch: Watch; latched: boolean }

export class Supervisor {
  #limits: Watched[][] = []
  #byId = new Map<string, Watched>()
  #watches: Watching[][] = []
  #channels: readonly Channel[]
  #freshness = new Map<number, { maxAgeMs: number; lastMs: number; name: string }>()
  #latch: Demand | null = null
  #ceiling: Ceiling = { voltageV: 0, currentA: 0 }
  #dropped = new Set<string>()

  constructor(channels: readonly Channel[]) {
    this.#channels = channels
    this.#limits = channels.map(() => [])
    this.#watches = channels.map(() => [])
  }

  /**
   * Loads limits, watches and the ceiling of set-points. Replaces what was loaded; never clears the latch.
   */
  arm(
    limits: readonly Limit[], freshness: readonly Freshness[], ceiling: Ceiling, nowMs: number,
    watches: readonly Watch[] = [],
  ): void {
    this.#limits = this.#channels.map(() => [])
    this.#freshness.clear()
    this.#byId.clear()
    this.#watches = this.#channels.map(() => [])
    for (const limit of limits) this.addLimit(limit)
    for (const watch of watches) this.addWatch(watch)
    for (const { channel, maxAgeMs } of freshness) {
      this.#freshness.set(this.#indexOf(channel), { maxAgeMs, lastMs: nowMs, name: channel })
    }
    this.#ceiling = ceiling
  }

  addLimit(limit: Limit): void {
    assert(limit.reaction === 'stop' || limit.position !== undefined,
      `${limit.id} drops, so it names a position`)
    assert(limit.samples >= 1, `${limit.id} needs at least one sample`)
    assert(!this.#byId.has(limit.id), `${limit.id} is there already`)
    const watched: Watched = { limit, state: freshLimit, allowances: new Set() }
    this.#limits[this.#indexOf(limit.channel)]!.push(watched)
    this.#byId.set(limit.id, watched)
  }

  /** A watch that a kind of run brings, beside those that it was armed with. */
  addWatch(watch: Watch): void {
    assert(watch.reaction === 'stop' || watch.position !== undefined,
      `${watch.id} drops, so it names a position`)
    const watching: Watching = { watch, latched: false }
    for (const channel of watch.channels) this.#watches[this.#indexOf(channel)]!.push(watching)
  }

  /** The bound of a limit as it stands now; null where there is no such limit. */
  bound(id: string): number | null {
    return this.#byId.get(id)?.limit.bound ?? null
  }

  /** Replaces the bound of a limit; a limit lowered below the present value trips at the next reading. */
  setBound(id: string, bound: number): void {
    const found = this.#byId.get(id)
    assert(found, `no limit ${id}`)
    found.limit = { ...found.limit, bound }
  }

  /**
   * Until `untilMs` (monotonic) readings past this limit are counted and do not cross it: what is being done
   * explains them. Several may stand at once. Gives what ends this one before its time. A position that was
   * dropped has no limits any more, and nothing to allow.
   */
  allow(id: string, untilMs: number): () => void {
    const watched = this.#byId.get(id)
    if (!watched) return () => {}
    const allowance: Allowance = { untilMs }
    watched.allowances.add(allowance)
    return () => { watched.allowances.delete(allowance) }
  }

  /** Judges one reading; called first and synchronously. Returns what must be done now, if anything. */
  judge(reading: Reading): Demand | null {
    const fresh = this.#freshness.get(reading.channel.index)
    if (fresh) fresh.lastMs = reading.atMs
    let demand: Demand | null = null
    for (const watched of this.#limits[reading.channel.index]!) {
      const before = watched.state
      watched.state = stepLimit(watched.limit, before, reading, isAllowed(watched, reading.atMs))
      if (!watched.state.latched || before.latched) continue
      const found = this.#demand(watched, reading)
      if (demand === null || found.reaction === 'stop') demand = found
    }
    for (const watching of this.#watches[reading.channel.index]!) {
      if (watching.latched) continue
      const why = watching.watch.see(reading)
      if (why === null) continue
      watching.latched = true
      const found = demandOf(watching.watch, reading, why)
      if (demand === null || found.reaction === 'stop' || sparesPart(found, demand)) demand = found
    }
    return demand === null ? null : this.#take(demand)
  }

  /** A channel that has not been read in time. Call it at least as often as the shortest maximum age. */
  checkFreshness(nowMs: number): Demand | null {
    for (const { maxAgeMs, lastMs, name } of this.#freshness.values()) {
      if (nowMs - lastMs < maxAgeMs) continue
      return this.#take({
        id: `stale.${name}`, reaction: 'stop', atMs: nowMs,
        text: `${name} has not been read for ${Math.round(nowMs - lastMs)} ms, ${maxAgeMs} ms at most`,
      })
    }
    return null
  }

  /** A fault that no reading shows (instrument gone, host slept, store failed) latches like any other. */
  fault(id: string, text: string, atMs: number): Demand {
    return this.#take({ id, reaction: 'stop', text, atMs })!
  }

  /** Stops watching a position that is off the bus, so that it cannot trip what goes on. */
  release(position: string): void {
    this.#dropped.add(position)
    for (const [index, list] of this.#limits.entries()) {
      if (this.#channels[index]!.position !== position) continue
      this.#limits[index] = list.filter(({ limit }) => limit.reaction === 'stop')
      this.#freshness.delete(index)
    }
    this.#watches = this.#watches.map(list => list.filter(({ watch }) => watch.position !== position))
  }

  get latched(): Demand | null { return this.#latch }

  /** Throws TRIPPED after a latch and REFUSED above the ceiling; returns when the set-point may go out. */
  permit(voltageV: number, currentA: number): void {
    if (this.#latch) throw new BenchError('TRIPPED', `energy is withheld: ${this.#latch.text}`)
    const { voltageV: mostV, currentA: mostA } = this.#ceiling
    if (!(voltageV <= mostV) || !(currentA <= mostA)) {
      throw new BenchError('REFUSED', 'set-point above the envelope', {
        expected: `at most ${mostV} V and ${mostA} A`, got: `${voltageV} V and ${currentA} A`,
      })
    }
  }

  /** Throws TRIPPED for a position that was dropped: nothing puts it back on the bus in this run. */
  permitConnect(position: string): void {
    if (this.#latch) throw new BenchError('TRIPPED', `energy is withheld: ${this.#latch.text}`)
    if (this.#dropped.has(position)) {
      throw new BenchError('TRIPPED', `${position} was dropped and stays on its bleeder`)
    }
  }

  #take(demand: Demand): Demand | null {
    if (demand.reaction === 'drop') {
      if (this.#dropped.has(demand.position!)) return null
      return demand
    }
    this.#latch ??= demand
    return demand
  }

  #demand({ limit, state }: Watched, reading: Reading): Demand {
    const { unit } = reading.channel
    const got = reading.quality === 'good'
      ? formatSi(reading.value, unit, 4)
      : `a reading that is ${reading.quality}`
    const past = limit.side === 'above' ? 'at or above' : 'at or below'
    const { verdict = condemned, says } = limit.explained?.(reading) ?? limit
    return {
      id: limit.id, reaction: limit.reaction, atMs: reading.atMs, ...state.isBlind ? { isBlind: true } : {},
      ...(limit.position === undefined ? {}
        : { position: limit.position, verdict: state.isBlind ? untold : verdict }),
      text: `${reading.channel.name} ${got}, ${past} ${formatSi(limit.bound, unit, 4)}: ${says}`,
    }
  }

  #indexOf(name: string): number {
    const channel = this.#channels.find(candidate => candidate.name === name)
    assert(channel, `no channel ${name}`)
    return channel.index
  }
}

function demandOf({ id, reaction, position, verdict }: Watch, reading: Reading, why: string): Demand {
  return {
    id, reaction, atMs: reading.atMs, text: `${reading.channel.name} ${why}`,
    ...tellsNothing(reading) ? { isBlind: true } : {},
    ...(position === undefined ? {} : { position, verdict: verdict ?? condemned }),
  }
}

/**
 * Two drops of one part at one reading: it leaves either way, and the one that says less of the part knows
 * something of its sensor that the other does not.
 */
const sparesPart = (found: Demand, before: Demand): boolean =>
  before.reaction === 'drop' && saysOfPart(found) < saysOfPart(before)
const saysOfPart = ({ verdict }: Demand): number =>
  verdict === undefined || verdict.grade === 'reject' ? 2 : verdict.disposition === 'form' ? 1 : 0

/** Those that ran out are forgotten. */
function isAllowed({ allowances }: Watched, atMs: number): boolean {
  for (const allowance of allowances) if (atMs >= allowance.untilMs) allowances.delete(allowance)
  return allowances.size > 0
}
