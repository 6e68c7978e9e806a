/** Simulated units made by hand, switched on, and looked at by sums written out here. */
import { SimulatedUnit } from '../../../mocks/units/amplifier.ts'
import { plainChannel, plainOutput, plainPower, plainUnit } from '../../../mocks/units/plain.ts'
import type { ChannelTruth, OutputNetwork, PowerStage, UnitTruth } from '../../../mocks/units/truth.ts'
import type { SourceTone } from '../../../mocks/units/world.ts'

export interface Over {
  readonly channel?: Partial<ChannelTruth>
  readonly power?: Partial<PowerStage>
  readonly output?: Partial<OutputNetwork>
  readonly unit?: Partial<UnitTruth>
}

/** The plain unit with its left channel changed. */
export function truthWith({ channel = {}, power = {}, output = {}, unit = {} }: Over = {}): UnitTruth {
  const left = plainChannel('left', {
    power: plainPower({ idleName: 'idle-left', ...power }), output: plainOutput(output), ...channel,
  })
  return plainUnit({ channels: [left, plainChannel('right')], ...unit })
}

/** On, settled, with 8 Ω at both outputs and shorted inputs. */
export function running(truth: UnitTruth, seed = 1): SimulatedUnit {
  const unit = new SimulatedUnit(truth, seed)
  unit.channels.forEach((_, i) => { unit.setLoad(i, 8); unit.drive(i, [], 0) })
  unit.setMains({ rmsV: 230, frequencyHz: 50, seriesOhm: 0 })
  unit.advance(10)
  return unit
}

export const sine = (frequencyHz: number, peakV: number, phaseRad = 0): SourceTone =>
  ({ frequencyHz, peakV, phaseRad })

/** Peak of what goes through `cycles` whole periods in the record: one term of the discrete sum. */
export function peakAt(volts: Float64Array, cycles: number): number {
  let [c, s] = [0, 0]
  for (let n = 0; n < volts.length; n++) {
    const angle = 2 * Math.PI * ((cycles * n) % volts.length) / volts.length
    c += volts[n]! * Math.cos(angle)
    s += volts[n]! * Math.sin(angle)
  }
  return 2 * Math.hypot(c, s) / volts.length
}

export const mean = (volts: Float64Array): number => volts.reduce((sum, v) => sum + v, 0) / volts.length
export const meanSquare = (volts: Float64Array): number =>
  volts.reduce((sum, v) => sum + v * v, 0) / volts.length
