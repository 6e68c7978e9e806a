/** Reads runs, events and results back. */
import { BenchError } from '../base/errors.ts'
import type { Channel } from '../schema/reading.ts'
import { judgesPositions, type PartResult, type RunHead, type RunRecord } from '../schema/run.ts'
import type { StoredEvent } from '../schema/store.ts'
import type { Db } from './open.ts'
import {
  channelOf, eventOf, headOf, resultOf, runOf, type ChannelRow, type EventRow, type Hashed, type ResultRow,
  type RunRow, type StateRow,
} from './rows.ts'

type Numbered<Row> = Row & { number: number }

export class RunReader {
  #byId; #newest; #lastState; #channels; #events; #results; #byPart; #heads; #db

  constructor(db: Db) {
    this.#db = db
    this.#byId = db.prepare('SELECT * FROM runs WHERE id = ?')
    // As they were recorded: a clock may have been set back between two runs.
    this.#newest = db.prepare(
      `SELECT number, id, sequence, bench, state, started_wall_ms, ended_wall_ms, person, use, software
      FROM runs ORDER BY number DESC LIMIT CAST(? AS INTEGER)`)
    this.#lastState =
      db.prepare('SELECT seq, state, wall_ms FROM states WHERE run = ? ORDER BY seq DESC LIMIT 1')
    this.#channels = db.prepare('SELECT * FROM channels WHERE run = ? ORDER BY channel')
    this.#events = db.prepare('SELECT * FROM events WHERE run = ? AND seq >= ? ORDER BY seq')
    this.#results = db.prepare('SELECT * FROM results WHERE run = ? ORDER BY seq')
    this.#byPart = db.prepare(`SELECT DISTINCT runs.* FROM results JOIN runs ON runs.number = results.run
      WHERE results.part = ? ORDER BY number DESC`)
    this.#heads = ['events', 'batches', 'results', 'states'].map(table =>
      db.prepare(`SELECT seq, hash FROM ${table} WHERE run = ? ORDER BY seq DESC LIMIT 1`))
  }

  /** The row of a run. NOT_FOUND where there is none. */
  row(runId: string): Numbered<Hashed<RunRow>> {
    const row = this.#byId.get(runId) as Numbered<Hashed<RunRow>> | undefined
    if (!row) throw new BenchError('NOT_FOUND', `there is no run ${runId}`)
    return row
  }

  run(runId: string): RunRecord | undefined {
    const row = this.#byId.get(runId) as Numbered<RunRow> | undefined
    return row && this.#withState(row)
  }

  list(limit: number): RunHead[] {
    return (this.#newest.all(limit) as Numbered<Omit<RunRow, 'setup'>>[])
      .map(row => headOf(row, this.#stateOf(row.number)))
  }

  /** Ids of runs whose newest state is `running`, oldest first. */
  running(): string[] {
    const newest =
      `coalesce((SELECT state FROM states WHERE run = runs.number ORDER BY seq DESC LIMIT 1), state)`
    const running = this.#db.prepare(`SELECT id FROM runs WHERE ${newest} = 'running' ORDER BY number`)
    return running.pluck().all() as string[]
  }

  channelRows(run: number): ChannelRow[] { return this.#channels.all(run) as ChannelRow[] }
  channels(runId: string): Channel[] { return this.channelRows(this.row(runId).number).map(channelOf) }

  /** One channel. NOT_FOUND where the run has none of that index. */
  channel(runId: string, index: number): { run: number; channel: Channel } {
    const run = this.row(runId).number
    const row = this.channelRows(run).find(candidate => candidate.channel === index)
    if (!row) throw new BenchError('NOT_FOUND', `run ${runId} has no channel ${index}`)
    return { run, channel: channelOf(row) }
  }

  events(runId: string, fromSeq: number): StoredEvent[] {
    return (this.#events.all(this.row(runId).number, fromSeq) as Hashed<EventRow>[]).map(eventOf)
  }

  /** The newest result of each position, in the order in which positions first had one. */
  results(runId: string): PartResult[] {
    const row = this.row(runId)
    const results = this.#newestResults(row.number)
    return judgesPositions(row) ? results.map(result => ({ ...result, of: 'position' })) : results
  }

  /** What was found of a position that a part sat at is none of its history. */
  history(part: string): { run: RunRecord; result: PartResult }[] {
    return (this.#byPart.all(part) as Numbered<RunRow>[]).flatMap(row => {
      if (judgesPositions(row)) return []
      const run = this.#withState(row)
      const results = this.#newestResults(row.number).filter(result => result.part === part)
      return results.map(result => ({ run, result }))
    })
  }

  /** Number and hash of the newest link; 0 and the run's own hash where there is none. */
  head(run: number, genesis: Buffer): { seq: number; hash: Buffer } {
    let head = { seq: 0, hash: genesis }
    for (const statement of this.#heads) {
      const last = statement.get(run) as { seq: number; hash: Buffer } | undefined
      if (last && last.seq > head.seq) head = last
    }
    return head
  }

  #stateOf(run: number): StateRow | undefined { return this.#lastState.get(run) as StateRow | undefined }

  #withState(row: Numbered<RunRow>): RunRecord {
    return runOf(row, this.#stateOf(row.number))
  }

  #newestResults(run: number): PartResult[] {
    const byPosition = new Map<string, PartResult>()
    for (const row of this.#results.all(run) as ResultRow[]) byPosition.set(row.position, resultOf(row))
    return [...byPosition.values()]
  }
}
