/** A burn-in that goes on where an earlier one of the same unit ended before its time. */
import { BenchError } from '../base/errors.ts'
import { formatDuration } from '../base/format.ts'
import type { PoweringRequest } from '../schema/powering.ts'
import type { RunEvent } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { unitRunsBack, type UnitRunOnRecord } from './unit-record.ts'

export interface ContinuedBurnIn {
  /** Those of the earlier run, with the time that counted. */
  readonly parameters: PoweringRequest['parameters']
  /** What a person had better know of it. */
  readonly words: string
}

/**
 * Null where the request continues none. Rejects NOT_FOUND for a run that is none of this unit, REFUSED where
 * it got done, is not the newest burn-in of it, or was of another profile; USAGE with parameters of its own.
 */
export async function continuedBurnIn(
  store: Store, request: PoweringRequest,
): Promise<ContinuedBurnIn | null> {
  const { continues, sequence, parameters } = request
  if (continues === undefined) return null
  if (sequence !== 'burn-in') throw new BenchError('USAGE', 'only a burn-in goes on where another ended')
  if (Object.keys(parameters).length > 0) {
    throw new BenchError('USAGE', 'a burn-in that goes on has the parameters that it began with', {
      expected: 'none', got: Object.keys(parameters).join(', '),
    })
  }
  const before = await newestBurnIn(store, request)
  const countedS = countedIn(before, await store.events(continues))
  return {
    parameters: { ...before.request.parameters, alreadyCountedS: countedS },
    words: `it goes on after run ${continues}, in which ${formatDuration(countedS)} had counted: hours `
      + 'before a repair say nothing of what was replaced',
  }
}

async function newestBurnIn(
  store: Store, { continues, specimen, unit }: PoweringRequest,
): Promise<UnitRunOnRecord> {
  for await (const one of unitRunsBack(store, specimen)) {
    if (one.run.sequence !== 'burn-in') continue
    const refuse = (expected: string, got: string): never => {
      throw new BenchError('REFUSED', `run ${continues} cannot go on`, { expected, got })
    }
    if (one.run.id !== continues) {
      if (!await store.run(continues!)) break
      return refuse(`the newest burn-in of ${specimen}, which is ${one.run.id}`, continues!)
    }
    if (one.run.state === 'done') return refuse('one that did not get to its end', 'done')
    if (one.request.unit !== unit) return refuse(`unit profile ${one.request.unit}`, unit)
    return one
  }
  throw new BenchError('NOT_FOUND', `there is no burn-in ${continues} of ${specimen}`)
}

/** The last that was told of its time; what counted after it and was not told is lost. */
function countedIn({ request: { parameters } }: UnitRunOnRecord, events: readonly RunEvent[]): number {
  const told = events.findLast(({ kind, data }) =>
    kind === 'counted' && typeof data?.['countedS'] === 'number')
  const began = parameters['alreadyCountedS']
  return Number(told?.data?.['countedS'] ?? (typeof began === 'number' ? began : 0))
}
