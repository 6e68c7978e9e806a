/**
 * The first time that a unit has power: stage by stage as it is put together, each from the most limited way
 * to full mains, with everything watched and a person there. Order and times are common practice; limits of
 * the unit's own service data win, and the record says whose they were.
 */
import { z } from 'zod'
import { sleep } from '../base/clock.ts'
import { formatSi } from '../base/format.ts'
import type { PartResult } from '../schema/run.ts'
import type { UnitProfile, UnitStage } from '../schema/unit-profile.ts'
import type { MainsWay } from '../schema/unit-roles.ts'
import { criteriaAtRest, unitFault, unitResult, type Newest } from './judge.ts'
import { isFull } from './limits.ts'
import { closeMains, openMains, settled } from './mains.ts'
import type { Places } from './places.ts'
import type { Power } from './power.ts'
import { railsDown } from './rails-down.ts'
import type { UnitWork } from './work.ts'

export const firstPowerParameters = z.strictObject({
  limitedS: z.number().min(5).max(3600).default(60)
    .describe('How long each limited way is looked at (common practice)'),
  fullS: z.number().min(10).max(3600).default(120)
    .describe('How long full mains is looked at before anything is judged (common practice)'),
  warmS: z.number().min(0).max(7200).default(1200)
    .describe('Until bias and offset are judged, once outputs are fitted (common practice: 10 to 30 min)'),
})
export type FirstPowerParameters = z.infer<typeof firstPowerParameters>

export const firstPowerCautions = [
  'Mains and its rectified rails kill. Only a person qualified for it works on this; local rules come first.',
  'No loudspeaker is connected until DC at every output was shown.',
  'An isolating transformer takes away the protection of an earth-leakage breaker behind it: a second '
    + 'contact to earth is not noticed.',
  'A lamp or a variable transformer in line does not isolate.',
  'Before you reach in: plug out, wait, and prove every rail dead with a meter that you have just proved.',
] as const

/** From the most limited to full; only the full one where the unit may not run low. */
export function waysFor({ supply }: UnitProfile, ways: readonly MainsWay[]): MainsWay[] {
  const full = ways.filter(isFull).slice(0, 1)
  if (supply.kind === 'mains' && !supply.mayRunLow) return full
  const limited = ways.filter(way => !isFull(way))
    .sort((a, b) => b.seriesOhm - a.seriesOhm || a.share - b.share)
  return [...limited, ...full]
}

export interface FirstPowerStep { readonly stage: string; readonly way: string; readonly seconds: number }

/** Pure: what would be done, in order. */
export function firstPowerSteps(
  profile: UnitProfile, ways: readonly MainsWay[], { limitedS, fullS, warmS }: FirstPowerParameters,
): FirstPowerStep[] {
  return profile.stages.flatMap((stage, i) => waysFor(profile, ways).map(way => {
    const isLast = i === profile.stages.length - 1
    const seconds = !isFull(way) ? limitedS : fullS + (stage.outputs && isLast ? warmS : 0)
    return { stage: stage.name, way: way.name, seconds }
  }))
}

/** Resolves with the result of the unit, or of the stage that it did not get past. */
export async function firstPower(
  power: Power, sweep: () => Promise<void>, parameters: FirstPowerParameters,
): Promise<PartResult> {
  await tellUnpowered(power)
  const { profile: { stages } } = power
  for (const [i, stage] of stages.entries()) {
    const isLast = i === stages.length - 1
    await power.hold({ id: `stage.${stage.name}`, text: stageWords(stage), mainsOn: false })
    const result = await oneStage(power, sweep, stage, isLast, parameters)
    if (isLast || result.grade === 'reject' || result.grade === 'cannot tell') return result
    await power.recorder.event({ kind: 'stage', text: `stage ${stage.name} passed` })
  }
  throw new Error('a profile has a stage')
}

const stageWords = ({ name, note, rails, outputs }: UnitStage): string => [
  `stage ${name}: ${note || 'fit what belongs to it'}`,
  ...rails.length > 0 ? [`loads that show life across ${rails.join(', ')}`] : [],
  ...outputs ? ['no loudspeaker connected'] : [],
  'cover closed, hands off; then say go on: mains comes on',
].join('; ')

async function oneStage(
  power: Power, sweep: () => Promise<void>, stage: UnitStage, isLast: boolean,
  { limitedS, fullS, warmS }: FirstPowerParameters,
): Promise<PartResult> {
  const { profile, roles, request, recorder } = power
  const places = placesOfStage(power.places, stage, isLast)
  power.state.standing = new Set(places.rails.map(({ spec }) => spec.name))
  for (const way of waysFor(profile, roles.mainsSwitch.ways)) {
    power.state.stage = `${stage.name}, ${way.name}`
    await closeMains(power, way)
    if (!isFull(way)) {
      await dwell(power, limitedS)
      const dead = absent(power, places, way)
      if (dead.length === 0) continue
      await openMains(power)
      await downOrFault(power, sweep)
      return unitFault(profile, request.specimen,
        `stage ${stage.name} stopped at ${way.name}: ${dead.join(', ')} did not come up`)
    }
    await dwell(power, fullS)
    settled(power, false)
    const isWarm = stage.outputs && isLast
    if (isWarm) await warmUp(power, warmS)
    const { criteria, unread } = criteriaAtRest(profile, places, newestOf(power), isWarm)
    await openMains(power)
    await downOrFault(power, sweep)
    const said = `stage ${stage.name} on full mains for ${formatSi(fullS + (isWarm ? warmS : 0), 's')}`
    await recorder.event({ kind: 'stage-read', text: said, data: figuresOf(criteria) })
    return unitResult(profile, request.specimen, criteria, unread, said)
  }
  throw new Error('a mains switch has a full way')
}

async function downOrFault(power: Power, sweep: () => Promise<void>): Promise<void> {
  if (await railsDown(power, sweep)) return
  power.fault('rails', 'the rails were not measured dead after the mains opened')
}

/** Before outputs are fitted nothing of them is read, and only rails that must stand by then. */
function placesOfStage(places: Places, stage: UnitStage, isLast: boolean): Places {
  if (isLast) return places
  return {
    ...places, rails: places.rails.filter(({ spec }) => stage.rails.includes(spec.name)),
    ...stage.outputs ? {} : { dc: [], idle: [] },
  }
}

async function dwell({ clock, signal }: Power, seconds: number): Promise<void> {
  await sleep(clock, 1000 * seconds, signal)
}

async function warmUp(power: Power, warmS: number): Promise<void> {
  power.state.stage = 'warming up'
  await dwell(power, warmS)
  settled(power, true)
  // One more look at everything with the bounds of a warm unit in force.
  await dwell(power, 3 * power.stand.cadence.probesMs / 1000)
}

/** A rail that a limited way leaves below this share of what the way could give is not there. */
const presentShare = 0.05

function absent({ state }: Power, places: Places, way: MainsWay): string[] {
  return places.rails.filter(({ spec, channel }) => {
    const last = state.last.get(channel.name)
    const leastV = presentShare * way.share * Math.abs(spec.nominalV)
    return last?.quality !== 'good' || Math.abs(last.value) < leastV
  }).map(({ spec }) => spec.name)
}

const newestOf = ({ state }: Power): Newest => channel => {
  const last = state.last.get(channel)
  return last?.quality === 'good' ? last : null
}

const figuresOf = (
  criteria: readonly { name: string; where?: string; value: number }[],
): Record<string, number> =>
  Object.fromEntries(criteria.map(({ name, where, value }) => [where ? `${name} ${where}` : name, value]))

/** What a person found with the plug out is the first thing on record. */
async function tellUnpowered({ recorder, request: { unpowered } }: Power): Promise<void> {
  const { by, earthBondOhm, insulationOhm, insulationV, fuse } = unpowered
  const found = [
    ...earthBondOhm === undefined ? [] : [`earth bond ${formatSi(earthBondOhm, 'Ω')}`],
    ...insulationOhm === undefined ? []
      : [`insulation ${formatSi(insulationOhm, 'Ω')} at ${insulationV ?? 0} V`],
    `fuse ${fuse}`, 'mains parts proven', 'no rail a short',
  ]
  const text = `measured by ${by} with the plug out: ${found.join(', ')}`
  await recorder.event({ kind: 'unpowered', text })
}

export const firstPowerWork: UnitWork<FirstPowerParameters> = {
  name: 'first-power',
  summary: 'gives a unit mains for the first time, stage by stage, with a person there',
  cautions: firstPowerCautions,
  parameters: firstPowerParameters,
  plan: ({ profile, ways, use }, parameters) => ({
    steps: firstPowerSteps(profile, ways, parameters)
      .map(({ stage, way, seconds }) => ({ name: `${stage}, ${way}`, seconds })),
    measured: [], left: [], warnings: [], drivenShare: 0,
    refusals: use === 'attended' ? [] : [{
      what: 'first power', have: 'unattended', need: 'somebody there', wayOut: 'ask for it attended',
    }],
  }),
  run: firstPower,
}
