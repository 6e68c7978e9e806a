/** The resistance function of a simulated multimeter: it pushes its test current and looks at the volts. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { RangedCore, type MeterSetup } from './ranged-core.ts'
import type { MeterFigures, OhmFigures } from './specifications.ts'
import type { MeterTerminals } from './terminals.ts'

export class OhmCore extends RangedCore {
  wires: 2 | 4 = 2
  readonly #figures: OhmFigures
  readonly #terminals: MeterTerminals

  constructor(
    figures: MeterFigures, ohms: OhmFigures, terminals: MeterTerminals, random: SeededRandom,
    faults: FaultPanel, setup: MeterSetup = {},
  ) {
    const ranges = ohms.ranges.map(range => ({ ...range, size: range.rangeOhm }))
    super(ranges, figures, 'Ohm', random, faults, setup)
    this.#figures = ohms
    this.#terminals = terminals
  }

  get rangeOhm(): number { return this.size }

  protected override get rangeMatters(): boolean { return true }

  /** Volts over test current; nothing screwed to it is an open circuit. */
  protected truth(): number {
    const { testCurrentA, openV } = this.#figures.ranges[this.range]!
    const volts = this.#terminals.push?.(testCurrentA, openV, this.wires) ?? openV
    return Math.abs(volts) >= openV * (1 - 1e-9) ? Math.sign(volts) * Infinity : volts / testCurrentA
  }
}
