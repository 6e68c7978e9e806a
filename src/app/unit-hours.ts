/** Hours of burn-in of all units of one profile, from the record. */
import { earlyFailures } from '../burn-in/early-failures.ts'
import { poweringRequest, type PoweringRequest } from '../schema/powering.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import type { EarlyFailuresAnswer } from '../schema/unit.ts'
import { runsBack } from './runs-back.ts'

type Life = EarlyFailuresAnswer['specimens'][number]

/**
 * Of each unit every burn-in on record in which time counted. One that failed and was mended is as good as
 * another unit: it stands once for each failure, at the hours since the one before, and once for those since
 * the last. The newest first.
 */
export async function earlyFailuresOf(store: Store, unit: string): Promise<EarlyFailuresAnswer> {
  const newestFirst: BurnInOnRecord[] = []
  for await (const run of runsBack(store, ({ sequence }) => sequence === 'burn-in')) {
    const request = poweringRequest.safeParse(run.setup['request'])
    if (!request.success || request.data.unit !== unit) continue
    const [result = null] = await store.results(run.id)
    newestFirst.push(burnInOf(run, request.data, result))
  }
  const specimens = livesOf(newestFirst.reverse()).reverse()
  return { unit, specimens, shown: specimens.length === 0 ? null : earlyFailures(specimens) }
}

interface BurnInOnRecord {
  readonly id: string
  readonly specimen: string
  readonly continues: string | undefined
  /** Time that was taken as counted when it began, and that had counted at its end; null without a result. */
  readonly givenS: number
  readonly countedS: number | null
  /** Why, where it failed by a fault of its own. */
  readonly failure: string | null
}

function burnInOf(
  { id }: RunRecord, { specimen, continues, parameters }: PoweringRequest, result: PartResult | null,
): BurnInOnRecord {
  const given = parameters['alreadyCountedS']
  return {
    id, specimen, continues, givenS: typeof given === 'number' ? given : 0,
    countedS: result?.unit?.burnIn?.countedS ?? null,
    failure: result?.grade === 'reject' ? result.reason : null,
  }
}

/** From runs in the order of their time; lives in the order of their ends. */
function livesOf(runs: readonly BurnInOnRecord[]): Life[] {
  const countedS = new Map<string, number>()
  const ended: Life[] = []
  const going = new Map<string, Life>()
  for (const run of runs) {
    const { id, specimen, continues, failure } = run
    const beforeS = (continues === undefined ? undefined : countedS.get(continues)) ?? run.givenS
    // Time of one without a result is in that of the run that went on after it.
    const afterS = run.countedS ?? beforeS
    countedS.set(id, afterS)
    const addedH = Math.max(0, afterS - beforeS) / 3600
    const hours = (going.get(specimen)?.hours ?? 0) + addedH
    if (hours === 0 || addedH === 0 && failure === null) continue
    going.delete(specimen)
    const life = { specimen, run: id, hours, failed: failure !== null, why: failure ?? '' }
    if (life.failed) ended.push(life)
    else going.set(specimen, life)
  }
  const order = (life: Life): number => runs.findIndex(({ id }) => id === life.run)
  return [...ended, ...going.values()].sort((a, b) => order(a) - order(b))
}
