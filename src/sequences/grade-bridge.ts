/** A grade from the bridge alone: value and ESR, nothing said of leakage. */
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import type { BridgeReading } from '../schema/roles.ts'
import type { Criterion, PartResult } from '../schema/run.ts'
import { show } from './criteria.ts'
import { bridgeCriteria, cannotTell, combine } from './grade.ts'

export function gradeByBridge(night: Night, position: PositionState, reading: BridgeReading | string): void {
  position.result =
    typeof reading === 'string' ? cannotTell(position, reading) : gradeOfBridge(position, reading)
  position.stage = 'graded'
  void night.recorder.event({
    kind: 'grade', position: position.spec.name, text: `${position.spec.name}: ${position.result.grade}`,
  }).catch(() => {})
}

export function gradeOfBridge(position: PositionState, reading: BridgeReading): PartResult {
  const criteria = bridgeCriteria(position, reading)
  return {
    position: position.spec.name, part: position.part.part, profile: position.profile.name,
    provisional: false,
    ...thinOxide(criteria) ?? combine(criteria),
    figures: {
      capacitanceF: reading.capacitance.value, esrOhm: reading.esr.value,
      dissipation: reading.dissipation.value,
    },
  }
}

/** Oxide gone thin in storage reads at most about this much above what the part has (modelling choice). */
const thinOxideShare = 0.2

/**
 * A bridge cannot know how far an electrolytic is formed: a little too much capacitance may be thin oxide,
 * and only forming tells. Null where that explains nothing.
 */
function thinOxide(criteria: readonly Criterion[]): ReturnType<typeof combine> | null {
  const isHigh = ({ name, value, limitHigh }: Criterion): boolean =>
    name === 'capacitance' && limitHigh !== undefined && value > limitHigh
      && value <= (1 + thinOxideShare) * limitHigh
  const high = criteria.find(isHigh)
  const others = criteria.filter(one => one !== high)
  if (high?.grade !== 'reject') return null
  if (others.length > 0 && combine(others).grade === 'reject') return null
  return {
    grade: 'cannot tell', disposition: 'form', pConform: NaN, criteria,
    reason: `capacitance ${show(high)}: oxide gone thin in storage reads high; form it, then measure again`,
  }
}
