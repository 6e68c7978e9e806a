/** What the demo shows: the rack as it goes, what happens as it happens, and the truth last. */
import { formatClock, formatDuration } from '../base/format.ts'
import { touchLines } from '../report/touch-lines.ts'
import type { BenchStatus } from '../schema/application.ts'
import { gradeWords, type PartResult, type RunEvent, type RunRecord } from '../schema/run.ts'
import type { StoredEvent } from '../schema/store.ts'
import type { TruthLine } from './demo-control.ts'
import type { Output } from './screen.ts'
import { Screen } from './screen.ts'
import { statusLines } from './status-text.ts'
import { renderTable } from './table.ts'

export interface DemoSummary {
  run: RunRecord
  results: readonly PartResult[]
  events: readonly StoredEvent[]
  truth: readonly TruthLine[]
  records: ReadonlyMap<string, string>
  wallS: number
}

const told = new Set([
  'armed', 'energise', 'stage', 'set-point', 'drop', 'condemned', 'unjudged', 'kept-off', 'bench-fault',
  'touch', 'trip', 'off', 'ended', 'refused',
  'clock',
])
const plainEveryMs = 30 * 60_000

export class DemoScreen {
  readonly #out: Output & NodeJS.WritableStream
  readonly #screen: Screen
  readonly #json: boolean
  #lastPlainMs = -Infinity

  constructor(out: NodeJS.WritableStream, json: boolean) {
    this.#out = out as Output & NodeJS.WritableStream
    this.#screen = new Screen(this.#out)
    this.#json = json
  }

  /** Lines that stay. With --json only the last line is JSON; these still come before it. */
  lines(lines: readonly string[]): void { for (const line of lines) this.#screen.line(line) }

  event(event: RunEvent): void {
    if (!told.has(event.kind)) return
    const times = this.#times(event)
    this.#screen.line(`${formatClock(event.wallMs)}  ${event.text}${times ? ` [${times}]` : ''}`)
  }

  /**
   * A drop or a trip is reckoned from its fault, a part that the bridge kept off the bus from what was found;
   * only a part that was seen below touch-safe was so at a time.
   */
  #times({ kind, position, data }: RunEvent): string {
    const { faultToDisconnectedMs, faultToTouchSafeMs, releaseToTouchSafeMs, verdict } = data ?? {}
    const { findingToDisconnectedMs, findingToTouchSafeMs } = data ?? {}
    if (typeof faultToDisconnectedMs === 'number') {
      return inMs(`fault to disconnected${kind === 'trip' ? ', read back' : ''}`, faultToDisconnectedMs)
    }
    if (typeof findingToDisconnectedMs === 'number') {
      return inMs('finding to disconnected', findingToDisconnectedMs)
    }
    if (typeof findingToTouchSafeMs === 'number') return inMs('finding to touch-safe', findingToTouchSafeMs)
    if (verdict !== 'dead' || position === undefined) return ''
    if (typeof faultToTouchSafeMs === 'number') return inMs('fault to touch-safe', faultToTouchSafeMs)
    return typeof releaseToTouchSafeMs === 'number' ? inMs('release to touch-safe', releaseToTouchSafeMs) : ''
  }

  /** A table in place on a terminal; in a pipe one every half hour of the bench. */
  status(status: BenchStatus): void {
    if (!status.run || this.#json) return
    if (this.#out.isTTY) return this.#screen.block(statusLines(status, this.#out.columns ?? 100))
    if (status.wallMs - this.#lastPlainMs < plainEveryMs) return
    this.#lastPlainMs = status.wallMs
    this.lines(statusLines(status))
  }
}

const inMs = (what: string, ms: number): string => `${what} ${formatDuration(ms / 1000)}`

export const openingLines = (seed: string): string[] => [
  'Saltmarsh Pavilion, public-address rack, 1974: ten smoothing cans, 450 V 47 µF, on a simulated bench.',
  `Nothing here is real and nothing is energised. Seed ${seed}. `
    + 'On a real bench: high voltage, nobody in the room.',
  'Before one like it is used: cover closed, eye protection, prove dead before touching, local rules, '
    + 'qualified people.',
  '',
]

export function finalLines({ run, results, events, truth, records, wallS }: DemoSummary): string[] {
  const order = [...results].sort((a, b) => a.position.localeCompare(b.position))
  const grades = renderTable(
    [
      { heading: 'position' }, { heading: 'part' }, { heading: 'grade' }, { heading: 'do' },
      { heading: 'why' },
    ],
    order.map(result => [
      result.position, result.part, gradeWords(result),
      result.disposition, result.reason,
    ]), 150)
  const beside = renderTable(
    [{ heading: 'position' }, { heading: 'what it really was' }, { heading: 'the bench says' }],
    [...truth].sort(
      (a, b) => a.position.localeCompare(b.position)
    ).map(({ position, kind, truth: words }) => {
      const result = results.find(candidate => candidate.position === position)
      return [position, `${kind}: ${words}`, result
        ? `${gradeWords(result)}, ${result.disposition}` : 'nothing']
    }), 170)
  return [
    '', ...grades, '', ...touchLines(run, events), '',
    'Provisional grades close with a second formal reading (leakage-soak) after 12 to 48 hours of rest.',
    ...[...records].slice(0, 1).map(
      ([, path]) => `Test records: ${path.slice(0, path.lastIndexOf('/'))} (run.html, and one page a part)`
    ),
    `Run ${run.id}: ${run.state}. `
      + `${formatDuration(benchHours(run) * 3600)} of bench time in ${formatDuration(wallS)}.`,
    '',
    'The hidden truth, beside what the bench concluded:', ...beside,
  ]
}

export function finalJson({ run, results, events, truth, records, wallS }: DemoSummary): object {
  return {
    parts: [...truth].sort((a, b) => a.position.localeCompare(b.position)).map(({ position, part, kind }) => {
      const result = results.find(candidate => candidate.position === position)
      return {
        position, truth: kind, grade: result?.grade ?? null, disposition: result?.disposition ?? null,
        record: records.get(part) ?? null,
      }
    }),
    dropped: events.filter(({ kind }) => kind === 'drop').map(({ position }) => position),
    trips: events.filter(({ kind }) => kind === 'trip').map(({ text }) => text),
    benchHours: Number(benchHours(run).toFixed(3)), wallS: Number(wallS.toFixed(1)),
  }
}

const benchHours = (run: RunRecord): number =>
  ((run.endedWallMs ?? run.startedWallMs) - run.startedWallMs) / 3_600_000
