/** A whole unit under drive for hours or days, with nobody there where the bench is fit for that. */
import type { UnitWork } from '../powering/work.ts'
import { burnInParameters, type BurnInParameters } from './parameters.ts'
import { burnInPlan } from './plan.ts'
import { burnIn } from './run.ts'

export { burnInParameters, type BurnInParameters } from './parameters.ts'
export { earlyFailures, type EarlyFailures, type UnitHours } from './early-failures.ts'

export const burnInCautions = [
  'Software is not the only layer: a thermal cut-out or fuse on the heat sink, the fuse of the unit, and a '
    + 'contactor that drops by itself stand behind it.',
  'Never a loudspeaker: rated loads alone, where nothing that burns is near. They get as hot as their watts.',
  'Nobody leaves before the unit has had its first power, and somebody saw its first hour under drive.',
  'It is in an enclosed bay that does not burn, with a smoke detector that cuts the mains.',
  'Nothing goes on by itself: after a trip, a long pause or a power cut a person looks at it first.',
] as const

export const burnInWork: UnitWork<BurnInParameters> = {
  name: 'burn-in',
  summary: 'drives a unit for hours or days with everything watched, and says what moved',
  cautions: burnInCautions,
  parameters: burnInParameters,
  plan: burnInPlan,
  run: burnIn,
}
