/**
 * Follows a screening session: on a terminal one line that says how it stands, above it what was told, with a
 * bell where something is bad. Plain lines in a pipe. Words that are typed, or piped in, are what a person
 * does.
 */
import { asBenchError } from '../base/errors.ts'
import type { FeedItem, SafeOffReport } from '../schema/application.ts'
import type { PartResult, RunEvent, RunRecord } from '../schema/run.ts'
import { deeds, type ScreenStatus } from '../schema/screening.ts'
import type { DaemonClient } from './client.ts'
import type { CliContext } from './context.ts'
import { exitOfRun, type ExitCode } from './exit.ts'
import { Screen } from './screen.ts'
import { screenStatusLine, toldLine } from './screen-text.ts'
import { printable } from './table.ts'
import { outcomeLines } from './outcome.ts'
import { followRun, type Follower } from './watch.ts'

/** Leads a person through the session `runId` from where it stands, to its end. */
export async function followScreening(
  context: CliContext, client: DaemonClient, runId: string,
): Promise<ExitCode> {
  const follower = new ScreeningFollower(context, client)
  try {
    const status = await client.get<ScreenStatus | null>('/screening')
    if (status?.run === runId) follower.status(status)
    return await followRun(context, client, runId, follower)
  } finally {
    follower.close()
  }
}

const bell = '\u0007'
const unread = 'What you type here is not read, as the output is no terminal: nightbench watch in another '
  + 'terminal takes it.'

export class ScreeningFollower implements Follower {
  readonly #context: CliContext
  readonly #screen: Screen
  readonly #stopReading: () => void
  #told = ''
  #leads = ''
  /** Deeds in the order in which they were typed. */
  #sent: Promise<void> = Promise.resolve()

  constructor(context: CliContext, client: DaemonClient) {
    this.#context = context
    this.#screen = new Screen(context.out)
    this.#stopReading = context.readLines?.(text => this.#typed(client, text)) ?? (() => {})
    if (!context.readLines) this.#screen.line(unread)
    else if (this.#screen.live) this.#screen.line(read)
  }

  show(item: FeedItem): void {
    if (item.type === 'screening' && item.screening) this.status(item.screening)
    if (item.type === 'event' && item.event.severity !== 'info') this.#screen.line(printable(item.event.text))
  }

  status(status: ScreenStatus): void {
    const { told, leads } = status
    if (leads !== '' && leads !== this.#leads) {
      this.#leads = leads
      this.#screen.line(printable(`Leads: ${leads}`))
    }
    const text = told === null ? '' : toldLine(told)
    if (told !== null && text !== this.#told) {
      this.#told = text
      this.#screen.line(text)
      const rings = told.tone === 'bad' || told.tone === 'attention'
      if (this.#screen.live && rings) this.#context.out.write(bell)
    }
    this.#screen.block([screenStatusLine(status)])
  }

  finish(run: RunRecord, results: readonly PartResult[], events: readonly RunEvent[]): ExitCode {
    this.close()
    this.#screen.block([])
    this.#screen.end()
    const lines = ['', ...outcomeLines(run, results, events), ...lotLines(events)]
    for (const line of lines) this.#screen.line(line)
    return exitOfRun(run, results)
  }

  close(): void { this.#stopReading() }

  #typed(client: DaemonClient, given: string): void {
    // What was typed stands below the block: that stays where it is, and the next one begins under it.
    this.#screen.end()
    const word = given.trim().toLowerCase().replace(/\s+/g, ' ')
    if (word === '') return
    this.#sent = this.#sent.then(() => this.#send(client, word)).catch((error: unknown) =>
      this.#screen.line(printable(asBenchError(error).message)))
  }

  async #send(client: DaemonClient, word: string): Promise<void> {
    if (word === 'stop') {
      await client.post<SafeOffReport>('/stop', { reason: `${this.#context.user} asked for it` })
      return
    }
    const { does, at } = deedIn(word)
    if (!words.includes(does)) return this.#screen.line(`This is none of: ${words.join(', ')}`)
    await client.post('/screening/deed', { does, ...at === undefined ? {} : { at } })
  }
}

/** What the sample says of its lot, at the end. */
const lotLines = (events: readonly RunEvent[]): string[] =>
  events.filter(({ kind }) => kind === 'lot').flatMap(({ text }) => ['', printable(text)])

const words: readonly string[] = [...deeds, 'stop']

/** `again t05`: what is done, and at which position of the tray. */
export function deedIn(word: string): { does: string; at?: string } {
  const [, does, at] = /^(.+) ([a-z]{1,3}[0-9]{1,3})$/.exec(word) ?? []
  return does === undefined || at === undefined ? { does: word } : { does, at: at.toUpperCase() }
}
const read = `Type what you do: ${words.join(', ')}. Ctrl-C leaves the session on; `
  + 'nightbench watch leads back.'
