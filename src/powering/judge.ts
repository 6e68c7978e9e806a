/** What a unit at rest on full mains comes to: each quantity with its uncertainty against its limit. Pure. */
import { combineGrades } from '../analysis/conformance.ts'
import type { Criterion, PartResult } from '../schema/run.ts'
import type { Measured } from '../schema/reading.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import { criterion, show } from '../sequences/criteria.ts'
import type { Places } from './places.ts'

/** The newest good reading of a channel by name, or null. */
export type Newest = (channel: string) => Measured | null

type Limits = { low?: number; high?: number }

/** `isWarm`: idle currents too are held against both ends of their window. */
export function criteriaAtRest(
  profile: UnitProfile, places: Places, newest: Newest, isWarm: boolean,
): { readonly criteria: readonly Criterion[]; readonly unread: readonly string[] } {
  const criteria: Criterion[] = []
  const unread: string[] = []
  const held = (
    name: Criterion['name'], where: string, channel: string, unit: string, limits: Limits, source: string,
  ): void => {
    const read = newest(channel)
    if (read === null) unread.push(channel)
    else criteria.push({ ...criterion(name, read, unit, limits, source), ...where === '' ? {} : { where } })
  }
  for (const { spec, channel } of places.rails) {
    const [low, high] = [1 - spec.tolerance, 1 + spec.tolerance].map(k => k * spec.nominalV)
      .sort((a, b) => a - b) as [number, number]
    held('rail voltage', spec.name, channel.name, 'V', { low, high }, spec.source)
  }
  criteria.push(...mirrors(places, newest))
  for (const { spec, channel } of places.idle) {
    held('idle current', spec.name, channel.name, 'A',
      { high: spec.maxA, ...isWarm && spec.minA > 0 ? { low: spec.minA } : {} }, spec.source)
  }
  for (const { spec: { name, output }, channel } of places.dc) {
    held('dc at the output', name, channel.name, 'V',
      { low: -output.dcMaxV, high: output.dcMaxV }, output.dcSource)
  }
  for (const { spec, channel } of places.temperatures) {
    held('temperature', spec.place, channel.name, '°C', { high: spec.maxC }, spec.source)
  }
  const { supply } = profile
  if (supply.kind === 'mains') {
    held('mains power', '', places.mains.power.name, 'W', { high: supply.powerIdleMaxW }, 'unit profile')
  }
  return { criteria, unread }
}

function mirrors({ rails }: Places, newest: Newest): Criterion[] {
  return rails.flatMap(({ spec, channel }) => {
    const mirror = rails.find(other => other.spec.name === spec.pairedWith)
    if (!mirror || mirror.channel.index < channel.index) return []
    const [one, other] = [newest(channel.name), newest(mirror.channel.name)]
    if (one === null || other === null) return []
    const most = spec.asymmetryMax * Math.abs(spec.nominalV)
    const read = { value: one.value + other.value, u: Math.hypot(one.u, other.u) }
    const where = `${spec.name} and ${mirror.spec.name}`
    return [{ ...criterion('rail symmetry', read, 'V', { low: -most, high: most }, spec.source), where }]
  })
}

/** One result of the whole unit; the worst of its criteria decides. */
export function unitResult(
  profile: UnitProfile, specimen: string, criteria: readonly Criterion[], unread: readonly string[],
  said: string,
): PartResult {
  const worst = combineGrades(criteria)
  const grade = unread.length > 0 && worst.grade !== 'reject' ? 'cannot tell' : worst.grade
  const failing = criteria.filter(one => one.grade !== 'accept')
  const why = [
    ...failing.map(one => `${one.name}${one.where ? ` of ${one.where}` : ''} ${show(one)}`),
    ...unread.length > 0 ? [`not read: ${unread.join(' ')}`] : [],
  ]
  return {
    position: 'unit', part: specimen, profile: profile.unit, grade, provisional: false,
    disposition: grade === 'accept' ? 'use' : grade === 'reject' ? 'replace' : 'retest',
    pConform: unread.length > 0 ? NaN : worst.pConformAtLeast,
    reason: why.length === 0 ? said : `${said}; ${why.join('; ')}`,
    criteria, figures: {},
  }
}

/** A unit that did not get as far as being judged. */
export const unitFault = (profile: UnitProfile, specimen: string, reason: string): PartResult => ({
  position: 'unit', part: specimen, profile: profile.unit, grade: 'reject', provisional: false,
  disposition: 'replace', pConform: 0, reason, criteria: [], figures: {},
})
