/** Reads buckets, and the readings behind the last closed one. */
import type { Db } from './open.ts'
import { bucketReadings, levelCount, merge, type Summary } from './levels.ts'
import type { Bucket } from '../schema/store.ts'
import { channelKeys, placeOfKey, slabBaseSql, slabKeys, slabOfOrdinal, slabRows } from './slabs.ts'

/** A closed bucket with its place in the stream of its level. */
export interface LevelItem extends Summary { readonly ordinal: number; readonly upto: number }

type BucketRow = [number, number, number, number | null, number | null, number | null, number, number]
type ReadingRow = [number, number, number, number | null, number]
type OnReading = (ordinal: number, atMs: number, value: number, quality: number) => void

/**
 * A level is fine enough when it has at least this share of the points asked for; what is finer is merged.
 */
const fineShare = 1 / 4

const inChannel = `b.id BETWEEN ${slabBaseSql} + CAST(? AS INTEGER) AND ${slabBaseSql} + CAST(? AS INTEGER)`
const bucketsOf = `bucket_slabs s CROSS JOIN buckets b ON ${inChannel} WHERE s.run = ? AND s.level = ?`

export class LevelReader {
  #last; #buckets; #readings; #slab; #stream; #any

  constructor(db: Db) {
    this.#last = db.prepare(
      `SELECT b.upto FROM ${bucketsOf} ORDER BY s.number DESC, b.id DESC LIMIT 1`).pluck()
    this.#buckets = db.prepare(
      `SELECT s.number, b.id, b.at_ms, b.low, b.sum, b.high, b.bad, b.upto FROM ${bucketsOf} AND s.number >= ?
       ORDER BY s.number, b.id`).raw()
    this.#readings = db.prepare(
      `SELECT s.number, b.id, b.at_ms, b.value, b.quality FROM slabs s CROSS JOIN readings b ON ${inChannel}
       WHERE s.run = ? AND s.number >= ? ORDER BY s.number, b.id`).raw()
    this.#slab = db.prepare(
      'SELECT id, number FROM bucket_slabs WHERE run = ? AND level = ? ORDER BY number DESC LIMIT 1')
    this.#stream = db.prepare('SELECT count(*) FROM buckets WHERE id >= ? AND id < ?').pluck()
    this.#any = db.prepare('SELECT 1 FROM slabs WHERE run = ? LIMIT 1')
  }

  hasReadings(run: number): boolean { return this.#any.get(run) !== undefined }

  /** How many buckets of `level` the run has, and the slab the last of them is in. */
  stream(run: number, level: number): { length: number; slabId: number } {
    const slab = this.#slab.get(run, level) as { id: number; number: number } | undefined
    if (!slab) return { length: 0, slabId: 0 }
    const filled = this.#stream.get(...slabKeys(slab.id)) as number
    return { length: slab.number * slabRows + filled, slabId: slab.id }
  }

  /**
   * Place, one level finer, of the last item in the channel's last closed bucket; -1 where none has closed.
   */
  lastUpto(run: number, level: number, channel: number): number {
    return this.#last.get(...channelKeys(channel), run, level) as number | undefined ?? -1
  }

  /** Closed buckets of one channel whose place is `from` or later. */
  buckets(run: number, level: number, channel: number, from = 0): LevelItem[] {
    const rows = this.#buckets.all(...channelKeys(channel), run, level, slabOfOrdinal(from)) as BucketRow[]
    const count = bucketReadings(level)
    const items = rows.map(([number, id, atMs, low, sum, high, bad, upto]) => ({
      ordinal: number * slabRows + placeOfKey(id), atMs, low: low ?? NaN, sum: sum ?? NaN, high: high ?? NaN,
      count, bad, upto,
    }))
    return items.filter(item => item.ordinal >= from)
  }

  /** Readings of one channel that arrived after place `after`. */
  readings(run: number, channel: number, after: number, take: OnReading): void {
    const rows = this.#readings.all(...channelKeys(channel), run, slabOfOrdinal(after + 1))
    for (const [number, id, atMs, value, quality] of rows as ReadingRow[]) {
      const ordinal = number * slabRows + placeOfKey(id)
      if (ordinal > after) take(ordinal, atMs, value ?? NaN, quality)
    }
  }

  /**
   * At most `points` buckets over the whole run; the tail behind the last closed bucket comes from finer
   * rows.
   */
  levels(run: number, channel: number, points: number): Bucket[] {
    const coarse = this.#cover(run, channel, levelCount)
    const readings = coarse.reduce((sum, item) => sum + item.count, 0)
    let level = levelCount
    while (level > 0 && readings / bucketReadings(level) < points * fineShare) level--
    return merge(level === levelCount ? coarse : this.#cover(run, channel, level), points)
  }

  /** Every reading of the channel once: in buckets of `level` as far as they go, then finer and finer. */
  #cover(run: number, channel: number, level: number): Summary[] {
    const items: Summary[] = []
    let after = -1
    for (let l = level; l >= 1; l--) {
      // The last one already covered is read once more, for where it ends in the stream below.
      const found = this.buckets(run, l, channel, Math.max(after, 0))
      for (const item of found) if (item.ordinal > after) items.push(item)
      after = found.at(-1)?.upto ?? -1
    }
    this.readings(
      run, channel, after, (_ordinal, atMs, value, quality) => items.push(single(atMs, value, quality))
    )
    return items
  }
}

function single(atMs: number, value: number, quality: number): Summary {
  const good = quality === 0 && Number.isFinite(value)
  return good
    ? { atMs, low: value, sum: value, high: value, count: 1, bad: 0 }
    : { atMs, low: NaN, sum: 0, high: NaN, count: 1, bad: 1 }
}
