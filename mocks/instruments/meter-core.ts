/** The DC volts function of a simulated multimeter. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { RangedCore, type MeterSetup } from './ranged-core.ts'
import type { MeterFigures } from './specifications.ts'
import type { MeterTerminals } from './terminals.ts'

export class MeterCore extends RangedCore {
  readonly figures: MeterFigures
  readonly #terminals: MeterTerminals

  constructor(
    figures: MeterFigures, terminals: MeterTerminals, random: SeededRandom, faults: FaultPanel,
    setup: MeterSetup = {},
  ) {
    const ranges = figures.ranges.map(range => ({ ...range, size: range.rangeV }))
    super(ranges, figures, 'V', random, faults, setup)
    this.figures = figures
    this.#terminals = terminals
  }

  get rangeV(): number { return this.size }

  protected truth(): number { return this.#terminals.volts() }
}
