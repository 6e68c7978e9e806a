/**
 * Simulated contactor in the mains of a unit: two poles, three ways to it, off unless held. Its auxiliary
 * contacts are those of each pole.
 */
import type { Cancel } from '../../src/base/clock.ts'
import type { UnitWorld } from '../units/world.ts'
import { refuse } from '../scpi-device/status.ts'
import { HoldTimer } from './hold-timer.ts'
import { SimInstrument, type InstrumentSetup } from './instrument.ts'
import { contactorFigures } from './unit-specifications.ts'

export type Way = keyof typeof contactorFigures.ways
/** What comes out of the wall. */
export interface Wall { readonly rmsV: number; readonly frequencyHz: number }

const ways: readonly string[] = Object.keys(contactorFigures.ways)

export class MainsContactor extends SimInstrument {
  /** How long it really holds without a refresh, whatever it is said to. */
  holdMs: number = contactorFigures.holdMs
  wall: Wall
  readonly #world: Pick<UnitWorld, 'setMains'>
  #coil: Way | null = null
  /** Each pole by itself: a welded one stays. */
  #poles: readonly [Way | null, Way | null] = [null, null]
  readonly #hold = new HoldTimer(this.clock, () => this.holdMs, () => this.open())
  #cancelMove: Cancel | undefined

  constructor(
    setup: InstrumentSetup, world: Pick<UnitWorld, 'setMains'>, wall: Wall = { rmsV: 230, frequencyHz: 50 },
  ) {
    const late: { self?: MainsContactor } = {}
    const self = (): MainsContactor => late.self!
    super('mains-contactor-a', setup, {
      terminator: '\n', errorQueue: 'plain', processMs: 2, inputBytesMax: 120,
      onReset: () => self().open(),
      commands: [
        {
          pattern: 'MAINs:CLOSe', parameters: [{ kind: 'word', words: ways }],
          run: ([way]) => self().close(String(way) as Way),
        },
        { pattern: 'MAINs:HOLD', run: () => self().refresh() },
        { pattern: 'MAINs:OPEN', run: () => self().open() },
        { pattern: 'MAINs:STATe?', run: () => self().shown },
      ],
    })
    late.self = this
    this.#world = world
    this.wall = wall
    this.device.onFault = () => this.#follow(0)
  }

  /** The way by which the unit has mains, null without: what is in line is in that of the live pole. */
  get way(): Way | null { return this.#poles[1] === null ? null : this.#poles[0] }

  /** What the auxiliary contacts show. */
  get shown(): string {
    const lie = this.device.faults.holds('read-back-lies')
    if (lie) return String(lie.value)
    const [live, neutral] = this.#poles
    return live === neutral ? live ?? 'OPEN' : 'FAUL'
  }

  close(way: Way): void {
    // Another way is asked for while one is closed: it opens by itself first.
    if (this.#coil !== null && this.#coil !== way) {
      this.#coil = null
      this.#settle()
    }
    this.#hold.start()
    if (this.#coil === way) return
    this.#coil = way
    this.#follow(contactorFigures.closeMs)
  }

  refresh(): void {
    if (this.#coil === null) refuse(-221)
    this.#hold.start()
  }

  open(): void {
    this.#hold.stop()
    if (this.#coil === null) return
    this.#coil = null
    this.#follow(contactorFigures.openMs)
  }

  #follow(travelMs: number): void {
    this.#cancelMove?.()
    this.#cancelMove = this.clock.after(travelMs, () => {
      this.#cancelMove = undefined
      this.#settle()
    })
  }

  /** The poles go where coil and faults send them. */
  #settle(): void {
    const { faults } = this.device
    const before = this.way
    const wanted = faults.holds('relay-dead') ? null : this.#coil
    const [welded, welds] = [faults.holds('relay-welded'), faults.holds('relay-welds')]
    // A weld of before is of contacts that had closed by the full way.
    const stuck = (pole: Way | null): Way | null => welded ? pole ?? 'FULL' : welds ? pole : null
    const isOne = (welded ?? welds)?.value === 'pole'
    const [live, neutral] = this.#poles
    this.#poles = [stuck(live) ?? wanted, (isOne ? null : stuck(neutral)) ?? wanted]
    if (this.way === before) return
    this.effect('mains', this.way === null ? 0 : 1)
    this.#world.setMains(this.way === null ? null : this.#fed(this.way))
  }

  #fed(way: Way) {
    const { seriesOhm, share } = contactorFigures.ways[way]
    const { rmsV, frequencyHz } = this.wall
    return { rmsV: rmsV * share, frequencyHz, seriesOhm }
  }
}
