/** Follows a run to its end: a table in place on a terminal, lines in a pipe, items with --json. */
import { sleep } from '../base/clock.ts'
import { hasCode } from '../base/errors.ts'
import { formatClock, formatSi } from '../base/format.ts'
import type { BenchStatus, FeedItem } from '../schema/application.ts'
import { isOfPosition, verdictWords, type PartResult, type RunEvent, type RunRecord } from '../schema/run.ts'
import type { ScreenStatus } from '../schema/screening.ts'
import type { DaemonClient, Heard } from './client.ts'
import type { CliContext } from './context.ts'
import { exitOfRun, hasEnded, type ExitCode } from './exit.ts'
import { outcomeLines } from './outcome.ts'
import { Screen } from './screen.ts'
import { screenStatusLine, toldLine } from './screen-text.ts'
import { outlook, statusLines } from './status-text.ts'
import { printable } from './table.ts'

/** In a pipe, a line about the whole run at least this often. */
const lineEveryS = 600
const triesMax = 5
const waitBetweenMs = 2000

/** Follows `runId`; the exit code says how it ended. Rejects DAEMON_GONE when the daemon stays away. */
export async function watchRun(
  context: CliContext, client: DaemonClient, runId: string, json: boolean
): Promise<ExitCode> {
  return await followRun(
    context, client, runId, json ? new JsonFollower(context) : new ScreenFollower(context))
}

/** The same with a follower of one's own. */
export async function followRun(
  context: CliContext, client: DaemonClient, runId: string, follower: Follower,
): Promise<ExitCode> {
  for (let tries = 0; ;) {
    try {
      const run = await followFeed(client, runId, item => { tries = 0; follower.show(item) })
      if (run) {
        const path = `/runs/${encodeURIComponent(runId)}`
        return follower.finish(run, await client.get<PartResult[]>(`${path}/results`),
          await client.get<RunEvent[]>(`${path}/events`))
      }
    } catch (error) {
      if (!hasCode(error, 'DAEMON_GONE') || tries >= triesMax) throw error
    }
    tries++
    await sleep(context.clock, waitBetweenMs)
  }
}

/** Hands on what concerns the run until it has ended; undefined when the feed ended before. */
async function followFeed(
  client: DaemonClient, runId: string, show: (item: FeedItem) => void,
): Promise<RunRecord | undefined> {
  const read = async (): Promise<RunRecord> => await client.get<RunRecord>(
    `/runs/${encodeURIComponent(runId)}`
  )
  await read()
  for await (const item of client.feed()) {
    if (concerns(item, runId)) show(item)
    // The feed does not say that a run ended; a bench that is at something else does.
    const elsewhere = item.type === 'beat' || (item.type === 'status' && !isAt(item.status, runId))
    if (!elsewhere) continue
    const run = await read()
    if (hasEnded(run)) return run
  }
  return undefined
}

const isAt = ({ run, powering }: BenchStatus, runId: string): boolean =>
  run?.id === runId || powering?.run === runId

function concerns(item: Heard, runId: string): item is FeedItem {
  switch (item.type) {
    case 'beat': return false
    case 'status': return true
    case 'screening': return item.screening?.run === runId
    default: return item.runId === runId
  }
}

export interface Follower {
  show(item: FeedItem): void
  finish(run: RunRecord, results: readonly PartResult[], events: readonly RunEvent[]): ExitCode
}

class JsonFollower implements Follower {
  readonly #context: CliContext
  constructor(context: CliContext) { this.#context = context }
  show(item: FeedItem): void { this.#context.out.write(`${JSON.stringify(item)}\n`) }
  finish(run: RunRecord, results: readonly PartResult[]): ExitCode {
    const exit = exitOfRun(run, results)
    this.#context.out.write(`${JSON.stringify({ type: 'end', run, results, exit })}\n`)
    return exit
  }
}

class ScreenFollower implements Follower {
  readonly #screen: Screen
  #toldS = -Infinity
  #toldStage = ''
  #toldText = ''

  constructor(context: CliContext) { this.#screen = new Screen(context.out) }

  show(item: FeedItem): void {
    switch (item.type) {
      case 'status': return this.#status(item.status)
      // The result says it too, and more.
      case 'event': return item.event.kind === 'grade' ? undefined : this.#screen.line(eventLine(item.event))
      case 'result': return this.#screen.line(resultLine(item.result))
      case 'screening': return this.#screening(item.screening)
      case 'reading': return
    }
  }

  finish(run: RunRecord, results: readonly PartResult[], events: readonly RunEvent[]): ExitCode {
    this.#screen.block([])
    this.#screen.end()
    for (const line of ['', ...outcomeLines(run, results, events)]) this.#screen.line(line)
    return exitOfRun(run, results)
  }

  #screening(screening: ScreenStatus | null): void {
    const text = screening?.told ? toldLine(screening.told) : ''
    if (text !== '' && text !== this.#toldText) this.#screen.line(text)
    this.#toldText = text
    if (screening) this.#screen.block([screenStatusLine(screening)])
  }

  #status(status: BenchStatus): void {
    if (this.#screen.live) return this.#screen.block(['', ...statusLines(status, this.#screen.width)])
    const { run } = status
    if (!run) return
    const stage = `${run.stage}, ${run.ending?.as ?? 'going on'}`
    if (stage === this.#toldStage && run.elapsedS - this.#toldS < lineEveryS) return
    this.#toldS = run.elapsedS
    this.#toldStage = stage
    const where = `${formatClock(status.wallMs)}  ${run.stage}: bus ${formatSi(run.busV, 'V')}`
    this.#screen.line(printable(`${where}; ${outlook(status, run)}`))
  }
}

export function eventLine(event: RunEvent): string {
  const { position, text } = event
  const where = position === undefined || text.startsWith(position) ? '' : `${position}  `
  const weight = event.severity === 'info' ? '' : `${event.severity.toUpperCase()}: `
  return printable(`${formatClock(event.wallMs)}  ${where}${weight}${text}`)
}

export function resultLine(result: PartResult): string {
  const { position, part, reason } = result
  const whose = isOfPosition(result) ? '' : `${part}: `
  return printable(`${position}  ${whose}${verdictWords(result)}. ${reason}`)
}
