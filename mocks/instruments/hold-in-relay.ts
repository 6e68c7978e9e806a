/** Simulated hold-in contactor: closed only while it is refreshed, and only with the cover shut. */
import type { Cancel } from '../../src/base/clock.ts'
import { refuse } from '../scpi-device/status.ts'
import { HoldTimer } from './hold-timer.ts'
import { SimInstrument, type InstrumentSetup } from './instrument.ts'
import { holdInFigures } from './specifications.ts'
import type { BenchSwitches, ContactorTerminals } from './terminals.ts'

export class HoldInRelay extends SimInstrument {
  /** How long it really holds without a refresh, whatever it is said to. */
  holdMs: number = holdInFigures.holdMs
  readonly #terminals: ContactorTerminals
  readonly #switches: BenchSwitches
  #coil = false
  #contact = false
  readonly #hold = new HoldTimer(this.clock, () => this.holdMs, () => this.open())
  #cancelMove: Cancel | undefined

  constructor(setup: InstrumentSetup, terminals: ContactorTerminals, switches: BenchSwitches) {
    const late: { self?: HoldInRelay } = {}
    const self = (): HoldInRelay => late.self!
    super('hold-in-relay-a', setup, {
      terminator: '\n', errorQueue: 'plain', processMs: 2, inputBytesMax: 120,
      onReset: () => self().open(),
      commands: [
        { pattern: 'OUTPut:CLOSe', run: () => self().close() },
        { pattern: 'OUTPut:HOLD', run: () => self().refresh() },
        { pattern: 'OUTPut:OPEN', run: () => self().open() },
        { pattern: 'OUTPut:STATe?', run: () => self().contact ? '1' : '0' },
      ],
    })
    late.self = this
    this.#terminals = terminals
    this.#switches = switches
    switches.onCover(() => { if (!switches.coverClosed) this.open() })
    this.device.onFault = () => this.#follow(0)
  }

  /** What the auxiliary contact shows: the main contact itself. */
  get contact(): boolean { return this.#contact }

  close(): void {
    if (!this.#switches.coverClosed) refuse(-221)
    this.#hold.start()
    if (this.#coil) return
    this.#coil = true
    this.#follow(holdInFigures.closeMs)
  }

  refresh(): void {
    if (!this.#coil) refuse(-221)
    this.#hold.start()
  }

  open(): void {
    this.#hold.stop()
    if (!this.#coil) return
    this.#coil = false
    this.#follow(holdInFigures.openMs)
  }

  /** The contact goes where coil and faults send it, `travelMs` from now. */
  #follow(travelMs: number): void {
    this.#cancelMove?.()
    this.#cancelMove = this.clock.after(travelMs, () => {
      this.#cancelMove = undefined
      const { faults } = this.device
      const sticks = faults.holds('relay-welded') ?? (this.#contact ? faults.holds('relay-welds') : undefined)
      const closed = sticks !== undefined || this.#coil && !faults.holds('relay-dead')
      if (closed === this.#contact) return
      this.#contact = closed
      this.effect('contact', closed ? 1 : 0)
      this.#terminals.contact(closed)
    })
  }
}
