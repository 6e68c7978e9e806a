/**
 * The proof of what a unit claims: the bench by itself, then mains and warmth, then every figure that a claim
 * needs. A unit is taken to have had its first power.
 */
import { hasCode } from '../base/errors.ts'
import { openMains, switchLoad } from '../powering/mains.ts'
import type { Power } from '../powering/power.ts'
import { railsDown } from '../powering/rails-down.ts'
import type { UnitWork } from '../powering/work.ts'
import { frequencyCurve, spectrumCurve } from '../proving/curves.ts'
import { planProof, type Plan, type WordedClaim } from '../proving/plan.ts'
import { beginProving, type Proving } from '../proving/proving.ts'
import { verifyUnit, type Proven } from '../proving/verify.ts'
import type { ClaimVerdict } from '../schema/claims.ts'
import type { Figure } from '../schema/figure.ts'
import type { PartResult } from '../schema/run.ts'
import type { Curve } from '../schema/unit-findings.ts'
import { judged, verifyResult } from './findings.ts'
import { verifyParameters, type VerifyParameters } from './parameters.ts'
import { leftWords, stepWords, verifyPlan, wordedClaims } from './plan.ts'
import { portOver, type Sweep } from './port.ts'
import { ratedStep } from './reach.ts'
import { figureWords, verdictWords } from './words.ts'

export const verifyCautions = [
  'Mains and its rectified rails kill. Only a person qualified for it works on this; local rules come first.',
  'No loudspeaker is connected at any time: the unit is driven until it clips.',
  'Loads get hot at full power; nothing that burns lies near them.',
  'The patch is changed with the mains open and every rail measured dead. '
    + 'Prove it before you touch a terminal.',
] as const

export const verifyWork: UnitWork<VerifyParameters> = {
  name: 'verify',
  summary: 'measures what a unit does against what it claims, with a person there for the patch',
  cautions: verifyCautions,
  parameters: verifyParameters,
  plan: verifyPlan,
  run: verify,
}

interface Finding { readonly figures: Figure[]; readonly curves: Curve[]; readonly left: string[] }

async function verify(power: Power, sweep: Sweep, parameters: VerifyParameters): Promise<PartResult> {
  const claims = wordedClaims(power.profile)
  const found: Finding = { figures: [], curves: [], left: [] }
  let isCut = false
  try {
    await measureAll(power, sweep, parameters, { claims, found })
  } catch (error) {
    // What was measured until then is not lost.
    if (!power.signal.aborted || found.figures.length === 0) throw error
    isCut = true
    found.left.push('it was broken off before everything was measured')
  }
  const verdicts = judged(power.profile, claims, found.figures)
  for (const verdict of verdicts) await told(power, verdict)
  const result = verifyResult(power.profile, power.request.specimen, verdicts, found)
  return isCut && result.grade === 'accept' ? { ...result, grade: 'cannot tell', disposition: 'retest' }
    : result
}

async function measureAll(
  power: Power, sweep: Sweep, parameters: VerifyParameters,
  { claims, found }: { claims: readonly WordedClaim[]; found: Finding },
): Promise<void> {
  const proving = beginProving(portOver(power, sweep, parameters))
  const plan = await planFor(proving, claims)
  found.left.push(...plan.unprovable.map(one => leftWords(one, claims)))
  for await (const proven of verifyUnit(proving, plan)) await take(power, found, proven)
  if (parameters.spectra && plan.steps.length > 0) await spectra(power, proving, found)
  await backToRest(power, sweep)
  found.curves.push(...proving.curves, ...frequencyCurves(found.figures))
}

async function told({ recorder }: Power, verdict: ClaimVerdict): Promise<void> {
  const { words, end, margin, pConform } = verdict
  await recorder.event({
    kind: 'claim', severity: end === 'not met' ? 'warning' : 'info', text: verdictWords(verdict),
    data: { words, end, margin, pConform },
  })
}

async function planFor(proving: Proving, claims: readonly WordedClaim[]): Promise<Plan> {
  const { port } = proving
  const loads = Object.fromEntries(await Promise.all(port.channels.map(async ({ name }) =>
    [name, await port.load(name)] as const)))
  return planProof(proving, { reach: port, loads }, claims)
}

async function take({ recorder }: Power, found: Finding, proven: Proven): Promise<void> {
  if ('error' in proven) {
    const text = `${stepWords(proven.step)}: ${proven.error.message}`
    found.left.push(text)
    await recorder.event({ kind: 'left', severity: 'warning', text })
    return
  }
  for (const figure of proven.figures) {
    found.figures.push(figure)
    const { quantity, channel, value, unit, u } = figure
    await recorder.event({
      kind: 'figure', text: figureWords(figure), data: { quantity, channel, value, unit, u },
    })
  }
}

/** One picture of each channel; that one cannot be had says nothing of the unit. */
async function spectra(power: Power, proving: Proving, { curves, left }: Finding): Promise<void> {
  for (const { name: channel, output: { ratedW } } of proving.port.channels) {
    power.state.stage = `${channel}, spectrum`
    try {
      curves.push(await spectrumCurve(proving, { channel, outputW: ratedW }))
    } catch (error) {
      power.signal.throwIfAborted()
      if (!hasCode(error, 'REFUSED', 'NO_READING', 'OUT_OF_RANGE')) throw error
      left.push(`${channel}: no spectrum at rated power: ${error.message}`)
    }
  }
}

/** Loads as they stood, mains open, rails followed down. */
async function backToRest(power: Power, sweep: Sweep): Promise<void> {
  const { places, roles: { load }, state } = power
  for (const place of places.outputs) {
    const ohm = ratedStep(place, load!)
    if (ohm !== null && state.loads.has(place.spec.name)) await switchLoad(power, place.spec.name, ohm)
  }
  if (!state.wasOn) return
  await openMains(power)
  if (await railsDown(power, sweep)) return
  power.fault('rails', 'the rails were not measured dead after the mains opened')
}

/** Distortion at one level and several frequencies, where the claims asked for it. */
function frequencyCurves(figures: readonly Figure[]): Curve[] {
  const groups = new Map<string, Figure[]>()
  for (const figure of figures) {
    const { quantity, channel, conditions: { driven, outputW } } = figure
    if (quantity !== 'thd' && quantity !== 'thd+n' || outputW === undefined || channel === null) continue
    const key = [quantity, channel, driven, outputW.toPrecision(1)].join(' ')
    groups.set(key, [...groups.get(key) ?? [], figure])
  }
  return [...groups.values()].flatMap(list => {
    const [{ quantity, channel, conditions: { driven, outputW, loadOhm } }] = list as [Figure]
    const points = list.map(({ value, conditions: { frequencyHz } }) =>
      ({ hz: frequencyHz!, distortion: value }))
    const curve = frequencyCurve(points, {
      channel: channel!, of: quantity as 'thd' | 'thd+n', driven: driven ?? 'one', loadOhm: loadOhm!,
      outputW: outputW!,
    })
    return curve === null ? [] : [curve]
  })
}
