/** A grade from the bridge alone: value and ESR, nothing said of leakage. */
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import type { BridgeReading } from '../schema/roles.ts'
import type { PartResult } from '../schema/run.ts'
import { bridgeCriteria, cannotTell, combine } from './grade.ts'

export function gradeByBridge(night: Night, position: PositionState, reading: BridgeReading | string): void {
  position.result = typeof reading === 'string' ? cannotTell(position, reading) : resultOf(position, reading)
  position.stage = 'graded'
  void night.recorder.event({
    kind: 'grade', position: position.spec.name, text: `${position.spec.name}: ${position.result.grade}`,
  }).catch(() => {})
}

function resultOf(position: PositionState, reading: BridgeReading): PartResult {
  const criteria = bridgeCriteria(position, reading)
  return {
    position: position.spec.name, part: position.part.part, profile: position.profile.name,
    provisional: false,
    ...combine(criteria),
    figures: {
      capacitanceF: reading.capacitance.value, esrOhm: reading.esr.value,
      dissipation: reading.dissipation.value,
    },
  }
}
