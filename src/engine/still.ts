/** Watches for a supply's current and case sensors that stand still, as the bench of a night has them. */
import { caseStillMachine, supplyStillMachine } from '../safety/still.ts'
import type { CaseInput } from '../safety/still.ts'
import { untold } from '../safety/verdict.ts'
import type { Watch } from '../safety/watch.ts'
import { watchBy } from '../safety/watch.ts'
import type { Reading } from '../schema/reading.ts'
import type { Supply, Thermometer } from '../schema/roles.ts'
import { takenA } from './bus-reader.ts'
import type { Night } from './night.ts'
import { partVolts } from './position.ts'
import type { PositionState } from './position.ts'

/** Near its limit a supply holds its current steady, whatever the bus does. */
const regulatedShare = 0.9

/** Stops: what the bus takes beside the parts is told by this reading alone. */
export function supplyMoves(night: Night): Watch {
  const { busVoltage, supplyCurrent } = night.channels
  const { ratings: { currentStepA } } = night.roles.supply as Supply
  let busV: number | null = null
  return watchBy({
    id: 'supply.still', channels: [busVoltage.name, supplyCurrent.name], reaction: 'stop',
  }, supplyStillMachine(currentStepA), ({ channel, quality, value, atMs }) => {
    if (channel.index === busVoltage.index) busV = quality === 'good' ? value : null
    else if (quality === 'good' && busV !== null && night.state.live
      && value < regulatedShare * night.plan.supplyLimitA) {
      return { atMs, amps: value, busA: takenA(night, [], busV) }
    }
    return null
  })
}

/** Can or sensor: a can whose heat nobody feels is dropped, and nothing is said of the part. */
export function caseMoves(night: Night, position: PositionState): Watch {
  const { spec: { name }, index, profile: { shedW } } = position
  const { stepK, noiseK } = night.roles.thermometer as Thermometer
  const channel = night.channels.caseTemperature[index]!
  const see = (reading: Reading): CaseInput | null => {
    const { quality, value, atMs } = reading
    if (quality !== 'good') return null
    if (reading.channel.index === channel.index) return { atMs, celsius: value }
    const volts = position.wiring === 'bus' ? partVolts(night.bench.fixture, position, false) ?? 0 : 0
    return { atMs, watts: Math.max(0, volts * value) }
  }
  return watchBy({
    id: `${name}.case-still`, channels: [channel.name, night.channels.current[index]!.name],
    reaction: 'drop', position: name, verdict: untold,
  }, caseStillMachine({ stepK, noiseK, shedW }), see)
}
