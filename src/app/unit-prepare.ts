/** From a request for a whole unit to a plan: looked up and checked, with nothing touched. */
import { BenchError } from '../base/errors.ts'
import { placesOf, type Places } from '../powering/places.ts'
import type { PowerRoles } from '../powering/power.ts'
import { standRefusals } from '../powering/refusals.ts'
import type { PlanInput, WorkPlan } from '../powering/work.ts'
import { unitGear } from '../safety/unit-gear.ts'
import type { PoweringPlan, PoweringRequest } from '../schema/powering.ts'
import { eachOnce, type Refusal } from '../schema/refusals.ts'
import type { RoleName, Roles } from '../schema/roles.ts'
import type { StandSpec } from '../schema/stand.ts'
import type { Store } from '../schema/store.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import { calibrationTold } from './calibration.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import type { ProfileFile } from './files.ts'
import { gearOf } from './prepare.ts'
import { continuedBurnIn } from './unit-continue.ts'
import { unitRunsBack } from './unit-record.ts'
import { unitParts } from './units.ts'
import { askedWork, type AskedWork } from './unit-works.ts'

export interface PreparedUnit extends AskedWork {
  /** As asked, with the parameters of the run that it continues. */
  readonly request: PoweringRequest
  readonly profile: ProfileFile<UnitProfile>
  readonly stand: StandSpec
  readonly roles: PowerRoles
  readonly places: Places
  readonly plan: PoweringPlan
}

/**
 * Rejects USAGE for parameters that do not fit, REFUSED where the bench has no stand or lacks a role, and
 * what a profile that cannot be had is told by. What keeps the unit from mains stands in the plan.
 */
export async function prepareUnit(deps: DaemonDeps, given: PoweringRequest): Promise<PreparedUnit> {
  const { bench, composed, profiles, store, clock } = deps
  const { stand } = bench.file
  if (!stand) {
    throw new BenchError('REFUSED', 'no unit stands on this bench', {
      expected: '`stand` in the bench file', got: 'none',
    })
  }
  const before = await continuedBurnIn(store, given)
  const request = before ? { ...given, parameters: before.parameters } : given
  const asked = askedWork(request.sequence, request.parameters)
  const profile = profiles.unit(request.unit)
  if (before && before.hash !== profile.hash) {
    throw new BenchError('REFUSED', `the unit profile has changed since run ${given.continues}`, {
      expected: before.hash, got: profile.hash,
    })
  }
  const roles = powerRolesOf(composed.roles)
  const { places, missing } = placesOf(profile.profile, stand, request.wiring)
  const input: PlanInput = {
    profile: profile.profile, stand, places, roles, ways: roles.mainsSwitch.ways, use: request.use,
  }
  const work = asked.work.plan(input, asked.parameters)
  const proven = await provenOf(store, request.specimen, profile.profile)
  const first = await firstPowerOf(store, request)
  const held = unitGear(gearInput(input, gearOf(bench)))
  const plan = planOf(request, asked, input, work)
  return {
    ...asked, request, profile, stand, roles, places,
    plan: {
      ...plan,
      refusals: eachOnce([
        ...useRefusals(request, bench.file.use), ...first.refusals, ...missing,
        ...standRefusals(standInput(input, work, request, proven)), ...held.refusals, ...plan.refusals,
      ]),
      warnings: [
        ...before ? [before.words] : [], ...first.warnings, ...plan.warnings, ...held.warnings, 
        ...calibrationTold(bench, clock.wallMs()).pastDue,
      ],
    },
  }
}

function useRefusals({ use }: PoweringRequest, ways: readonly string[]): Refusal[] {
  if (ways.includes(use)) return []
  const wayOut = 'the bench file names the ways it may be used'
  return [{ what: 'way of use', have: use, need: ways.join(' or '), wayOut }]
}

/** Nobody leaves a unit under drive whose first power was not seen to be well. */
async function firstPowerOf(
  store: Store, { sequence, specimen, use }: PoweringRequest,
): Promise<{ refusals: Refusal[]; warnings: string[] }> {
  if (sequence === 'first-power') return { refusals: [], warnings: [] }
  let have = 'none on record'
  for await (const { run, result } of unitRunsBack(store, specimen)) {
    if (run.sequence !== 'first-power' || run.state === 'refused') continue
    if (run.state === 'done' && result?.grade === 'accept') return { refusals: [], warnings: [] }
    have = `run ${run.id}, ${run.state}${result ? `, ${result.grade}` : ''}`
    break
  }
  if (use === 'attended') return { refusals: [], warnings: [`first power of ${specimen}: ${have}`] }
  return {
    warnings: [], refusals: [{
      what: `first power of ${specimen}`, have, need: 'one that got done and was accepted',
      wayOut: 'run first-power, or stay with it (attended)',
    }],
  }
}

function planOf(
  { sequence, unit, specimen, use }: PoweringRequest, { work: { cautions } }: AskedWork,
  { profile, stand, places }: PlanInput, { steps, measured, left, refusals, warnings }: WorkPlan,
): PoweringPlan {
  return {
    sequence, unit, specimen, use, mainsV: stand.mainsV, currentMaxA: profile.supply.currentMaxA,
    steps: [...steps], expectedS: steps.reduce((sum, { seconds }) => sum + seconds, 0),
    watched: places.all.map(({ name }) => name), measured: [...measured], left: [...left],
    cautions: [...cautions], refusals: [...refusals], warnings: [...warnings],
  }
}

const standInput = (
  { profile, stand, places, roles }: PlanInput, { drivenShare }: WorkPlan,
  { unpowered, use }: PoweringRequest, proven: ReadonlySet<string> | null,
): Parameters<typeof standRefusals>[0] => ({
  profile, stand, places, unpowered, proven, drivenShare, isUnattended: use === 'unattended',
  gear: {
    mainsSwitch: roles.mainsSwitch, load: roles.load, digitizer: roles.digitizer,
    hasGenerator: roles.generator !== undefined, hasThermometer: roles.thermometer !== undefined,
    hasInterlock: roles.interlock !== undefined,
  },
})

const gearInput = (
  { profile, stand, places }: PlanInput, gear: ReturnType<typeof gearOf>,
): Parameters<typeof unitGear>[0] => ({
  gear, mainsV: stand.mainsV, mainsTolerance: stand.mainsTolerance, currentMaxA: profile.supply.currentMaxA,
  outputs: places.outputs.map(({ spec: { name, output: { ratedW, loadOhm } }, output: { divider } }) =>
    ({ name, ratedW, loadOhm, divider })),
})

const needed: readonly RoleName[] = ['mains-switch', 'power-meter', 'sense-meter', 'scanner']

/** Throws REFUSED where one is missing that every unit on mains needs. */
export function powerRolesOf(roles: Roles): PowerRoles {
  const missing = needed.filter(role => roles[role] === undefined)
  if (missing.length > 0) {
    throw new BenchError('REFUSED', 'a unit on mains needs roles this bench lacks', {
      expected: missing.join(', '), got: 'none',
    })
  }
  return {
    mainsSwitch: roles['mains-switch']!, powerMeter: roles['power-meter']!, meter: roles['sense-meter']!,
    scanner: roles.scanner!, thermometer: roles.thermometer, interlock: roles.interlock,
    beacon: roles.beacon, generator: roles.generator, load: roles.load, digitizer: roles.digitizer,
    acMeter: roles['ac-meter'],
  }
}

/** Of the parts that the stages name: those whose word on record is a good one. Null where none is named. */
async function provenOf(
  store: Store, specimen: string, { stages }: UnitProfile,
): Promise<ReadonlySet<string> | null> {
  const designators = [...new Set(stages.flatMap(({ parts }) => parts))]
  if (designators.length === 0) return null
  const { parts } = await unitParts(store, { unit: specimen, designators })
  return new Set(parts
    .filter(({ newest, stands }) => (stands ?? newest)?.result.grade === 'accept')
    .map(({ designator }) => designator))
}
