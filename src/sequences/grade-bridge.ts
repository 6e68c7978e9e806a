/** A grade from the bridge alone: value and ESR, nothing said of leakage. */
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import type { BridgeReading } from '../schema/roles.ts'
import { bridgeCriteria, combine } from './grade.ts'

export function gradeByBridge(night: Night, position: PositionState, reading: BridgeReading): void {
  const criteria = bridgeCriteria(position, reading)
  position.result = {
    position: position.spec.name, part: position.part.part, profile: position.profile.name, provisional: false,
    ...combine(criteria),
    figures: { capacitanceF: reading.capacitance.value, esrOhm: reading.esr.value, dissipation: reading.dissipation.value },
  }
  position.stage = 'graded'
  void night.recorder.event({ kind: 'grade', position: position.spec.name, text: `${position.spec.name}: ${position.result.grade}` }).catch(() => {})
}
