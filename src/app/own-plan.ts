/**
 * Completes the plan of a person's own sequence with what no sequence may leave out: envelope, loading,
 * current limit.
 */
import { z } from 'zod'
import type { PlanInput } from '../engine/sequence.ts'
import { planStep, type Plan, type PlanStep } from '../schema/application.ts'
import { refusal, type Refusal } from '../schema/refusals.ts'
import type { OwnSequence } from '../schema/own-sequence.ts'
import { invalidFile, parseWith } from '../schema/read-file.ts'
import { reformParameters } from '../sequences/parameters.ts'
import { cautions, formingPlan } from '../sequences/plan.ts'

export const slewOf = ({ slewVPerS = 1 }: Pick<OwnSequence, 'slewVPerS'>): number => slewVPerS

const ownPlan = z.strictObject({
  targetV: z.number().min(1).max(5000).optional(), steps: z.array(planStep).max(1000),
  refusals: z.array(refusal).optional(), warnings: z.array(z.string()).optional(),
})
type OwnPlan = z.infer<typeof ownPlan>

/** Throws FILE_INVALID where the sequence says something that is no plan. Pure as far as the sequence is. */
export function completePlan(own: OwnSequence<unknown>, input: PlanInput<unknown>): Plan {
  const said = askPlan(own, input)
  const plan = own.energises ? livePlan(own, said, input) : quietPlan(own, said, input)
  return {
    ...plan, cautions: [...cautions, ...own.cautions ?? []], steps: said.steps,
    warnings: [...plan.warnings, ...said.warnings ?? []],
    refusals: [
      ...plan.refusals, ...said.steps.flatMap(step => stepRefusal(step, plan.targetV)), ...said.refusals ?? []
    ],
  }
}

function askPlan(own: OwnSequence<unknown>, { bench, parts, parameters }: PlanInput<unknown>): OwnPlan {
  const file = `the plan of ${own.name}`
  const ratedV = parts.length === 0 ? 0 : Math.min(...parts.map(({ profile }) => profile.ratedV))
  const parsed = parseWith(ownPlan, own.plan({ bench, parts, parameters, ratedV }), { file })
  if (!parsed.ok) throw invalidFile(file, parsed.problems)
  const { targetV } = parsed.value
  if (own.energises === (targetV !== undefined)) return parsed.value
  const expected = own.energises ? 'the highest bus voltage' : 'nothing, because it energises nothing'
  throw invalidFile(file, [
    { file, path: 'targetV', expected, got: targetV === undefined ? 'nothing' : `${targetV} V` }
  ])
}

/** As for forming at that target and slew, with its own steps in place of forming's. */
function livePlan(own: OwnSequence<unknown>, { targetV, steps }: OwnPlan, input: PlanInput<unknown>): Plan {
  const parameters = reformParameters.parse({ targetV, slewVPerS: slewOf(own) })
  const base = formingPlan({ ...input, parameters }, own.name, true)
  const tailS = base.longestS - sum(base.steps, 'maxS')
  return { ...base, expectedS: sum(steps, 'minS') + tailS, longestS: sum(steps, 'maxS') + tailS }
}

function quietPlan(
  own: OwnSequence<unknown>, { steps }: OwnPlan, { request, parts, sweepS }: PlanInput<unknown>
): Plan {
  return {
    sequence: own.name, use: request.use, targetV: 0, expectedS: sum(steps, 'minS'),
    longestS: sum(steps, 'maxS'),
    partEnergyMaxJ: 0, rackEnergyJ: 0, touchSafeAfterS: 0, partDissipationMaxW: 0, resistorDissipationW: 0,
    supplyLimitA: 0, overVoltageV: 0, sweepS, relayClosures: parts.length * 2, gasMl: 0, chargeMaxC: 0,
    steps, cautions, warnings: [], refusals: [],
  }
}

function stepRefusal({ name, busV, minS, maxS }: PlanStep, targetV: number): Refusal[] {
  if (busV >= 0 && busV <= targetV && minS >= 0 && minS <= maxS) return []
  return [{
    what: `step ${name} of the plan`, have: `${busV} V for ${minS} to ${maxS} s`,
    need: `at most ${targetV} V, the shortest stay before the longest`,
    wayOut: 'correct the plan of the sequence',
  }]
}

const sum = (
  steps: readonly PlanStep[], key: 'minS' | 'maxS'
): number => steps.reduce((total, step) => total + step[key], 0)
