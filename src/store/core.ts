/**
 * The record on one database, synchronous. Inline it is called as it is; on a bench a worker thread owns it.
 */
import { assert } from '../base/assert.ts'
import { BenchError } from '../base/errors.ts'
import type { Channel } from '../schema/reading.ts'
import type { PartResult, RunEvent, RunHead, RunRecord, RunState } from '../schema/run.ts'
import type { Bucket, Series, StoredEvent } from '../schema/store.ts'
import type { Columns } from './columns.ts'
import { guarded, storeFault } from './fault.ts'
import { LevelReader } from './level-reader.ts'
import { openDatabase, type Db, type OpenOptions } from './open.ts'
import { placeOf, type Place } from './place.ts'
import { RunReader } from './read.ts'
import { SeriesReader } from './series.ts'
import type { Steps } from './steps.ts'
import { verify, type Broken } from './verify.ts'
import { Writer } from './write.ts'

/** The methods of `Store`, without their promises; what reads much comes as steps. */
export class StoreCore {
  #path: string
  #db: Db
  #place: Place
  #runs: RunReader
  #writer: Writer
  #levels: LevelReader
  #series: SeriesReader

  /** `db` is a database that `openDatabase(path)` gave; it is closed with this. */
  constructor(path: string, db: Db) {
    this.#path = path
    this.#db = db
    this.#place = placeOf(path, db)
    this.#runs = new RunReader(db)
    this.#writer = new Writer(db, this.#runs)
    this.#levels = new LevelReader(db)
    this.#series = new SeriesReader(db)
  }

  createRun(run: RunRecord, channels: readonly Channel[]): void {
    this.#write('cannot create the run', () => this.#writer.createRun(run, channels))
  }
  appendEvent(runId: string, event: RunEvent): StoredEvent {
    return this.#write('cannot append an event', () => this.#writer.appendEvent(runId, event))
  }
  appendReadings(runId: string, columns: Columns): void {
    this.#write('cannot append readings', () => this.#writer.appendReadings(runId, columns))
  }
  saveResult(runId: string, result: PartResult): void {
    this.#write('cannot save a result', () => this.#writer.saveResult(runId, result))
  }
  finishRun(runId: string, state: RunState, endedWallMs: number): void {
    this.#write('cannot finish the run', () => this.#writer.finishRun(runId, state, endedWallMs))
  }
  interruptRunning(wallMs: number): string[] {
    return this.#write('cannot mark runs interrupted', () => this.#writer.interruptRunning(wallMs))
  }

  listRuns(limit: number): RunHead[] {
    assert(Number.isInteger(limit) && limit >= 0, 'the limit of a list is a count')
    return this.#do('cannot list runs', () => this.#runs.list(limit))
  }
  run(runId: string): RunRecord | undefined {
    return this.#do('cannot read the run', () => this.#runs.run(runId))
  }
  channels(runId: string): Channel[] {
    return this.#do('cannot read channels', () => this.#runs.channels(runId))
  }
  events(runId: string, fromSeq = 0): StoredEvent[] {
    return this.#do('cannot read events', () => this.#runs.events(runId, fromSeq))
  }
  results(runId: string): PartResult[] {
    return this.#do('cannot read results', () => this.#runs.results(runId))
  }
  partHistory(part: string): { run: RunRecord; result: PartResult }[] {
    return this.#do('cannot read the history of a part', () => this.#runs.history(part))
  }
  chainHead(runId: string): string {
    return this.#do('cannot read the chain', () => {
      const row = this.#runs.row(runId)
      return this.#runs.head(row.number, row.hash).hash.toString('hex')
    })
  }
  levels(runId: string, channel: number, points: number): Bucket[] {
    assert(Number.isInteger(points) && points >= 1, 'levels need at least one point')
    return this.#do('cannot read levels', () => {
      const { run } = this.#runs.channel(runId, channel)
      return this.#levels.levels(run, channel, points)
    })
  }

  series(runId: string, channel: number, fromMs = -Infinity, toMs = Infinity): Steps<Series> {
    return this.#steps('cannot read readings', () => {
      const found = this.#runs.channel(runId, channel)
      return this.#series.read(found.run, found.channel, fromMs, toMs)
    })
  }
  verifyChain(runId: string): Steps<Broken | null> {
    return this.#steps('cannot verify the chain', () => verify(this.#db, this.#runs, runId))
  }

  /** Closes the database; twice is harmless. */
  close(): void { guarded(this.#path, 'cannot close the record', () => this.#db.close()) }

  #write<T>(what: string, work: () => T): T {
    return this.#do(what, () => {
      this.#place.check()
      try { return work() } finally { this.#place.wrote() }
    })
  }

  #do<T>(what: string, work: () => T): T {
    return guarded(this.#path, what, () => {
      if (!this.#db.open) throw closed(this.#path)
      return work()
    })
  }

  *#steps<T>(what: string, work: () => Steps<T>): Steps<T> {
    if (!this.#db.open) throw closed(this.#path)
    try { return yield* work() } catch (error) { throw storeFault(this.#path, what, error) }
  }
}

/** Opens the database at `path`; errors as `openDatabase`. */
export function openCore(path: string, options?: OpenOptions): StoreCore {
  const db = openDatabase(path, options)
  try {
    return guarded(path, 'cannot open the record', () => new StoreCore(path, db))
  } catch (error) {
    db.close()
    throw error
  }
}

export const closed = (path: string): BenchError =>
  new BenchError('STORE', 'the record is closed', { file: path })
