/**
 * What goes under volts behind a cover: what is shown before volts come, and what before the cover is freed.
 * A zero at the terminals shows nothing of a part that left its clips: by the bridge it is known again.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { asBenchError, BenchError, hasCode } from '../base/errors.ts'
import { formatDuration, formatMinute, formatSi } from '../base/format.ts'
import { harmlessV } from '../safety/dead.ts'
import { isNear, isSame, seenOf } from '../safety/same-part.ts'
import type { Behind, Held } from '../schema/behind.ts'
import type { CoverSpec, JigSpec } from '../schema/bench.ts'
import type { HandsAtCover, ImpedanceReading, Pair, ToCover } from '../schema/jig.ts'
import { showBleeder } from './bleeder.ts'
import type { Measured } from '../schema/reading.ts'
import type { Enclosure } from './enclosure.ts'
import { openMs, showEmpty, type ChargePorts } from './jig-charge.ts'
import { relaysFor } from './jig-reach.ts'

export interface CoveredPorts {
  readonly clock: Clock
  readonly signal: AbortSignal
  readonly enclosure: Enclosure
  readonly spec: JigSpec
  readonly cover: CoverSpec
  /** Most volts that a source gives to a jig that is open to hands. */
  readonly openV: number
  /** The source, whatever it is led to. */
  readonly source: () => Omit<ChargePorts, 'lead' | 'loose'>
  /** Holds these relays of the jig and no other. */
  move(relays: readonly number[]): Promise<void>
  /** Nothing is led to the terminals; the bleeder lies across them. */
  clear(): Promise<void>
  impedance(pair: Pair, setup: { frequencyHz: number; levelV: number }): Promise<ImpedanceReading>
  /** What the bridge sees by the relays that are held. */
  bridge(setup: { frequencyHz: number; levelV: number }): Promise<{ rOhm: Measured; xOhm: Measured }>
  /** Puts on record that what was charged was seen empty. */
  emptied(): Promise<void>
  /** Whether the source may give what it gives behind the cover. */
  mayGive(isCovered: boolean): void
  /** What was under more volts than an open jig gives, and was not seen empty since. */
  held(): Held | null
  /** Called with what there is to say of touching what lies behind the cover. */
  touch(words: string): void
}

/** So much of the time it was charged a part is left open before it is looked at. */
const comesBackShare = 0.1

/** From one look at a part whose press is waited for to the next, ms: no hand changes it in less (ours). */
const lookMs = 200

/** An impedance so many times that of the part is none of it (ours). */
const nothingFactor = 5

const ends: Pair = { high: 1, low: 2 }
const moved = 'it is not what it was before the cover was closed: it was moved, and was not put under volts'
const gone = 'it left the jig or lost its contact while it was charged'

export class Covered {
  readonly #p: CoveredPorts
  #seen: ImpedanceReading | null = null
  #hasLost = false
  /** Somebody pulled at the locked cover in this session, and it held. */
  #isTried = false

  constructor(ports: CoveredPorts) { this.#p = ports }

  /** By what the part that is behind the cover is known again. */
  get seen(): Omit<Held, 'volts' | 'forMs'> | null { return this.#seen && seenOf(this.#seen) }

  get hasLost(): boolean { return this.#hasLost }

  lost(): void { this.#hasLost = true }

  async under<T>({ pair, volts, seen }: ToCover, hands: HandsAtCover, work: () => Promise<T>): Promise<T> {
    const { enclosure, clear, mayGive } = this.#p
    await clear()
    hands.say(`${enclosure.sentence}: ${formatSi(volts, 'V')}`)
    const isOver = (): boolean => hands.isOver?.() ?? false
    await this.#whileSame(pair, seen, isLost => enclosure.pressed(() => isLost() || isOver()))
    this.#seen = seen
    const done = await outcomeOf(async () => {
      await enclosure.lock()
      await this.#tryBolt(hands, isOver)
      await enclosure.watch()
      await this.#showUnwelded(pair, seen)
      await this.#showBleeder()
      if (!isSame(seen, await this.#p.impedance(pair, seen))) throw new BenchError('REFUSED', moved)
      mayGive(true)
      this.#touch(`NOT SAFE TO TOUCH: ${formatSi(volts, 'V')} behind the cover`, hands)
      const value = await work()
      await this.#findAgain(pair, seen)
      return value
    })
    mayGive(false)
    if ('error' in done) this.#throwIfLeftLocked(done.error)
    await this.#free('error' in done ? null : this.#p.held(), async () => {
      if ('error' in done) return
      await this.#findAgain(pair, seen)
      await this.#p.emptied()
    })
    this.#seen = null
    if ('error' in done) throw done.error
    return done.value
  }

  /** Once a session: no coil shows that its bolt holds. */
  async #tryBolt(hands: HandsAtCover, isOver: () => boolean): Promise<void> {
    if (this.#isTried) return
    hands.say('it is locked: pull at it, and press where it holds; nothing is energised yet')
    await this.#p.enclosure.pulled(isOver)
    this.#isTried = true
  }

  /** With one of its two contacts released the bridge must see nothing: a welded one would meet the volts. */
  async #showUnwelded(pair: Pair, seen: ImpedanceReading): Promise<void> {
    const { move, bridge, clear, spec, cover: { bleedRelay } } = this.#p
    const leastOhm = nothingFactor * Math.hypot(seen.rOhm.value, seen.xOhm.value)
    for (const relay of relaysFor(spec, 'bridge', pair)) {
      await move([relay, bleedRelay])
      const { rOhm, xOhm } = await bridge(seen)
      const isSeen = xOhm.quality === 'good' && Math.hypot(rOhm.value, xOhm.value) < leastOhm
      if (!isSeen) continue
      throw new BenchError('TRIPPED', `a contact to the bridge is welded: it sees by relay ${relay} alone`)
    }
    await clear()
  }

  /**
   * While hands are at the cover the bridge looks again and again: what lost its contact may be another part
   * of like value when it has one again. Rejects REFUSED then.
   */
  async #whileSame(
    pair: Pair, seen: ImpedanceReading, wait: (isLost: () => boolean) => Promise<void>,
  ): Promise<void> {
    const { clock, signal, clear, impedance } = this.#p
    let [isLost, isOver] = [false, false]
    const looks = (async () => {
      while (!isLost && !isOver) {
        isLost = !isSame(seen, await impedance(pair, seen))
        await clear()
        await sleep(clock, lookMs, signal)
      }
    })()
    // A look that fails has not seen the part.
    const looked = looks.catch(() => { isLost = true })
    try {
      await wait(() => isLost)
    } catch (error) {
      if (!isLost) throw error
    } finally {
      isOver = true
      await looked
    }
    signal.throwIfAborted()
    if (isLost) throw new BenchError('REFUSED', moved)
  }

  /**
   * Frees the cover once the terminals were shown to be harmless, and what `behind` says to have been under
   * volts to lie there empty. Rejects TRIPPED, and leaves it locked, where that fails.
   */
  async open(behind: Behind | null = null): Promise<void> {
    await this.#free(behind, async () => {
      if (!behind) return
      await this.#findBehind(behind)
      await this.#p.emptied()
    })
  }

  /** `held`: what was under volts, and is to be emptied of what it absorbed. */
  async #free(held: Held | null, show: () => Promise<void>): Promise<void> {
    const { signal, clock, enclosure, clear } = this.#p
    try {
      await this.#bleed(held)
      await this.#showDead(held?.forMs ?? 0)
      await show()
      await clear()
      await enclosure.free()
    } catch (error) {
      signal.throwIfAborted()
      throw new BenchError('TRIPPED', `the cover stays locked: ${asBenchError(error).message}`, {}, error)
    }
    this.#touch(`measured below ${formatSi(harmlessV, 'V', 1)} at ${formatMinute(clock.wallMs())}; `
      + `${held ? 'short its ends, and ' : ''}prove dead before touching`)
  }

  /** What went in late comes out as late: it stays on its bleeder for as long as it was charged. */
  async #bleed(held: Held | null): Promise<void> {
    await this.#p.clear()
    if (!held) return
    this.#touch(`NOT SAFE TO TOUCH: on its bleeder behind the cover for ${formatDuration(held.forMs / 1000)}`)
    await this.#p.source().rest(held.forMs)
  }

  /**
   * The bleeder is there; what lies at the terminals is emptied, and then stands at nothing while it is off,
   * for a tenth of the time it was charged: by then what would be harmful in a hand begins to show.
   */
  async #showDead(heldMs: number): Promise<void> {
    await this.#showBleeder()
    const { source, openV } = this.#p
    await showEmpty({
      ...source(), loose: () => this.#lead(false, false), lead: () => this.#lead(true, false),
    }, { volts: openV, heldMs, openMs: Math.max(openMs, comesBackShare * heldMs) })
  }

  async #showBleeder(): Promise<void> {
    const { source, cover: { bleederOhm } } = this.#p
    await showBleeder({ ...source(), lead: across => this.#lead(true, across) }, bleederOhm)
  }

  async #lead(isSourceLed: boolean, isBleederAcross: boolean): Promise<void> {
    const { move, spec, cover: { bleedRelay } } = this.#p
    const led = isSourceLed ? relaysFor(spec, 'source', ends) : []
    await move(isBleederAcross ? led : [...led, bleedRelay])
  }

  async #isThere(pair: Pair, seen: ImpedanceReading): Promise<boolean> {
    return isNear(seenOf(seen), await this.#p.impedance(pair, seen))
  }

  async #findAgain(pair: Pair, seen: ImpedanceReading): Promise<void> {
    if (await this.#isThere(pair, seen)) return
    this.#hasLost = true
    throw new BenchError('TRIPPED', gone)
  }

  /** What an earlier session left: known again by what it saw of it. */
  async #findBehind(behind: Behind): Promise<void> {
    const { frequencyHz, levelV } = behind
    const now = frequencyHz === null || levelV === null ? null
      : await this.#p.impedance(ends, { frequencyHz, levelV })
    if (now && isNear(behind, now)) return
    this.#hasLost = true
    throw new BenchError('TRIPPED', `${behind.part} is not where it was when it was charged`)
  }

  #touch(words: string, hands?: HandsAtCover): void {
    this.#p.touch(words)
    hands?.say(words)
  }

  /** What was not seen to be harmless keeps the cover locked, and ends the session. */
  #throwIfLeftLocked(error: unknown): void {
    this.#p.signal.throwIfAborted()
    if (hasCode(error, 'TRIPPED')) throw error
    if (this.#p.held()) throw new BenchError('TRIPPED', asBenchError(error).message, {}, error)
  }
}

async function outcomeOf<T>(work: () => Promise<T>): Promise<{ value: T } | { error: unknown }> {
  try {
    return { value: await work() }
  } catch (error) {
    return { error }
  }
}
