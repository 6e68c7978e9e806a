/**
 * Follows a run of a whole unit: on a terminal a block with what is read, above it what happened; plain lines
 * in a pipe. What is typed is what a person does: go on, here, stop.
 */
import { asBenchError } from '../base/errors.ts'
import type { FeedItem, SafeOffReport } from '../schema/application.ts'
import type { PoweringStatus } from '../schema/powering.ts'
import type { PartResult, RunEvent, RunRecord } from '../schema/run.ts'
import type { DaemonClient } from './client.ts'
import type { CliContext } from './context.ts'
import { exitOfRun, type ExitCode } from './exit.ts'
import { outcomeLines } from './outcome.ts'
import { holdLines, poweringLines } from './powering-text.ts'
import { Screen } from './screen.ts'
import { printable } from './table.ts'
import { eventLine, followRun, type Follower } from './watch.ts'

export async function followPowering(
  context: CliContext, client: DaemonClient, runId: string, person: string,
): Promise<ExitCode> {
  const follower = new PoweringFollower(context, client, runId, person)
  try {
    return await followRun(context, client, runId, follower)
  } finally {
    follower.close()
  }
}

const bell = '\u0007'
const words = 'go on, here, stop'
const read = `Type what you do: ${words}. Ctrl-C leaves the run on; nightbench watch leads back.`
const unread = 'What you type here is not read, as the output is no terminal: nightbench go-on in another '
  + 'terminal answers.'

export class PoweringFollower implements Follower {
  readonly #context: CliContext
  readonly #screen: Screen
  readonly #runId: string
  readonly #person: string
  readonly #stopReading: () => void
  #hold: PoweringStatus['hold'] = null
  /** In the order in which they were typed. */
  #sent: Promise<void> = Promise.resolve()

  constructor(context: CliContext, client: DaemonClient, runId: string, person: string) {
    this.#context = context
    this.#runId = runId
    this.#person = person
    this.#screen = new Screen(context.out)
    this.#stopReading = context.readLines?.(text => this.#typed(client, text)) ?? (() => {})
    if (!context.readLines) this.#screen.line(unread)
    else if (this.#screen.live) this.#screen.line(read)
  }

  show(item: FeedItem): void {
    // A hold point is told as it stands, and a result at the end.
    if (item.type === 'event' && item.event.kind !== 'hold') this.#screen.line(eventLine(item.event))
    if (item.type !== 'status') return
    const { powering, wallMs } = item.status
    if (powering?.run !== this.#runId) return
    this.#waits(powering)
    this.#screen.block(['', ...poweringLines(powering, wallMs)])
  }

  finish(run: RunRecord, results: readonly PartResult[], events: readonly RunEvent[]): ExitCode {
    this.close()
    this.#screen.block([])
    this.#screen.end()
    for (const line of ['', ...outcomeLines(run, results, events)]) this.#screen.line(line)
    return exitOfRun(run, results)
  }

  close(): void { this.#stopReading() }

  #waits({ hold }: PoweringStatus): void {
    if (hold !== null && hold.id !== this.#hold?.id) {
      for (const line of holdLines(hold)) this.#screen.line(line)
      if (this.#screen.live) this.#context.out.write(bell)
    }
    this.#hold = hold
  }

  #typed(client: DaemonClient, given: string): void {
    // What was typed stands below the block: that stays where it is, and the next one begins under it.
    this.#screen.end()
    const word = given.trim().toLowerCase().replace(/[\s-]+/g, ' ')
    if (word === '') return
    this.#sent = this.#sent.then(() => this.#send(client, word)).catch((error: unknown) =>
      this.#screen.line(printable(asBenchError(error).message)))
  }

  async #send(client: DaemonClient, word: string): Promise<void> {
    const person = this.#person
    switch (word) {
      case 'stop':
        await client.post<SafeOffReport>('/stop', { reason: `${person} asked for it` })
        return
      case 'here': await client.post('/presence', { person }); return
      case 'go on':
        if (this.#hold === null) return this.#screen.line('Nothing waits for a person.')
        await client.post('/powering/go-on', { id: this.#hold.id, person })
        return
      default: this.#screen.line(`This is none of: ${words}`)
    }
  }
}
