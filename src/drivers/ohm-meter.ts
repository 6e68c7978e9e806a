/** A multimeter used as an ohm-meter, with two wires or four. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Measured } from '../schema/reading.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { OhmMeter } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { checked } from './driver.ts'
import { MeterDriver } from './meter.ts'

type Resistance = NonNullable<ProfileOf<'multimeter'>['resistance']>
type OhmFunction = NonNullable<Resistance['commands']['twoWire']>

/** A reading further below zero than this many standard uncertainties is no resistance. */
const belowZero = 4

export class OhmMeterDriver extends MeterDriver implements OhmMeter {
  readonly wires: readonly (2 | 4)[]
  readonly #resistance: Resistance

  /** `resistance`: that section of `profile`, which is known to have one. */
  constructor(profile: ProfileOf<'multimeter'>, resistance: Resistance, port: ScpiPort, clock: Clock) {
    super(profile, port, clock, 'Ohm', resistance.ranges.map(range => ({ ...range, size: range.rangeOhm })))
    this.#resistance = resistance
    const { twoWire, fourWire } = resistance.commands
    this.wires = [...twoWire ? [2 as const] : [], ...fourWire ? [4 as const] : []]
  }

  stimulus(rangeOhm: number): { currentA: number; openV: number } {
    this.inRange('range', rangeOhm, 0, this.ranges.at(-1)!.size, 'Ohm')
    const { testCurrentA, openV } = this.#resistance.ranges[this.rangeFor(rangeOhm)]!
    return { currentA: testCurrentA, openV }
  }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.configure({ rangeOhm: 'auto', wires: this.wires[0]!, nplc: 1 })
  }

  async configure(
    { rangeOhm, wires, nplc }: { rangeOhm: number | 'auto'; wires: 2 | 4; nplc: number },
  ): Promise<void> {
    const commands = this.#functionOf(wires)
    const setup = { size: rangeOhm, nplc }
    this.refuse(setup)
    if (commands.select !== undefined) await this.port.write(commands.select, checked)
    await this.setUp(commands, setup)
    await this.#seeFunction(commands)
  }

  async readResistance(): Promise<Measured> {
    const measured = await this.reading(this.#resistance.commands.read)
    const isNone = measured.quality === 'good' && measured.value < -belowZero * measured.u
    return isNone ? { ...measured, quality: 'implausible' } : measured
  }

  #functionOf(wires: 2 | 4): OhmFunction {
    const { twoWire, fourWire } = this.#resistance.commands
    const found = { 2: twoWire, 4: fourWire }[wires]
    if (found) return found
    throw new BenchError('OUT_OF_RANGE', 'wires', {
      instrument: this.name, expected: this.wires.join(' or '), got: String(wires),
    })
  }

  async #seeFunction({ askFunction, functionAnswer, select, fixRange }: OhmFunction): Promise<void> {
    if (askFunction === undefined || functionAnswer === undefined) return
    const got = await this.port.query(askFunction)
    if (got.toUpperCase() === functionAnswer.toUpperCase()) return
    throw this.notTaken(select ?? fixRange, functionAnswer, got)
  }
}
