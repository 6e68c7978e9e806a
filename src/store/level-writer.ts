/** Writes buckets as they close, and finds the open ones again from the rows. */
import type { Columns } from './columns.ts'
import type { Db } from './open.ts'
import { GroupInsert } from './group-insert.ts'
import type { Summary } from './levels.ts'
import { levelCount, OpenBuckets } from './levels.ts'
import { LevelReader, type LevelItem } from './level-reader.ts'
import { rowKey, slabRows } from './slabs.ts'

interface Stream { length: number; slabId: number }

/** Buckets of one run. Everything it does belongs inside the transaction of the batch. */
export class LevelWriter {
  #open: OpenBuckets
  #run: number
  #streams: Stream[]
  #insertSlab
  #buckets

  /** `channels` is how many the run has. Takes up where the rows left off. */
  constructor(db: Db, run: number, channels: number) {
    this.#run = run
    this.#insertSlab = db.prepare('INSERT INTO bucket_slabs (run, level, number) VALUES (?, ?, ?)')
    this.#buckets = new GroupInsert(db, 'buckets', ['id', 'at_ms', 'low', 'sum', 'high', 'bad', 'upto'])
    this.#open =
      new OpenBuckets(channels, (level, channel, bucket, upto) => this.#write(level, channel, bucket, upto))
    const reader = new LevelReader(db)
    this.#streams = Array.from({ length: levelCount }, (_, index) => reader.stream(run, index + 1))
    if (reader.hasReadings(run)) {
      for (let channel = 0; channel < channels; channel++) this.#resume(reader, channel)
    }
    this.#buckets.flush()
  }

  /** Takes a batch, the first reading of which arrived as number `first` of the run. */
  add({ count, channel, atMs, value, quality }: Columns, first: number): void {
    const open = this.#open
    for (let i = 0; i < count; i++) open.addReading(channel[i]!, atMs[i]!, value[i]!, quality[i]!, first + i)
    this.#buckets.flush()
  }

  /** Coarsest first, so that a bucket which closes here finds the one above it as it was. */
  #resume(reader: LevelReader, channel: number): void {
    for (let level = levelCount; level >= 1; level--) {
      const upto = reader.lastUpto(this.#run, level, channel)
      if (level === 1) {
        reader.readings(this.#run, channel, upto, (ordinal, atMs, value, quality) =>
          this.#open.addReading(channel, atMs, value, quality, ordinal))
      } else {
        const add = (item: LevelItem): void => this.#open.addBucket(level, channel, item, item.ordinal)
        reader.buckets(this.#run, level - 1, channel, upto + 1).forEach(add)
      }
    }
  }

  #write(level: number, channel: number, b: Summary, upto: number): number {
    const stream = this.#streams[level - 1]!
    const ordinal = stream.length++
    if (ordinal % slabRows === 0) {
      const slab = this.#insertSlab.run(this.#run, level, Math.floor(ordinal / slabRows))
      stream.slabId = Number(slab.lastInsertRowid)
    }
    this.#buckets.add(rowKey(stream.slabId, channel, ordinal), b.atMs, b.low, b.sum, b.high, b.bad, upto)
    return ordinal
  }
}

/** Levels of every run, from its readings; what is there already is kept. */
export function rebuildAllLevels(db: Db): void {
  const runs =
    db.prepare('SELECT run, max(channel) + 1 FROM channels GROUP BY run').raw().all() as [number, number][]
  for (const [run, channels] of runs) new LevelWriter(db, run, channels)
}
