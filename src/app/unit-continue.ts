/** A burn-in that goes on where an earlier one of the same unit ended before its time. */
import { BenchError } from '../base/errors.ts'
import { formatDuration } from '../base/format.ts'
import { poweringRequest, type PoweringRequest } from '../schema/powering.ts'
import type { PartResult } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { profileOf } from '../report/unit-record-runs.ts'
import { unitRunsBack, type UnitRunOnRecord } from './unit-record.ts'

export interface ContinuedBurnIn {
  /** Those of the earlier run, with the time that counted. */
  readonly parameters: PoweringRequest['parameters']
  /** Of the unit profile that it ran by. */
  readonly hash: string
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
  if (continues === undefined) {
    const got = ['alreadyCountedS', 'failedAtS'].filter(name => Object.hasOwn(parameters, name))
    if (got.length === 0) return null
    throw new BenchError('USAGE', 'time that counted is taken from the record', {
      expected: 'the run that this one continues', got: got.join(', '),
    })
  }
  if (sequence !== 'burn-in') throw new BenchError('USAGE', 'only a burn-in goes on where another ended')
  if (Object.keys(parameters).length > 0) {
    throw new BenchError('USAGE', 'a burn-in that goes on has the parameters that it began with', {
      expected: 'none', got: Object.keys(parameters).join(', '),
    })
  }
  const { run, request: before, result } = await newestBurnIn(store, request)
  const { parameters: began, countedS } = await stoodAt(store, run.id, before)
  return {
    parameters: { ...began, alreadyCountedS: countedS, failedAtS: failedAt(before, result, countedS) },
    hash: profileOf(run)?.hash ?? '',
    words: `it goes on after run ${continues}, in which ${formatDuration(countedS)} had counted: hours `
      + 'before a repair say nothing of what was replaced',
  }
}

/** Time at which the unit last failed by itself: what it shows begins there. */
function failedAt({ parameters }: PoweringRequest, result: PartResult | null, countedS: number): number {
  if (result?.grade === 'reject') return countedS
  const failedAtS = parameters['failedAtS']
  return typeof failedAtS === 'number' ? failedAtS : 0
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

interface Stood { readonly parameters: PoweringRequest['parameters']; readonly countedS: number }

/**
 * With what run `id` began, and the last that was told of its time; what counted after it and was not told is
 * lost. One that went on itself asked for no parameters: it had those of the run before it, and its time.
 */
async function stoodAt(store: Store, id: string, { continues, parameters }: PoweringRequest): Promise<Stood> {
  const before = continues === undefined ? null
    : await stoodAt(store, continues, await requestOf(store, continues))
  const began = before?.countedS ?? parameters['alreadyCountedS']
  const told = (await store.events(id)).findLast(({ kind, data }) =>
    kind === 'counted' && typeof data?.['countedS'] === 'number')
  return {
    parameters: before?.parameters ?? parameters,
    countedS: Number(told?.data?.['countedS'] ?? (typeof began === 'number' ? began : 0)),
  }
}

async function requestOf(store: Store, id: string): Promise<PoweringRequest> {
  const run = await store.run(id)
  if (!run) throw new BenchError('NOT_FOUND', `run ${id}, which went on later, is on record no more`)
  return poweringRequest.parse(run.setup['request'])
}
