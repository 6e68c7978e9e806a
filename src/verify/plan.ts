/** What a proof of the figures of a unit would do on this stand, and what keeps it from being done. Pure. */
import { claimsOf } from '../claims/unit-file.ts'
import { subjectWords } from '../claims/words.ts'
import { formatSi } from '../base/format.ts'
import type { WorkPlan } from '../powering/work.ts'
import type { PlanInput } from '../powering/work.ts'
import type { LoadState } from '../proving/port.ts'
import { planProof, type Plan, type PlanStep, type Unprovable, type WordedClaim } from '../proving/plan.ts'
import { planned } from '../proving/proving.ts'
import type { Claim } from '../schema/claims.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import type { VerifyParameters } from './parameters.ts'
import { loadState, ratedStep, reachOf, type Gear } from './reach.ts'

type Refusals = WorkPlan['refusals']

/** With the words that the unit prints. */
export const wordedClaims = (profile: UnitProfile): WordedClaim[] =>
  claimsOf(profile).flatMap(({ words, claims }) => claims.map(claim => ({ words, claim })))

/** Null where the stand has not what it takes. */
export function proofPlan(gear: Gear, parameters: VerifyParameters): Plan | null {
  const reach = reachOf(gear, parameters)
  const { places, roles: { load } } = gear
  if (reach === null || !load) return null
  const loads: Record<string, LoadState> = Object.fromEntries(places.outputs.map(one =>
    [one.spec.name, loadState(one, load, ratedStep(one, load), parameters)]))
  return planProof(planned(reach), { reach, loads }, wordedClaims(gear.profile))
}

/** Of its rated watts a unit gives no more than this for long; loads rest where they must. */
const longShare = 1 / 8
/** A spectrum of each channel. */
const spectrumS = 5

export function verifyPlan(input: PlanInput, parameters: VerifyParameters): WorkPlan {
  const plan = proofPlan(input, parameters)
  const worded = wordedClaims(input.profile)
  const { settleS, warmS, spectra } = parameters
  const steps = plan === null ? [] : [
    { name: 'the bench by itself', seconds: plan.loopSeconds },
    { name: 'mains on, warming up', seconds: settleS + warmS },
    ...plan.steps.map(step => ({ name: stepWords(step), seconds: step.seconds })),
    ...spectra ? [{ name: 'spectra', seconds: spectrumS * input.places.outputs.length }] : [],
    { name: 'rails go down', seconds: input.profile.railsDownS },
  ]
  return {
    steps, drivenShare: longShare,
    measured: plan?.steps.map(stepWords) ?? [],
    left: plan?.unprovable.map(one => leftWords(one, worded)) ?? [],
    refusals: refusalsOf(input, plan, parameters), warnings: [],
  }
}

export function leftWords({ claim, channel, why }: Unprovable, claims: readonly WordedClaim[]): string {
  const { words, claim: of } = claims[claim]!
  return `${channel === null ? '' : `${channel}: `}${words} (${whatWords(of)}) cannot be proven: ${why}`
}

const whatWords = ({ quantity }: Claim): string => subjectWords[quantity]

export function stepWords({ job }: PlanStep): string {
  const at = 'hz' in job ? ` at ${formatSi(job.hz, 'Hz')}` : ''
  const what = job.do === 'quiet' ? [...new Set(job.asked.map(one => one.what))].join(', ')
    : job.do === 'distortion' ? subjectWords[job.of]
      : job.do === 'corner' ? `${job.limitDb} dB point, ${job.towards}`
        : job.do === 'power bandwidth' ? `power bandwidth, ${job.towards}`
          : job.do === 'response' && job.against ? 'equalisation' : job.do
  return `${job.channel === null ? '' : `${job.channel}: `}${what}${at}`
}

function refusalsOf(
  { use, roles, places, profile }: PlanInput, plan: Plan | null, told: VerifyParameters,
): Refusals {
  const refuse = (what: string, have: string, need: string, wayOut: string): Refusals[number] =>
    ({ what, have, need, wayOut })
  const needed = [
    ['generator', roles.generator], ['digitizer', roles.digitizer], ['load', roles.load],
  ] as const
  const outputs = places.outputs.map(({ output }) => output)
  const unknown = Object.keys(told.loads).filter(name => profile.channels.every(one => one.name !== name))
  return [
    ...needed.flatMap(([role, gear]) => gear ? []
      : [refuse(role, 'none on this bench', 'one', 'enter one in the bench file')]),
    ...use === 'attended' ? []
      : [refuse('the patch', 'nobody there', 'somebody who changes it', 'ask for it attended')],
    ...outputs.filter(({ digitizer }) => digitizer === undefined).map(({ name }) =>
      refuse(`output ${name}`, 'no channel of the digitizer', 'one',
        'enter it in `stand.outputs` of the bench file')),
    ...same(outputs.map(({ divider }) => divider)) ? [] : [refuse('dividers before the digitizer',
      outputs.map(({ divider }) => divider).join(', '), 'the same at every output', 'fit like ones')],
    ...same(outputs.map(({ inLineOhm }) => inLineOhm)) ? [] : [refuse('resistors after the generator',
      outputs.map(({ inLineOhm }) => `${inLineOhm} Ω`).join(', '), 'the same at every input',
      'fit like ones')],
    ...unknown.map(name => refuse(`measured load of ${name}`, 'no such channel',
      profile.channels.map(one => one.name).join(' or '), 'name a channel of the unit')),
    ...profile.claims.length === 0
      ? [refuse('claims of the unit', 'none', 'at least one', 'enter them in its profile')]
      : plan?.steps.length === 0
        ? [refuse('claims that can be proven here', 'none', 'at least one', 'see what is left, and why')]
        : [],
  ]
}

const same = (values: readonly number[]): boolean => new Set(values).size <= 1
