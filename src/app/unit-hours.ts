/** Hours of burn-in of all units of one profile, from the record. */
import { earlyFailures } from '../burn-in/early-failures.ts'
import { poweringRequest } from '../schema/powering.ts'
import type { Store } from '../schema/store.ts'
import type { EarlyFailuresAnswer } from '../schema/unit.ts'
import { runsBack } from './runs-back.ts'

/** Of each unit the newest burn-in in which time counted. One that went on has the hours of those before. */
export async function earlyFailuresOf(store: Store, unit: string): Promise<EarlyFailuresAnswer> {
  const found = new Map<string, EarlyFailuresAnswer['specimens'][number]>()
  for await (const run of runsBack(store, ({ sequence }) => sequence === 'burn-in')) {
    const request = poweringRequest.safeParse(run.setup['request'])
    if (!request.success || request.data.unit !== unit || found.has(request.data.specimen)) continue
    const { specimen } = request.data
    const [result] = await store.results(run.id)
    const hours = (result?.unit?.burnIn?.countedS ?? 0) / 3600
    if (!result || !(hours > 0)) continue
    const failed = result.grade === 'reject'
    found.set(specimen, { specimen, run: run.id, hours, failed, why: failed ? result.reason : '' })
  }
  const specimens = [...found.values()]
  return { unit, specimens, shown: specimens.length === 0 ? null : earlyFailures(specimens) }
}
