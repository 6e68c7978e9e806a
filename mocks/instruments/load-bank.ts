/** Simulated bank of load resistors: each channel opens before it makes, and reads back its relays. */
import type { Cancel } from '../../src/base/clock.ts'
import { refuse } from '../scpi-device/status.ts'
import type { UnitWorld } from '../units/world.ts'
import { drawShare } from './accuracy.ts'
import { SimInstrument, type InstrumentSetup } from './instrument.ts'
import { loadFigures } from './unit-specifications.ts'

interface Channel { stands: number | null; cancel: Cancel | undefined }

export class SimLoadBank extends SimInstrument {
  readonly channels: readonly Channel[]
  readonly #world: Pick<UnitWorld, 'setLoad'>
  readonly #wired: readonly (number | null)[]
  /** What each resistor really has, as a factor, by channel and step. */
  readonly #factors: readonly (readonly number[])[]

  /** `wired`: output of the unit, from 0, that hangs on each channel, in their order; null: none. */
  constructor(
    setup: InstrumentSetup, world: Pick<UnitWorld, 'setLoad'>, wired: readonly (number | null)[] = [0, 1],
  ) {
    const late: { self?: SimLoadBank } = {}
    const self = (): SimLoadBank => late.self!
    const one = (suffix: number | undefined): number => suffix ?? 1
    super('load-bank-a', setup, {
      terminator: '\n', errorQueue: 'plain', processMs: 2, inputBytesMax: 80,
      onReset: () => self().openAll(),
      commands: [
        {
          pattern: 'LOAD#:CONNect', parameters: [{ kind: 'number', unit: 'OHM' }],
          run: ([ohm], [channel]) => self().connect(one(channel), Number(ohm)),
        },
        { pattern: 'LOAD#:OPEN', run: (_, [channel]) => self().connect(one(channel), null) },
        { pattern: 'LOAD#:STATe?', run: (_, [channel]) => self().shown(one(channel)) },
      ],
    })
    late.self = this
    this.#world = world
    this.#wired = wired
    const { channels, steps, ofValue } = loadFigures
    this.channels = Array.from({ length: channels }, () => ({ stands: null, cancel: undefined }))
    const draw = (c: number, s: number): number =>
      1 + ofValue * drawShare(setup.errors ?? 'inside', this.random.fork(`step-${c}-${s}`))
    this.#factors = this.channels.map((_, c) => steps.map((__, s) => draw(c, s)))
    this.device.onFault = () => this.channels.forEach((channel, i) => this.#stand(i + 1, channel.stands))
  }

  /** What hangs at the output now, as resistors and faults make it; null where it stands open. */
  ohm(number: number): number | null {
    const { stands } = this.#channel(number)
    if (stands === null) return null
    const { faults } = this.device
    if (faults.holds('step-open', stands)) return null
    const step = loadFigures.steps.findIndex(ohm => ohm === stands)
    return stands * this.#factors[number - 1]![step]! * Number(faults.holds('step-wrong')?.value ?? 1)
  }

  shown(number: number): string {
    const lie = this.device.faults.holds('read-back-lies')
    if (lie) return String(lie.value)
    const { stands } = this.#channel(number)
    return stands === null ? 'OPEN' : `${stands}.0`
  }

  /** Refuses with -224 what is no step. */
  connect(number: number, ohm: number | null): void {
    const channel = this.#channel(number)
    const told = ohm === null ? null
      : loadFigures.steps.find(step => Math.abs(step - ohm) < 0.01 * step) ?? refuse(-224)
    channel.cancel?.()
    // One contact opens before another makes; the same step stays.
    if (channel.stands === told) return
    this.#stand(number, null)
    if (told === null) return
    if (this.instant) return this.#stand(number, told)
    channel.cancel = this.clock.after(loadFigures.settleMs / 2, () => this.#stand(number, told))
  }

  openAll(): void { this.channels.forEach((_, i) => this.connect(i + 1, null)) }

  #channel(number: number): Channel { return this.channels[number - 1] ?? refuse(-222) }

  #stand(number: number, ohm: number | null): void {
    const channel = this.#channel(number)
    channel.stands = ohm
    const real = this.ohm(number)
    this.effect(`load-${number}`, real ?? Infinity)
    const output = this.#wired[number - 1] ?? null
    if (output !== null) this.#world.setLoad(output, real)
  }
}
