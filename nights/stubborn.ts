/**
 * A sequence as nobody should write it: it asks for more than its plan, and after a stop it goes on asking, past the
 * supervisor and straight at the instruments. What holds it are the layers that do not trust sequences.
 */
import { connect, moveBus, rest } from '../src/engine/bus.ts'
import type { Night } from '../src/engine/night.ts'
import { defineSequence } from '../src/engine/sequence.ts'
import { sleep } from '../src/base/clock.ts'
import { relayOf } from '../src/schema/fixture.ts'
import { stage } from '../src/sequences/climb.ts'
import { reformParameters } from '../src/sequences/parameters.ts'
import type { ReformParameters } from '../src/sequences/parameters.ts'
import { formingPlan } from '../src/sequences/plan.ts'

const overshare = 1.2
const retries = 10

export const stubborn = defineSequence<ReformParameters>({
  name: 'stubborn', summary: 'Asks for more than its plan and does not stop when told', cautions: [], parameters: reformParameters,
  roles: ['supply', 'sense-meter'], energises: true,
  plan: input => formingPlan(input, 'stubborn', false),
  run: async (night, p) => {
    try {
      await connect(night, night.positions)
      await moveBus(night, night.plan.targetV, p.slewVPerS)
      stage(night, 'soaking')
      await moveBus(night, overshare * night.plan.targetV, p.slewVPerS).catch(() => {})
      await rest(night, 1000 * p.soakS)
    } catch {
      for (let i = 0; i < retries; i++) await defy(night)
    }
  },
})

/** Everything that could bring energy back, one after the other; what refuses is passed over. */
async function defy(night: Night): Promise<void> {
  const { supply, cutoff, positions } = night.roles
  const { targetV, supplyLimitA } = night.plan
  const deeds: (() => Promise<unknown> | undefined)[] = [
    () => { night.supervisor.permit(targetV, supplyLimitA); return supply?.setVoltage(targetV) },
    () => supply?.setVoltage(targetV), () => cutoff?.close(), () => supply?.setOutput(true),
    () => positions?.hold(night.positions.map(({ spec }) => relayOf(spec))),
  ]
  for (const deed of deeds) await Promise.resolve().then(deed).catch(() => {})
  await sleep(night.clock, 1000)
}
