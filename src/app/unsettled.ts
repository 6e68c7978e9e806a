/** Parts that no run and no person has shown to be safe to touch since they were said not to be. */
import { lastTouches } from '../report/touch-lines.ts'
import { leftOutOf } from '../report/left-out.ts'
import { partsOf } from '../report/setup.ts'
import type { UnsafePart } from '../schema/application.ts'
import { isUnitSequence } from '../schema/powering.ts'
import type { RunHead, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { runsBack } from './runs-back.ts'
import { screenSequence } from './settled.ts'

/** How many runs back is looked, at most: each is read with all its events. */
const runsMost = 20

/** Sessions at the jig and runs of whole units say nothing of positions. */
const isOfRack = ({ sequence }: RunHead): boolean => sequence !== screenSequence && !isUnitSequence(sequence)

/** By a path that showed no charge nothing is settled: an open one reads the same. */
const isWeak = (text: string): boolean => !/NOT SAFE TO TOUCH| measured below /.test(text)

/**
 * Of each position of `bench` the newest word, where it is not a safe one. What was said before an
 * acknowledgement counts no more, a person then told what they found; but where `run` alone may settle it.
 */
export async function unsettled(
  store: Store, bench: string, positions: readonly string[], by: 'run or person' | 'run' = 'run or person',
): Promise<UnsafePart[]> {
  const seen = new Set<string>()
  const open: UnsafePart[] = []
  let runs = 0
  for await (const run of runsBack(store, one => one.bench === bench && isOfRack(one))) {
    if (++runs > runsMost || positions.every(name => seen.has(name))) break
    const events = await store.events(run.id)
    const from = by === 'run' ? -1 : events.findLastIndex(({ kind }) => kind === 'acknowledged')
    const since = from < 0 ? lastTouches(run, events) : lastTouches({ ...run, setup: {} }, events.slice(from))
    const parts = partNames(run)
    for (const [position, { text }] of since) {
      if (seen.has(position) || isWeak(text)) continue
      seen.add(position)
      if (!text.includes('NOT SAFE TO TOUCH')) continue
      const touch = text.startsWith(`${position} `) ? text.slice(position.length + 1) : text
      open.push({ run: run.id, position, part: parts.get(position) ?? '', touch })
    }
    if (from >= 0) break
  }
  return open.sort((a, b) => a.position.localeCompare(b.position, 'en', { numeric: true }))
}

const partNames = (run: RunRecord): Map<string, string> =>
  new Map([...partsOf(run), ...leftOutOf(run)].map(({ position, part }) => [position, part]))
