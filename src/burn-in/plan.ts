/** What a burn-in would do, and what keeps it from being done. Pure. */
import { steadyCriteria } from '../analysis/thermal/steady-state.ts'
import type { PlanInput, WorkPlan } from '../powering/work.ts'
import type { Refusal } from '../schema/refusals.ts'
import { askedS, driveKey, isDriven, phaseWords, type BurnInParameters } from './parameters.ts'
import { frequenciesOf } from './gains.ts'

export function burnInPlan(input: PlanInput, parameters: BurnInParameters): WorkPlan {
  const { programme, standS, restS } = parameters
  return {
    steps: [
      { name: 'comes up', seconds: standS }, ...stepsLeft(parameters),
      { name: 'at rest, last look', seconds: restS },
    ],
    measured: [], left: [], refusals: refusalsOf(input, parameters), warnings: warningsOf(input, parameters),
    drivenShare: Math.max(0, ...programme.filter(isDriven).map(({ powerShare }) => powerShare)),
  }
}

/** Phases, without what counted in earlier runs. */
function stepsLeft({ programme, alreadyCountedS }: BurnInParameters): WorkPlan['steps'] {
  let before = alreadyCountedS
  return programme.flatMap(phase => {
    const seconds = Math.max(0, phase.forS - before)
    before = Math.max(0, before - phase.forS)
    return seconds === 0 ? [] : [{ name: phaseWords(phase), seconds }]
  })
}

/** Power of the loudest step over the mean: noise is cut at four times its mean, and music doubles it. */
const peakOverMean = { tone: 1, cycles: 1, noise: 4.1, music: 7.2 } as const

function refusalsOf({ places, roles }: PlanInput, parameters: BurnInParameters): Refusal[] {
  const { generator, load, digitizer } = roles
  const { programme, alreadyCountedS, gain } = parameters
  const driven = programme.filter(isDriven)
  const refusals: Refusal[] = []
  const held = (ok: boolean, what: string, have: string, need: string, wayOut: string): void => {
    if (!ok) refusals.push({ what, have, need, wayOut })
  }
  const asked = askedS(parameters)
  held(alreadyCountedS < asked, 'time that counted already', `${alreadyCountedS} s`, `less than ${asked} s`,
    'it is done; ask for a longer programme')
  if (driven.length === 0) return refusals
  held(places.outputs.length > 0, 'outputs that are driven', 'none on the stand', 'at least one', 'wire it')
  const deaf = places.outputs.filter(({ output }) => !digitizer || output.digitizer === undefined)
  held(deaf.length === 0 || gain !== undefined, `the gain of ${deaf.map(({ spec }) => spec.name).join(', ')}`,
    'no digitizer hears the output', 'the volts out for one volt in',
    'lead a digitizer there, or give `gain`')
  if (generator) {
    const { frequencyMinHz, frequencyMaxHz } = generator
    const hz = frequenciesOf(programme)
    held(hz[0]! >= frequencyMinHz && hz.at(-1)! <= frequencyMaxHz, 'frequencies of the programme',
      `${hz[0]} to ${hz.at(-1)} Hz`, `${frequencyMinHz} to ${frequencyMaxHz} Hz of the generator`,
      'ask for others')
  }
  for (const { spec } of load ? places.outputs : []) {
    const peakW = Math.max(...driven.map(({ kind, powerShare }) =>
      Math.min(1, peakOverMean[kind] * powerShare) * spec.output.ratedW))
    held(load!.peakW >= peakW, `load of ${spec.name} at the loudest`, `${load!.peakW} W`,
      `at least ${peakW.toFixed(1)} W`, 'use one that is rated for it, or drive with less')
  }
  return refusals
}

/** Places come to rest, and two looks are apart, within this, s (our choice). */
const warmUpS = 3.5 * 3600

function warningsOf(
  { places, roles: { digitizer } }: PlanInput, { programme, steadyBy }: BurnInParameters,
): string[] {
  const perDrive = new Map<string, number>()
  for (const phase of programme) {
    perDrive.set(driveKey(phase), (perDrive.get(driveKey(phase)) ?? 0) + phase.forS)
  }
  const longest = Math.max(...perDrive.values())
  const lowest = Math.min(...programme.filter(isDriven)
    .map(phase => 'lowHz' in phase ? phase.lowHz : phase.frequencyHz))
  return [
    ...places.air !== null ? [] : ['nothing reads the air (a thermometer of the stand called `air`): it is '
      + 'no condition, and a sensor that came off its place is not noticed'],
    ...digitizer && places.outputs.every(({ output }) => output.digitizer !== undefined) ? []
      : ['outputs that no digitizer hears: a joint that opens, and distortion, are not noticed there'],
    ...longest >= warmUpS ? [] : [`no drive lasts for ${warmUpS / 3600} h: places may not come to rest by `
      + `"${steadyCriteria[steadyBy].words}", and without that there is no drift`],
    ...lowest >= lowestHz ? [] : [`a meter of DC that averages over a cycle of the mains is led astray by `
      + `${lowest} Hz: filter its probes at the outputs, or ask for a higher one`],
  ]
}
const lowestHz = 40
