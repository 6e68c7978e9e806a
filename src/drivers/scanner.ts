/**
 * A scanner. Each selection is read back, because a refused or lost one would leave the channel before it
 * connected and its reading would be taken for another part's. With `errorCheck: per-sweep` that read-back
 * stands in for the error queue, which is drained when all channels are opened; a selection that does not
 * read back is sent once more with the queue drained, so that the instrument's own words still fail the call
 * that caused them.
 */
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Scanner } from '../schema/roles.ts'
import { checked, Driver } from './driver.ts'
import { fill } from './format.ts'

type Profile = ProfileOf<'scanner'>
interface Lines { close: string; ask: string }

const unchecked = { check: false } as const

export class ScannerDriver extends Driver<Profile> implements Scanner {
  readonly #lines = new Map<number, Lines>()

  /** Time in ms that the caller waits between a selection and a reading. */
  get settleMs(): number { return this.profile.settleMs }
  get path(): Profile['path'] { return this.profile.path }

  async select(channel: number | null): Promise<void> {
    if (channel === null) return this.#openAll()
    const lines = this.#lines.get(channel) ?? this.#linesFor(channel)
    const each = this.profile.errorCheck === 'each'
    await this.#close(lines, each)
    if (await this.askSwitch(lines.ask)) return
    if (!each) {
      await this.#close(lines, true)
      if (await this.askSwitch(lines.ask)) return
    }
    throw this.notTaken(lines.close, 'closed', 'open')
  }

  async #close(lines: Lines, check: boolean): Promise<void> {
    if (this.profile.commands.closeOnly === undefined) await this.#openAll()
    await this.port.write(lines.close, check ? checked : unchecked)
  }

  async #openAll(): Promise<void> {
    const { openAll, wait } = this.profile.commands
    await this.port.write(openAll, checked)
    if (wait !== undefined) await this.port.query(wait)
  }

  #linesFor(channel: number): Lines {
    refuseChannel(this.name, this.profile.channels, channel)
    const { closeOnly, close, askClosed } = this.profile.commands
    const values = { channel: String(channel) }
    const lines = { close: fill((closeOnly ?? close)!, values), ask: fill(askClosed, values) }
    this.#lines.set(channel, lines)
    return lines
  }
}

/** Throws OUT_OF_RANGE when the instrument has no such channel. */
export function refuseChannel(
  name: string, spans: readonly (readonly [number, number])[], channel: number,
): void {
  if (Number.isInteger(channel) && spans.some(([first, last]) => channel >= first && channel <= last)) return
  const known = spans.map(([first, last]) => `${first} to ${last}`)
  throw new BenchError('OUT_OF_RANGE', 'channel', {
    instrument: name, got: String(channel),
    expected: known.length > 3 ? `${known[0]}, … ${known.at(-1)}` : known.join(', '),
  })
}
