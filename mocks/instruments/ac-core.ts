/** The RMS volts function of a simulated multimeter. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { RangedCore, type MeterSetup } from './ranged-core.ts'
import type { MeterTerminals } from './terminals.ts'
import type { AcFigures } from './unit-specifications.ts'

export class AcCore extends RangedCore {
  readonly #terminals: MeterTerminals

  constructor(
    figures: AcFigures, terminals: MeterTerminals, random: SeededRandom, faults: FaultPanel,
    setup: MeterSetup = {},
  ) {
    const ranges = figures.ranges.map(range => ({ ...range, size: range.rangeV }))
    super(ranges, figures, 'AC', random, faults, setup)
    this.#terminals = terminals
  }

  protected truth(): number { return this.#terminals.rmsVolts?.() ?? 0 }
}
