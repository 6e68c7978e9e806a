/**
 * Sequences that never put energy on the bus: measuring parts with the bridge, and
 * bleeding what is on the rack.
 */
import type { z } from 'zod'
import { defineSequence } from '../engine/sequence.ts'
import type { PlanInput } from '../engine/sequence.ts'
import { followAll } from '../engine/bleed.ts'
import { watchRecovery } from '../engine/recovery.ts'
import { standingVolts } from '../engine/standing.ts'
import { next } from '../engine/bus.ts'
import type { Night } from '../engine/night.ts'
import type { Plan } from '../schema/application.ts'
import { bridgeReading } from './bridge.ts'
import { gradeByBridge } from './grade-bridge.ts'
import { stage } from './climb.ts'
import { checkParameters, dischargeParameters } from './parameters.ts'
import { cautions, loading } from './plan.ts'

type CheckParameters = z.infer<typeof checkParameters>
type DischargeParameters = z.infer<typeof dischargeParameters>

export const capacitorCheck = defineSequence<CheckParameters>({
  name: 'capacitor-check',
  summary: 'Capacitance, loss and ESR of every part with the bridge, after proof of dead; no energy',
  cautions, parameters: checkParameters, roles: ['bridge', 'positions', 'sense-meter'], energises: false,
  plan: input => quietPlan(input, 'capacitor-check', input.parts.length * 5),
  run: async night => {
    await proveDead(night)
    stage(night, 'measuring')
    for (const position of night.positions) {
      const reading = await bridgeReading(night, position)
      if (reading !== null) gradeByBridge(night, position, reading)
    }
  },
})

export const discharge = defineSequence<DischargeParameters>({
  name: 'discharge',
  summary: 'Keeps every part on its bleeder, measures it down, and watches what comes back',
  cautions, parameters: dischargeParameters, roles: ['sense-meter'], energises: false,
  plan: input => quietPlan(input, 'discharge', 120 + input.parameters.watchS),
  run: async (night, { watchS }) => {
    await proveDead(night)
    if (watchS > 0) { stage(night, 'watching'); await watchRecovery(night, 1000 * watchS) }
    for (const position of night.positions) position.stage = 'graded'
  },
})

async function proveDead(night: Night): Promise<void> {
  await night.roles.positions?.releaseAll()
  const startedMs = night.clock.monotonicMs()
  for (const { spec } of night.positions) await next(night, `${spec.name}.current`, startedMs)
  await followAll(night, night.positions, standingVolts(night))
}

function quietPlan<P>(input: PlanInput<P>, sequence: string, expectedS: number): Plan {
  return {
    sequence, use: input.request.use, targetV: 0, expectedS, longestS: expectedS * 2,
    partEnergyMaxJ: null, rackEnergyJ: null, touchSafeAfterS: null,
    partDissipationMaxW: 0, resistorDissipationW: 0, supplyLimitA: 0, overVoltageV: 0,
    sweepS: input.sweepS, relayClosures: input.parts.length * 2, gasMl: 0, chargeMaxC: 0, steps: [], cautions,
    warnings: [], refusals: loading(input),
  }
}
