/** What may be touched at the end of a run, by the last look at each part: what may not, first. */
import { isUnitSequence } from '../schema/powering.ts'
import type { RunEvent, RunRecord } from '../schema/run.ts'
import { leftOutOf } from './left-out.ts'
import { partsOf } from './setup.ts'

const notSafe = 'NOT SAFE TO TOUCH'
const unsaid = 'NOT SAFE TO TOUCH: UNMEASURED (nothing was said of it in this run)'

/** Of a position of which nothing was said. */
export const unsaidOf = (position: string): Touch<never> =>
  ({ text: `${position} ${unsaid}`, wallMs: null, event: null })

/** What was said last of touching what is on a position; `event` null where this run said nothing. */
export interface Touch<E extends RunEvent = RunEvent> {
  readonly text: string
  readonly wallMs: number | null
  readonly event: E | null
}

const isTouch = ({ kind }: RunEvent): boolean => kind === 'touch' || kind === 'kept-off'

/**
 * By position: of every part of the request, and of those that an earlier half of the run dropped and that
 * are in the rack yet. Unmeasured where nothing was said, save of a run that was refused before energy.
 */
export function lastTouches<E extends RunEvent>(
  run: RunRecord, events: readonly E[],
): Map<string, Touch<E>> {
  const last = new Map<string, Touch<E>>()
  if (run.state !== 'refused') {
    for (const { position } of partsOf(run)) {
      last.set(position, unsaidOf(position))
    }
  }
  for (const { position, run: before, touch } of leftOutOf(run)) {
    last.set(position, !touch ? unsaidOf(position)
      : { text: `${touch.text} (said in run ${before})`, wallMs: touch.wallMs, event: null })
  }
  for (const event of events) {
    const { position, text, wallMs } = event
    if (isTouch(event) && position !== undefined) last.set(position, { text, wallMs, event })
  }
  return last
}

/** The last that was said of a unit, where nothing put mains on it after. */
function ofUnit({ state }: RunRecord, events: readonly RunEvent[]): string[] {
  if (state === 'refused') return []
  const last = events.findLast(event => isTouch(event) || event.kind === 'energise')
  if (last === undefined) return []
  return [isTouch(last) ? last.text : unsaidOf('unit').text]
}

/** Lines for a person; none for a run without positions. */
export function touchLines(run: RunRecord, events: readonly RunEvent[]): string[] {
  const last = lastTouches(run, events)
  const told = events.filter(event => isTouch(event) && event.position === undefined).map(({ text }) => text)
  const ofAll = [...atJig(events), ...isUnitSequence(run.sequence) ? ofUnit(run, events) : told]
  const named = byWords([...last].sort(([a], [b]) => a.localeCompare(b, 'en', { numeric: true })))
  const unsafe = (text: string): boolean => text.includes('NOT SAFE TO TOUCH')
  const isLow = (text: string): boolean => !unsafe(text) && lowWords.test(text)
  return [
    ...ofAll, ...named.filter(unsafe), ...named.filter(text => !unsafe(text) && !isLow(text)),
    ...named.filter(isLow),
  ]
}

/** One line for all positions of which the same was said, their names first. */
function byWords(touches: readonly (readonly [string, Touch])[]): string[] {
  const names = new Map<string, string[]>()
  for (const [name, { text }] of touches) {
    const words = text.startsWith(`${name} `) ? text.slice(name.length + 1) : text
    names.set(words, [...names.get(words) ?? [], name])
  }
  return [...names].map(([words, positions]) => `${positions.join(' ')} ${words}`)
}

/** The event that says what in the jig was charged and not shown to be empty since. */
export const chargedAtEnd = (events: readonly RunEvent[]): RunEvent | undefined => {
  const last = events.findLast(({ kind }) =>
    kind === 'charged' || kind === 'emptied' || kind === 'acknowledged')
  return last?.kind === 'charged' ? last : undefined
}

function atJig(events: readonly RunEvent[]): string[] {
  const charged = chargedAtEnd(events)
  if (!charged) return []
  return [charged.text.startsWith(notSafe) ? charged.text : `${notSafe}: ${charged.text}`]
}

const lowWords = / (measured|read) below /
