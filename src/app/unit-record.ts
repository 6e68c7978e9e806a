/** Gathers from the record what the test record of one unit is made of. */
import { BenchError } from '../base/errors.ts'
import { verified } from '../report/record.ts'
import { unitPage, type UnitLine, type UnitPage } from '../report/unit-page.ts'
import {
  unitRecordHtml, unitRecordJson, type UnitRecordInput, type UnitRun,
} from '../report/unit-record.ts'
import { hasFindings, pointsMost, profileOf, sequenceOf } from '../report/unit-record-runs.ts'
import type { Clock } from '../base/clock.ts'
import { isUnitSequence, poweringRequest, type PoweringRequest } from '../schema/powering.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import type { UnitRecordRequest } from '../schema/unit.ts'
import { runsBack } from './runs-back.ts'
import { unitParts } from './units.ts'

interface Deps { readonly store: Store; readonly clock: Clock; readonly software: string }

/** A run of a unit, with what was asked for and what came of it. */
export interface UnitRunOnRecord {
  readonly run: RunRecord
  readonly request: PoweringRequest
  readonly result: PartResult | null
}

/** Runs of this unit that have ended, the newest first. */
export async function* unitRunsBack(store: Store, specimen: string): AsyncGenerator<UnitRunOnRecord> {
  for await (const run of runsBack(store, ({ sequence, state }) =>
    isUnitSequence(sequence) && state !== 'running' && state !== 'prepared')) {
    const request = poweringRequest.safeParse(run.setup['request'])
    if (!request.success || request.data.specimen !== specimen) continue
    const [result = null] = await store.results(run.id)
    yield { run, request: request.data, result }
  }
}

/** NOT_FOUND where no run of this unit is on record. */
export async function unitRecord(deps: Deps, request: UnitRecordRequest): Promise<string> {
  const input = await gathered(deps, request)
  return request.format === 'html' ? unitRecordHtml(input)
    : `${JSON.stringify(unitRecordJson(input), null, 2)}\n`
}

async function gathered(
  { store, clock, software }: Deps, { specimen, lines, policy, verify }: UnitRecordRequest,
): Promise<UnitRecordInput> {
  const all: UnitRunOnRecord[] = []
  for await (const one of unitRunsBack(store, specimen)) all.push(one)
  if (all.length === 0) throw new BenchError('NOT_FOUND', `no run of a unit ${specimen} is on record`)
  const chosen = all.filter((one, i) => isShown(one, all.slice(0, i)))
  const runs: UnitRun[] = []
  for (const one of chosen) runs.push(await wholeRun(store, one, verify))
  return {
    specimen, madeWallMs: clock.wallMs(), software, runs,
    others: all.filter(one => !chosen.includes(one)).map(({ run, result }) => ({
      id: run.id, sequence: run.sequence, state: run.state, startedWallMs: run.startedWallMs,
      grade: result?.grade ?? null,
    })),
    parts: await partsPage(store, specimen, lines.length > 0 ? lines : namedParts(all), policy),
  }
}

/** The newest of its kind, and the newest that came to something where that did not. */
function isShown({ run, result }: UnitRunOnRecord, newer: readonly UnitRunOnRecord[]): boolean {
  const sequence = sequenceOf(run)
  const same = newer.filter(one => one.run.sequence === sequence)
  if (same.length === 0) return true
  return hasFindings(sequence, result) && !same.some(one => hasFindings(sequence, one.result))
}

async function wholeRun(store: Store, { run, result }: UnitRunOnRecord, verify: boolean): Promise<UnitRun> {
  const series: UnitRun['series'][number][] = []
  for (const channel of await store.channels(run.id)) {
    series.push({ channel, buckets: await store.levels(run.id, channel.index, pointsMost) })
  }
  return {
    run, result, series, events: await store.events(run.id), chainHead: await store.chainHead(run.id),
    chain: verify ? await verified(store, run.id) : null,
  }
}

/** Parts that the stages of its newest profile name. */
function namedParts(runs: readonly UnitRunOnRecord[]): UnitLine[] {
  const profile = runs.map(({ run }) => profileOf(run)).find(one => one !== null)?.profile
  const names = new Set(profile?.stages.flatMap(({ parts }) => parts))
  return [...names].map(designator =>
    ({ designator, what: '', ratedV: null, wanted: { action: 'prove', reason: '' } }))
}

async function partsPage(
  store: Store, specimen: string, lines: readonly UnitLine[], policy: string | null,
): Promise<UnitPage | null> {
  if (lines.length === 0) return null
  const designators = lines.map(({ designator }) => designator)
  return unitPage(lines, await unitParts(store, { unit: specimen, designators }), policy)
}
