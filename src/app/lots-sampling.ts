/** Samples of lots on record: how a source is inspected, and what becomes of a lot as its session ends. */
import { BenchError } from '../base/errors.ts'
import type { Grade, RunEvent, RunRecord } from '../schema/run.ts'
import {
  inspections, lotOutcomes, sampleDrawn, type SampleDrawn, type SourceState,
} from '../schema/sampling.ts'
import { screenRequest, type ScreenRequest } from '../schema/screening.ts'
import type { Store } from '../schema/store.ts'
import { drawSample, judgeLot, uninspected, type Inspected } from '../screening/sample.ts'
import { lotWords } from '../screening/sample-words.ts'
import { runsBack } from './runs-back.ts'
import { screenSequence } from './settled.ts'

export const lotEvent = 'lot'

interface Sampled { readonly run: RunRecord; readonly unit: string; readonly sample: SampleDrawn }

/**
 * The sample of this request's lot: the one that was begun, or a new one. `names`: all parts of the lot.
 * Null where none is asked for. REFUSED for a lot that was decided or is not alike, USAGE as `drawSample`.
 */
export async function sampleOf(
  store: Store, request: ScreenRequest, names: readonly string[],
): Promise<SampleDrawn | null> {
  const { sample: asked, unit, ask } = request
  if (!asked || names.length === 0) return null
  if (request.parts.length !== 1 || names.length < 2) {
    throw new BenchError('REFUSED', 'a sample is drawn from one reel or drawer of parts that are alike', {
      expected: 'a list of one line, of two parts or more that can be proven here',
      got: `${request.parts.length} lines, ${names.length} such parts`,
    })
  }
  const before = await sampledRuns(store)
  const own = before.filter(one => one.unit === unit && one.sample.source === asked.source)
  const [last] = own
  const decided = last !== undefined && await decisionOf(store, last.run.id) !== null
  if (last && !decided) return goOn(last.sample, request, names)
  if (decided && ask !== 'all') {
    throw new BenchError('REFUSED', `lot ${unit} of ${asked.source} was decided already: ask for all of it `
      + 'to inspect it again, which counts for no switching')
  }
  const state = await stateOf(store, before, asked)
  const seed = `${asked.source}/${unit}/${own.length + 1}`
  return drawSample(names, asked, state, { seed, original: own.length === 0 })
}

/** A session that was cut short goes on with the parts that were drawn, under the plan that was in force. */
function goOn(sample: SampleDrawn, { sample: asked }: ScreenRequest, names: readonly string[]): SampleDrawn {
  const { level, aql, lotSize } = sample
  const same = level === asked!.level && aql === asked!.aql && lotSize === names.length
    && (asked!.seed === undefined || asked!.seed === sample.seed)
    && sample.drawn.every(name => names.includes(name))
  if (same) return sample
  const what = 'a sample of this lot was drawn already, and is not drawn until it pleases'
  throw new BenchError('REFUSED', what, {
    expected: `level ${sample.level}, AQL ${sample.aql}, ${sample.lotSize} parts, seed ${sample.seed}`,
    got: `level ${asked!.level}, AQL ${asked!.aql}, ${names.length} parts`,
  })
}

/** Newest first. */
async function sampledRuns(store: Store): Promise<Sampled[]> {
  const sampled: Sampled[] = []
  for await (const run of runsBack(store, ({ sequence }) => sequence === screenSequence)) {
    if (run.setup['sample'] === undefined) continue
    const request = screenRequest.safeParse(run.setup['request'])
    const sample = sampleDrawn.safeParse(run.setup['sample'])
    if (request.success && sample.success) sampled.push({ run, unit: request.data.unit, sample: sample.data })
  }
  return sampled
}

/** What was decided at the end of a session; null of one that was cut short or left it open. */
async function decisionOf(store: Store, run: string): Promise<RunEvent | null> {
  const event = (await store.events(run)).findLast(({ kind }) => kind === lotEvent)
  return event && event.data?.['outcome'] !== 'undecided' ? event : null
}

/** What is in force: by the newest decided lot of this source, plan and level that counts for switching. */
async function stateOf(
  store: Store, runs: readonly Sampled[], { source, level, aql }: NonNullable<ScreenRequest['sample']>,
): Promise<Inspected> {
  for (const { run, sample } of runs) {
    if (sample.source !== source || sample.level !== level || sample.aql !== aql || !sample.original) continue
    const data = (await decisionOf(store, run.id))?.data
    const inspection = inspections.find(one => one === data?.['after'])
    if (inspection && typeof data?.['lots'] === 'string') return { inspection, lots: data['lots'] }
  }
  return uninspected
}

/** The event at the end of a session: what the grades say of the lot. */
export function lotDecided(
  sample: SampleDrawn, grades: ReadonlyMap<string, Grade>,
): Pick<RunEvent, 'kind' | 'severity' | 'text' | 'data'> {
  const judged = judgeLot(sample, grades)
  return {
    kind: lotEvent, severity: judged.outcome === 'accepted' ? 'info' : 'warning',
    text: lotWords(sample, judged), data: {
      outcome: judged.outcome, bad: judged.bad, open: judged.open, measured: judged.measured,
      source: sample.source,
      after: judged.after?.inspection ?? null, lots: judged.after?.lots ?? null,
    },
  }
}

/** All sources of late, or one: how each is inspected now, and its lots. */
export async function sourcesOnRecord(store: Store, wanted?: string): Promise<SourceState[]> {
  const runs = await sampledRuns(store)
  const by = new Map<string, Sampled[]>()
  for (const one of runs) {
    const { source, level, aql } = one.sample
    if (wanted !== undefined && source !== wanted) continue
    const key = JSON.stringify([source, level, aql])
    by.set(key, [one, ...by.get(key) ?? []])
  }
  return await Promise.all([...by.values()].map(async lots => {
    const { source, level, aql } = lots[0]!.sample
    const { inspection } = await stateOf(store, [...lots].reverse(), { source, level, aql, steady: true })
    const shown = await Promise.all(lots.map(async one => await shownLot(store, one)))
    return { source, level, aql, inspection, lots: shown.filter(lot => lot !== null) }
  }))
}

async function shownLot(
  store: Store, { run, unit, sample }: Sampled,
): Promise<SourceState['lots'][number] | null> {
  const event = (await store.events(run.id)).findLast(({ kind }) => kind === lotEvent)
  const outcome = lotOutcomes.find(one => one === event?.data?.['outcome'])
  if (!event || !outcome) return null
  return {
    run: run.id, lot: unit, wallMs: event.wallMs, lotSize: sample.lotSize, n: sample.n, outcome,
    measured: Number(event.data?.['measured'] ?? sample.n),
    text: event.text, bad: Number(event.data?.['bad']), inspection: sample.inspection,
  }
}
