/** What the demo of a unit shows while it goes on: what happens as it happens, and how it stands. */
import type { FeedItem } from '../schema/application.ts'
import { poweringLines } from './powering-text.ts'
import { Screen, type Output } from './screen.ts'
import { eventLine } from './watch.ts'

const told: ReadonlySet<string> = new Set([
  'unpowered', 'hold', 'energise', 'stage', 'phase', 'warm', 'steady', 'spot', 'figure', 'claim', 'left',
  'off', 'touch', 'trip', 'refused', 'not-counting', 'ended',
])

export class UnitScreen {
  readonly #screen: Screen

  constructor(out: NodeJS.WritableStream, json: boolean) {
    const written = out as Output & NodeJS.WritableStream
    // With --json the last line alone is for a program; nothing is redrawn before it.
    this.#screen = new Screen(json ? { write: text => written.write(text) } : written)
  }

  /** Lines that stay. */
  lines(lines: readonly string[]): void { for (const line of lines) this.#screen.line(line) }

  show(item: FeedItem): void {
    if (item.type === 'event' && told.has(item.event.kind)) this.#screen.line(eventLine(item.event))
    if (item.type !== 'status' || !item.status.powering) return
    this.#screen.block(['', ...poweringLines(item.status.powering, item.status.wallMs)])
  }

  end(lines: readonly string[]): void {
    this.#screen.block([])
    this.#screen.end()
    this.lines(lines)
  }
}
