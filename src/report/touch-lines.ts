/** What may be touched at the end of a run, by the last look at each part: what may not, first. */
import type { RunEvent, RunRecord } from '../schema/run.ts'
import { partsOf } from './setup.ts'

const unsaid = 'NOT SAFE TO TOUCH: UNMEASURED (nothing was said of it in this run)'

/**
 * Lines for a person. A part of the request of which nothing was said is unmeasured, but where the run was
 * refused before energy; none for a run without positions.
 */
export function touchLines(run: RunRecord, events: readonly RunEvent[]): string[] {
  const touches = events.filter(({ kind }) => kind === 'touch' || kind === 'kept-off')
  const loaded = run.state === 'refused' ? [] : partsOf(run).map(({ position }) => position)
  const last = new Map(loaded.map(name => [name, `${name} ${unsaid}`]))
  for (const { position, text } of touches) {
    if (position !== undefined) last.set(position, text)
  }
  const ofAll = [
    ...atJig(events), ...touches.filter(({ position }) => position === undefined).map(({ text }) => text),
  ]
  const low = new Map(['measured', 'read'].map(how => [how, [] as string[]]))
  const others: string[] = []
  for (const [name, text] of [...last].sort(([a], [b]) => a.localeCompare(b))) {
    const how = lowWords.exec(text)?.[1]
    if (how === undefined) others.push(text)
    else low.get(how)!.push(name)
  }
  const unsafe = (text: string): boolean => text.includes('NOT SAFE TO TOUCH')
  return [...ofAll, ...others.filter(unsafe), ...others.filter(text => !unsafe(text)), ...lines(low)]
}

/** The event that says what in the jig was charged and not shown to be empty since. */
export const chargedAtEnd = (events: readonly RunEvent[]): RunEvent | undefined => {
  const last = events.findLast(({ kind }) =>
    kind === 'charged' || kind === 'emptied' || kind === 'acknowledged')
  return last?.kind === 'charged' ? last : undefined
}

function atJig(events: readonly RunEvent[]): string[] {
  const charged = chargedAtEnd(events)
  return charged ? [`NOT SAFE TO TOUCH: ${charged.text}`] : []
}

const lowWords = /^\S+ (measured|read) below /

function* lines(low: ReadonlyMap<string, readonly string[]>): Generator<string> {
  for (const [how, names] of low) {
    if (names.length === 0) continue
    const path = how === 'read' ? ', by paths that showed no charge' : ''
    yield `${names.join(' ')} ${how} touch-safe${path}; prove dead before touching`
  }
}
