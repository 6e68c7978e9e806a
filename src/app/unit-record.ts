/** Gathers from the record what the test record of one unit is made of. */
import { BenchError } from '../base/errors.ts'
import { unitPage, type UnitLine, type UnitPage } from '../report/unit-page.ts'
import { unitRecordHtml, unitRecordJson, type UnitRun } from '../report/unit-record.ts'
import { readUnitRuns } from '../report/unit-record-read.ts'
import { profileOf } from '../report/unit-record-runs.ts'
import type { Clock } from '../base/clock.ts'
import { isUnitSequence, poweringRequest, type PoweringRequest } from '../schema/powering.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import type { UnitRecordRequest } from '../schema/unit.ts'
import { runsBack, runsMost } from './runs-back.ts'
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
export async function unitRecord(
  { store, clock, software }: Deps, { specimen, lines, policy, format, verify }: UnitRecordRequest,
): Promise<string> {
  const read = await readUnitRuns(store, specimen, { verify, runsMost })
  if (read.runs.length === 0) throw new BenchError('NOT_FOUND', `no run of a unit ${specimen} is on record`)
  const input = {
    specimen, madeWallMs: clock.wallMs(), software, ...read,
    parts: await partsPage(store, specimen, lines.length > 0 ? lines : namedParts(read.runs), policy),
  }
  return format === 'html' ? unitRecordHtml(input) : `${JSON.stringify(unitRecordJson(input), null, 2)}\n`
}

/** Parts that the stages of its newest profile name. */
function namedParts(runs: readonly Pick<UnitRun, 'run'>[]): UnitLine[] {
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
