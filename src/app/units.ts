/** What the record has of the parts of a unit, and a rack for those that are to be formed. */
import { z } from 'zod'
import type { PartProfile } from '../schema/part-profile.ts'
import { inServiceIn } from '../report/service.ts'
import { judgesPositions, type PartResult, type RunHead, type RunRecord } from '../schema/run.ts'
import type { InService } from '../schema/service.ts'
import type { Store } from '../schema/store.ts'
import {
  partName, type Newest, type ProposedRack, type RackRequest, type ToForm, type UnitParts, type UnitRequest,
} from '../schema/unit.ts'
import { runsMost } from './runs-back.ts'
import { screenSequence } from './settled.ts'

/** Sequences that put no volts on a part; of these the newest word alone counts. */
const withoutVolts: readonly string[] = ['capacitor-check', 'discharge']
const isWithoutVolts = ({ sequence }: RunHead): boolean => withoutVolts.includes(sequence)

/** What is known of one part while runs are gone through, newest first. */
interface Sought {
  newest: Newest | null
  /** What decides so far. */
  stands: Newest | null
  /** The most volts of a good word so far: what was bad before, at no more than these, is mended. */
  goodV: number
  isSettled: boolean
  inService: InService | null
}

/**
 * Of each part the newest result, and an older one that it does not undo: after a good word what was found at
 * more volts, after any but a reject a reject at more volts.
 */
export async function unitParts(
  store: Store, { unit, designators, insideC }: UnitRequest,
): Promise<UnitParts> {
  const names = designators.map(designator => partName(unit, designator))
  const sought = new Map(names.map(name =>
    [name, { newest: null, stands: null, goodV: -Infinity, isSettled: false, inService: null } as Sought]))
  const open = (): Sought[] => [...sought.values()].filter(({ isSettled }) => !isSettled)
  const runs = await store.listRuns(runsMost)
  let seen = 0
  for (const run of runs) {
    const looking = open()
    if (looking.length === 0) break
    seen++
    if (judgesPositions(run) || isWithoutVolts(run) && looking.every(({ newest }) => newest)) continue
    const results = (await store.results(run.id)).filter(({ part }) => sought.get(part)?.isSettled === false)
    const record = results.length > 0 && run.sequence !== screenSequence ? await store.run(run.id) : undefined
    const asked = record ? askedOf(record) : atJig
    for (const result of results) {
      const one = sought.get(result.part)!
      if (record) one.inService ??= inServiceIn(record, result.position, insideC ?? null)
      take(one, newestOf(run, result, asked))
    }
  }
  return {
    unit, runs: seen, wasAll: open().length === 0 || runs.length < runsMost,
    parts: designators.map((designator, i) => {
      const { newest, stands, inService } = sought.get(names[i]!)!
      return { designator, newest, stands: stands === newest ? null : stands, inService }
    }),
  }
}

/** Takes in the next older word on a part. */
function take(sought: Sought, word: Newest): void {
  const { stands, goodV } = sought
  const { volts, result: { grade } } = word
  sought.newest ??= word
  if (grade === 'accept') {
    sought.goodV = Math.max(goodV, volts ?? 0)
    sought.isSettled = isWhole(word)
  }
  const counts = stands === null || exceeds(word, Math.max(goodV, stands.volts ?? 0))
    && (stands.result.grade === 'accept' || grade === 'reject')
  if (!counts) return
  sought.stands = word
  sought.isSettled ||= grade === 'reject'
}

/** No older word is of more volts than these, or volts are none of its matter. */
const isWhole = ({ volts, ratedV }: Newest): boolean => volts === null || ratedV !== null && volts >= ratedV

const newestOf = (
  { id, sequence, startedWallMs, person }: RunHead, result: PartResult, asked: Asked,
): Newest => ({
  run: id, sequence, startedWallMs, person, result, volts: voltsOf(result, asked),
  ratedV: result.upTo?.ratedV ?? asked.ratedV.get(result.profile) ?? null,
})

/**
 * The volts at which something was said of a part; null where volts are none of its matter. What left a rack
 * before it was read there was to go to the target.
 */
function voltsOf({ grade, criteria, figures, upTo }: PartResult, { targetV }: Asked): number | null {
  const { leakageV, leftAtV = 0 } = figures
  const isCapacitor = criteria.some(({ name }) => name === 'capacitance')
  if (leakageV !== undefined) return leakageV
  if (targetV === null) return isCapacitor ? 0 : null
  return upTo?.volts ?? (grade !== 'accept' && leftAtV > 0 ? leftAtV : targetV)
}

/** What a run on the rack was to go to, and its parts are rated for. */
interface Asked { readonly targetV: number | null; readonly ratedV: ReadonlyMap<string, number> }
const atJig: Asked = { targetV: null, ratedV: new Map() }

const askedSetup = z.looseObject({
  plan: z.looseObject({ targetV: z.number() }).optional(),
  parts: z.array(z.looseObject({
    name: z.string(), profile: z.looseObject({ ratedV: z.number() }),
  })).optional(),
})

function askedOf(run: RunRecord): Asked {
  const { data: { plan, parts = [] } = {} } = askedSetup.safeParse(run.setup)
  const ratedV = new Map(parts.map(({ name, profile }) => [name, profile.ratedV]))
  return { ratedV, targetV: isWithoutVolts(run) ? 0 : plan?.targetV ?? null }
}

/** More by this share is more volts: what a source was set to, and what it gave, differ by less. */
const moreShare = 0.01
const exceeds = ({ volts }: Newest, thanV: number): boolean => (volts ?? 0) > (1 + moreShare) * thanV

/** A profile is of a part that has its rated volts and its capacitance to within this share. */
const sameShare = 0.01

/**
 * The largest group of one rated voltage on the positions of this bench, in order. What has no profile of its
 * own, or several, is left with the reason: a person chooses.
 */
export function proposeRack(
  positions: readonly string[], profiles: readonly PartProfile[], { unit, parts }: RackRequest,
): ProposedRack {
  const left: ProposedRack['left'][number][] = []
  const fitting: { designator: string; profile: PartProfile }[] = []
  for (const part of parts) {
    const profile = profileOf(part, profiles)
    if (typeof profile === 'string') left.push({ designator: part.designator, why: profile })
    else fitting.push({ designator: part.designator, profile })
  }
  const ratedV = largestGroup(fitting.map(({ profile }) => profile.ratedV))
  const group = fitting.filter(({ profile }) => profile.ratedV === ratedV)
  const later = [
    ...fitting.filter(part => !group.includes(part))
      .map(({ designator, profile }) => ({ designator, why: `${profile.ratedV} V: another night` })),
    ...group.slice(positions.length).map(({ designator }) =>
      ({ designator, why: `the bench has ${positions.length} positions: another night` })),
  ]
  return {
    ratedV, left: [...left, ...later],
    parts: group.slice(0, positions.length).map(({ designator, profile }, i) => ({
      position: positions[i]!, part: partName(unit, designator), profile: profile.name,
      ratedV: profile.ratedV, capacitanceF: profile.capacitanceF,
    })),
  }
}

/** The profile, or why there is none. */
function profileOf({ ratedV, capacitanceF }: ToForm, profiles: readonly PartProfile[]): PartProfile | string {
  if (ratedV === null || capacitanceF === null) return 'the list gives no rating or no value'
  const fits = profiles.filter(profile => profile.ratedV === ratedV
    && Math.abs(profile.capacitanceF - capacitanceF) <= sameShare * capacitanceF)
  if (fits.length === 1) return fits[0]!
  return fits.length === 0 ? 'no part profile has its rating and value: write one'
    : `several part profiles fit, choose: ${fits.map(({ name }) => name).join(', ')}`
}

function largestGroup(ratings: readonly number[]): number | null {
  const counts = new Map<number, number>()
  for (const rating of ratings) counts.set(rating, (counts.get(rating) ?? 0) + 1)
  let best: number | null = null
  for (const [rating, count] of counts) if (best === null || count > counts.get(best)!) best = rating
  return best
}
