/** What the record of a unit is made from, read out of the store. */
import { z } from 'zod'
import { isUnitSequence } from '../schema/powering.ts'
import type { RunHead } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { verified } from './record.ts'
import { gaveMains, hasFindings, pointsMost, sequenceOf } from './unit-record-runs.ts'
import type { UnitRecordInput, UnitRun } from './unit-record.ts'

export interface ReadOptions {
  /** Recompute the chain of each run that is shown: reads them whole. */
  readonly verify?: boolean
  /** So many of the newest runs of the bench are looked through. */
  readonly runsMost: number
}

interface Sought extends Pick<UnitRun, 'run' | 'events' | 'result'> {}

/**
 * Of each kind the newest run, the newest that was not refused, that gave mains, and that left findings; the
 * others are named. One run at a time is held whole: setups may be long.
 */
export async function readUnitRuns(
  store: Store, specimen: string, { verify = false, runsMost }: ReadOptions,
): Promise<Pick<UnitRecordInput, 'runs' | 'others' | 'wasAll'>> {
  const runs: UnitRun[] = []
  const others: UnitRecordInput['others'][number][] = []
  const filled = new Set<string>()
  const heads = await store.listRuns(runsMost)
  for (const head of heads) {
    const sought = await ofUnit(store, head, specimen)
    if (!sought) continue
    const open = slotsOf(sought).filter(slot => !filled.has(slot))
    open.forEach(slot => filled.add(slot))
    const { id, sequence, state, startedWallMs } = head
    if (open.length > 0) runs.push(await wholeRun(store, sought, verify))
    else others.push({ id, sequence, state, startedWallMs, grade: sought.result?.grade ?? null })
  }
  return { runs, others, wasAll: heads.length < runsMost }
}

/** For what the newest such run is shown. */
function slotsOf({ run, events, result }: Sought): string[] {
  const slots = [
    'run', ...run.state === 'refused' ? [] : ['begun'], ...gaveMains(events) ? ['mains'] : [],
    ...hasFindings(sequenceOf(run), result) ? ['findings'] : [],
  ]
  return slots.map(slot => `${run.sequence} ${slot}`)
}

const asked = z.looseObject({ specimen: z.string() })

/** Null where it is of something else. */
async function ofUnit(store: Store, { id, sequence }: RunHead, specimen: string): Promise<Sought | null> {
  if (!isUnitSequence(sequence)) return null
  const run = await store.run(id)
  const read = asked.safeParse(run?.setup['request'])
  if (!run || !read.success || read.data.specimen !== specimen) return null
  const results = await store.results(id)
  return {
    run, events: await store.events(id), result: results.find(({ position }) => position === 'unit') ?? null,
  }
}

async function wholeRun(store: Store, sought: Sought, verify: boolean): Promise<UnitRun> {
  const { id } = sought.run
  const series: UnitRun['series'][number][] = []
  for (const channel of await store.channels(id)) {
    series.push({ channel, buckets: await store.levels(id, channel.index, pointsMost) })
  }
  return {
    ...sought, series, chainHead: await store.chainHead(id), chain: verify ? await verified(store, id) : null,
  }
}
