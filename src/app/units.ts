/** What the record has of the parts of a unit, and a rack for those that are to be formed. */
import type { UnitsPort } from '../schema/application.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import { judgesPositions, type RunHead } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import {
  partName, type Newest, type ProposedRack, type RackRequest, type ToForm, type UnitParts, type UnitRequest,
} from '../schema/unit.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { runsMost } from './runs-back.ts'

export class Units implements UnitsPort {
  readonly #d: Pick<DaemonDeps, 'store' | 'bench' | 'profiles'>
  constructor(deps: Pick<DaemonDeps, 'store' | 'bench' | 'profiles'>) { this.#d = deps }

  async parts(request: UnitRequest): Promise<UnitParts> { return await unitParts(this.#d.store, request) }

  rack(request: RackRequest): ProposedRack {
    const { bench, profiles } = this.#d
    return proposeRack(
      bench.file.fixture.positions.map(({ name }) => name),
      profiles.partNames().map(name => profiles.part(name).profile), request)
  }
}

/** Sequences that take parts to their volts; what others find does not undo what showed there. */
const underVolts: readonly string[] = ['reform', 'leakage-soak']

/** Of each part the newest result, and the newest under its volts. */
export async function unitParts(store: Store, { unit, designators }: UnitRequest): Promise<UnitParts> {
  const names = designators.map(designator => partName(unit, designator))
  const [open, openUnderVolts] = [new Set(names), new Set(names)]
  const [newest, strong] = [new Map<string, Newest>(), new Map<string, Newest>()]
  const runs = await store.listRuns(runsMost)
  let seen = 0
  for (const run of runs) {
    if (openUnderVolts.size === 0) break
    seen++
    if (judgesPositions(run)) continue
    const isStrong = underVolts.includes(run.sequence)
    if (open.size === 0 && !isStrong) continue
    for (const result of await store.results(run.id)) {
      if (open.delete(result.part)) newest.set(result.part, newestOf(run, result))
      if (isStrong && openUnderVolts.delete(result.part)) strong.set(result.part, newestOf(run, result))
    }
  }
  return {
    unit, runs: seen, wasAll: openUnderVolts.size === 0 || runs.length < runsMost,
    parts: designators.map((designator, i) => ({
      designator, newest: newest.get(names[i]!) ?? null, underVolts: strong.get(names[i]!) ?? null,
    })),
  }
}

const newestOf = ({ id, sequence, startedWallMs, person }: RunHead, result: Newest['result']): Newest =>
  ({ run: id, sequence, startedWallMs, person, result })

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
