/**
 * Appends links to the chains of runs. Every method is one transaction: all of it is there afterwards, or
 * nothing.
 */
import { assert } from '../base/assert.ts'
import { BenchError } from '../base/errors.ts'
import type { Channel } from '../schema/reading.ts'
import type { PartResult, RunEvent, RunRecord, RunState } from '../schema/run.ts'
import type { StoredEvent } from '../schema/store.ts'
import { batchHash, eventHash, genesis, resultHash, stateHash, type Hash } from './chain.ts'
import type { Columns } from './columns.ts'
import { LevelWriter } from './level-writer.ts'
import type { Db } from './open.ts'
import type { RunReader } from './read.ts'
import { ReadingWriter } from './reading-writer.ts'
import { channelRow, eventOf, eventRow, resultRow, runRow, type BatchRow } from './rows.ts'
import { channelsMax } from './slabs.ts'

/** Where the record of one run stands. Dropped when a transaction fails, and found again from the rows. */
interface Cursor {
  readonly run: number
  /** 1 at the index of each channel the run has. */
  readonly known: Uint8Array
  seq: number
  head: Hash
  readings: number
  levels: LevelWriter | undefined
}

export class Writer {
  #db: Db
  #reader: RunReader
  #readings: ReadingWriter
  #cursors = new Map<string, Cursor>()
  #statements: ReturnType<typeof prepare>

  constructor(db: Db, reader: RunReader) {
    this.#db = db
    this.#reader = reader
    this.#readings = new ReadingWriter(db)
    this.#statements = prepare(db)
  }

  createRun(run: RunRecord, channels: readonly Channel[]): void {
    const row = runRow(run)
    const rows = channels.map(channelRow)
    for (const { channel } of rows) {
      const possible = Number.isInteger(channel) && channel >= 0 && channel < channelsMax
      assert(possible, 'a channel has no possible index')
    }
    this.#db.transaction(() => {
      if (this.#reader.run(row.id)) throw new BenchError('REFUSED', `there is a run ${row.id} already`)
      const hash = genesis(row, rows)
      const number = this.#statements.run.run({ ...row, hash }).lastInsertRowid
      for (const channel of rows) this.#statements.channel.run({ ...channel, run: number })
    }).immediate()
  }

  appendEvent(runId: string, event: RunEvent): StoredEvent {
    assert(Number.isFinite(event.atMs) && Number.isFinite(event.wallMs), 'an event needs finite times')
    return this.#link(runId, (cursor, seq) => {
      const row = eventRow(seq, event)
      const hash = eventHash(cursor.head, row)
      this.#statements.event.run({ ...row, run: cursor.run, hash })
      return [hash, eventOf({ ...row, hash })]
    })
  }

  /** Appends a batch; an empty one changes nothing. */
  appendReadings(runId: string, columns: Columns): void {
    if (columns.count === 0) return
    this.#link(runId, (cursor, seq) => {
      assertKnown(columns, cursor.known)
      const batch: BatchRow = { seq, first: cursor.readings, count: columns.count }
      const hash = batchHash(cursor.head, batch, columns)
      const levels = cursor.levels ??= new LevelWriter(this.#db, cursor.run, cursor.known.length)
      this.#statements.batch.run({ ...batch, run: cursor.run, hash })
      this.#readings.insert(cursor.run, columns, batch.first)
      levels.add(columns, batch.first)
      cursor.readings += columns.count
      return [hash, undefined]
    })
  }

  saveResult(runId: string, result: PartResult): void {
    this.#link(runId, (cursor, seq) => {
      const row = resultRow(seq, result)
      const hash = resultHash(cursor.head, row)
      this.#statements.result.run({ ...row, run: cursor.run, hash })
      return [hash, undefined]
    })
  }

  finishRun(runId: string, state: RunState, endedWallMs: number): void {
    this.#link(runId, (cursor, seq) => this.#state(cursor, seq, state, endedWallMs))
    this.#cursors.delete(runId)
  }

  /** Marks every run that was left running; all of them or none. */
  interruptRunning(wallMs: number): string[] {
    return this.#db.transaction(() => {
      const ids = this.#reader.running()
      for (const id of ids) this.finishRun(id, 'interrupted', wallMs)
      return ids
    }).immediate()
  }

  #state(cursor: Cursor, seq: number, state: RunState, wallMs: number): [Hash, undefined] {
    const row = { seq, state, wall_ms: wallMs }
    const hash = stateHash(cursor.head, row)
    this.#statements.state.run({ ...row, run: cursor.run, hash })
    return [hash, undefined]
  }

  /** Adds one link in one transaction. `write` inserts its rows and returns its hash. */
  #link<T>(runId: string, write: (cursor: Cursor, seq: number) => [Hash, T]): T {
    try {
      return this.#db.transaction(() => {
        const cursor = this.#cursor(runId)
        const [hash, value] = write(cursor, cursor.seq + 1)
        cursor.seq++
        cursor.head = hash
        return value
      }).immediate()
    } catch (error) {
      this.#cursors.delete(runId)
      throw error
    }
  }

  #cursor(runId: string): Cursor {
    const held = this.#cursors.get(runId)
    if (held) return held
    const { number, hash } = this.#reader.row(runId)
    const channels = this.#reader.channelRows(number).map(row => row.channel)
    const known = new Uint8Array(Math.max(-1, ...channels) + 1)
    for (const channel of channels) known[channel] = 1
    const head = this.#reader.head(number, hash)
    const readings = this.#statements.lastBatch.get(number) as number | undefined ?? 0
    const cursor = { run: number, known, seq: head.seq, head: head.hash, readings, levels: undefined }
    this.#cursors.set(runId, cursor)
    return cursor
  }
}

function assertKnown({ count, channel }: Columns, known: Uint8Array): void {
  for (let i = 0; i < count; i++) assert(known[channel[i]!] === 1, 'a reading is of no channel of its run')
}

function prepare(db: Db) {
  const insert = (table: string, columns: string) => db.prepare(
    `INSERT INTO ${table} (${columns}) VALUES (${columns.split(', ').map(name => `@${name}`).join(', ')})`)
  return {
    run: insert('runs',
      'id, sequence, bench, state, started_wall_ms, ended_wall_ms, person, use, software, setup, hash'),
    channel: insert('channels', 'run, channel, name, quantity, unit, position'),
    event: insert('events', 'run, seq, kind, severity, at_ms, wall_ms, position, text, data, hash'),
    batch: insert('batches', 'run, seq, first, count, hash'),
    result: insert('results', 'run, seq, position, part, body, hash'),
    state: insert('states', 'run, seq, state, wall_ms, hash'),
    lastBatch: db.prepare(
      'SELECT first + count FROM batches WHERE run = ? ORDER BY seq DESC LIMIT 1').pluck(),
  }
}
