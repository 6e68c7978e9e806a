/** What every source-measure unit does, in any dialect: force one quantity, limit the other, measure both. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { refuse } from '../scpi-device/status.ts'
import { quantise, ReadingFaults, Specimen, type ErrorModel } from './accuracy.ts'
import type { SourceFigures, SourceRange } from './source-specifications.ts'
import type { SourceTerminals } from './terminals.ts'

export type Quantity = 'voltage' | 'current'
interface Hidden { readonly set: readonly Specimen[]; readonly read: readonly Specimen[] }
export interface SourceSetup { readonly mainsHz?: number; readonly errors?: ErrorModel }

const quantities = ['voltage', 'current'] as const

export class SourceCore {
  readonly figures: SourceFigures
  /** Which quantity is forced. */
  mode: Quantity = 'voltage'
  on = false
  fourWire = false
  readonly value: Record<Quantity, number> = { voltage: 0, current: 0 }
  /** Of each quantity while the other is forced. */
  readonly limit: Record<Quantity, number> = { voltage: 0, current: 0 }
  /** Called when what stands at the terminals goes on or off. */
  onOutput: (on: boolean) => void = () => {}
  /** Whether the contact on its interlock input is open; `drive` is called when that changes. */
  interlockOpen: () => boolean = () => false

  readonly #terminals: SourceTerminals
  readonly #noise: SeededRandom
  readonly #faults: FaultPanel
  readonly #readings: ReadingFaults
  readonly #hidden: Record<Quantity, Hidden>
  readonly #mainsHz: number
  #nplc = 1
  #driven = false

  constructor(
    figures: SourceFigures, terminals: SourceTerminals, random: SeededRandom, faults: FaultPanel,
    { mainsHz = 50, errors = 'inside' }: SourceSetup = {},
  ) {
    this.figures = figures
    this.#terminals = terminals
    this.#noise = random.fork('noise')
    this.#faults = faults
    this.#readings = new ReadingFaults(faults)
    this.#mainsHz = mainsHz
    const draw = (quantity: Quantity, what: 'set' | 'read'): Specimen[] => figures[quantity].map((range, i) =>
      new Specimen(range[what], random.fork(`${what}-${quantity}-${i}`), errors))
    const both = (of: Quantity): Hidden => ({ set: draw(of, 'set'), read: draw(of, 'read') })
    this.#hidden = { voltage: both('voltage'), current: both('current') }
    this.reset()
  }

  /** What really stands at the terminals is switched on. */
  get driven(): boolean { return this.#driven }
  get nplc(): number { return this.#nplc }
  /** Volts and amperes one after the other, ms. */
  get readingMs(): number { return 2 * this.#nplc * 1000 / this.#mainsHz + this.figures.overheadMs }

  reset(): void {
    this.on = false
    this.mode = 'voltage'
    this.fourWire = false
    this.#nplc = 1
    for (const quantity of quantities) {
      this.value[quantity] = 0
      this.limit[quantity] = this.#most(quantity) / 1000
    }
    this.drive()
  }

  setMode(mode: Quantity): void {
    this.mode = mode
    this.drive()
  }

  setValue(quantity: Quantity, value: number): void {
    if (!(Math.abs(value) <= this.#most(quantity))) refuse(-222)
    this.value[quantity] = quantise(value, this.#rangeOf(quantity, value).step)
    this.drive()
  }

  setLimit(quantity: Quantity, limit: number): void {
    const { limitMinV, limitMinA } = this.figures
    const least = quantity === 'voltage' ? limitMinV : limitMinA
    if (!(limit >= least && limit <= this.#most(quantity))) refuse(-222)
    this.limit[quantity] = quantise(limit, this.#rangeOf(quantity, limit).step)
    this.drive()
  }

  setOutput(on: boolean): void {
    this.on = on
    this.drive()
  }

  setNplc(nplc: number): void {
    this.#nplc = this.figures.integrations.find(n => Math.abs(n - nplc) < 1e-6 * n) ?? refuse(-222)
  }

  /** A setting as read back: what it is, unless the read-back lies. */
  back(value: number): number { return Number(this.#faults.holds('read-back-lies')?.value ?? value) }

  get limited(): boolean { return this.on && this.#terminals.limited() }

  /** Both quantities at this instant, null with the output off; ±Infinity beyond the largest range. */
  read(): Record<Quantity, number> | null {
    if (!this.on) return null
    const { volts, amps } = { volts: this.#terminals.volts(), amps: this.#terminals.amps() }
    return { voltage: this.#reading('voltage', volts), current: this.#reading('current', amps) }
  }

  /** Brings the terminals to what settings and faults make of them. */
  drive(): void {
    const staysOn = this.#driven && this.#faults.holds('output-stays-on') !== undefined
    const runaway = this.#faults.holds('output-runaway')
    const other = this.mode === 'voltage' ? 'current' : 'voltage'
    const value = runaway && this.mode === 'voltage'
      ? Number(runaway.value ?? this.#most('voltage')) : this.#made(this.mode, this.value[this.mode])
    const limit = Math.max(0, this.#made(other, this.limit[other]))
    // In its power stage, whatever was told and whatever sticks.
    const asked = runaway ? value : this.mode === 'voltage' ? this.value.voltage : this.limit.voltage
    const isCut = this.interlockOpen() && Math.abs(asked) > (this.figures.interlockOpenV ?? Infinity)
    if (isCut) this.on = false
    const on = !isCut && (this.on || staysOn)
    this.#terminals.operate({ mode: this.mode, value, limit, on })
    if (on === this.#driven) return
    this.#driven = on
    this.onOutput(on)
  }

  /** What this specimen makes of a setting. */
  #made(quantity: Quantity, setting: number): number {
    const range = this.#rangeOf(quantity, setting)
    return this.#hidden[quantity].set[this.figures[quantity].indexOf(range)]!.of(setting, range.size)
  }

  #reading(quantity: Quantity, truth: number): number {
    const ranges = this.figures[quantity]
    for (const [index, range] of ranges.entries()) {
      if (Math.abs(truth) > range.size * range.overRange && index + 1 < ranges.length) continue
      const noise = this.#noise.normal() * range.noise * Math.sqrt(this.figures.noiseNplc / this.#nplc)
      const read = this.#hidden[quantity].read[index]!.of(truth, range.size) + noise
      if (Math.abs(read) <= range.size * range.overRange) {
        return this.#readings.falsify(quantise(read, range.readStep), quantity)
      }
    }
    return Math.sign(truth) * Infinity
  }

  #most(quantity: Quantity): number { return this.figures[quantity].at(-1)!.size }

  #rangeOf(quantity: Quantity, value: number): SourceRange {
    const ranges = this.figures[quantity]
    return ranges.find(({ size }) => Math.abs(value) <= size * (1 + 1e-9)) ?? ranges.at(-1)!
  }
}
