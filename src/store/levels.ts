/**
 * Down-sampling, without a database: 16 readings make a bucket, 16 buckets one of the next level, three
 * levels up. The open bucket of each channel and level is held in columns.
 */
import type { Bucket } from '../schema/store.ts'

export const bucketFan = 16
export const levelCount = 3
/** Readings in a closed bucket of `level` (1 to 3): 16, 256, 4096. */
export const bucketReadings = (level: number): number => bucketFan ** level

/** What a bucket holds; `low` and `high` are NaN where no reading in it was good. */
export interface Summary { atMs: number; low: number; sum: number; high: number; count: number; bad: number }

/** Told of each bucket as it closes; `upto` is the place of its last item in the stream one level finer. */
export type OnClose = (level: number, channel: number, bucket: Summary, upto: number) => number

/**
 * The open buckets of one run. `onClose` returns the closed bucket's own place in the stream of its level.
 */
export class OpenBuckets {
  #levels: OpenLevel[]
  #onClose: OnClose

  constructor(channels: number, onClose: OnClose) {
    this.#levels = Array.from({ length: levelCount }, () => openLevel(channels))
    this.#onClose = onClose
  }

  /** Takes a reading that arrived as number `ordinal` of the run. Only `good` and finite counts as good. */
  addReading(channel: number, atMs: number, value: number, quality: number, ordinal: number): void {
    const open = this.#levels[0]!
    const items = open.items[channel]!
    if (items === 0) open.atMs[channel] = atMs
    // Infinity and NaN both give NaN here, and neither is a number to draw.
    if (quality === 0 && value - value === 0) {
      if (!(value >= open.low[channel]!)) open.low[channel] = value
      if (!(value <= open.high[channel]!)) open.high[channel] = value
      open.sum[channel] = open.sum[channel]! + value
    } else {
      open.bad[channel] = open.bad[channel]! + 1
    }
    open.items[channel] = items + 1
    if (items + 1 === bucketFan) this.#close(1, channel, ordinal)
  }

  /** Takes a closed bucket of `level` - 1 as an item of the open bucket of `level`. */
  addBucket(level: number, channel: number, b: Summary, ordinal: number): void {
    const open = this.#levels[level - 1]!
    const items = open.items[channel]!
    if (items === 0) open.atMs[channel] = b.atMs
    if (!(b.low >= open.low[channel]!) && b.low === b.low) open.low[channel] = b.low
    if (!(b.high <= open.high[channel]!) && b.high === b.high) open.high[channel] = b.high
    open.sum[channel] = open.sum[channel]! + b.sum
    open.bad[channel] = open.bad[channel]! + b.bad
    open.items[channel] = items + 1
    if (items + 1 === bucketFan) this.#close(level, channel, ordinal)
  }

  #close(level: number, channel: number, upto: number): void {
    const open = this.#levels[level - 1]!
    const bucket = {
      atMs: open.atMs[channel]!, low: open.low[channel]!, sum: open.sum[channel]!, high: open.high[channel]!,
      count: bucketReadings(level), bad: open.bad[channel]!,
    }
    open.items[channel] = 0
    open.low[channel] = NaN
    open.high[channel] = NaN
    open.sum[channel] = 0
    open.bad[channel] = 0
    const ordinal = this.#onClose(level, channel, bucket, upto)
    if (level < levelCount) this.addBucket(level + 1, channel, bucket, ordinal)
  }
}

/** Joins neighbours until at most `points` buckets are left, each of at least the same number of readings. */
export function merge(items: readonly Summary[], points: number): Bucket[] {
  let readings = 0
  for (const item of items) readings += item.count
  const share = Math.ceil(readings / points)
  const merged: Bucket[] = []
  let open: Summary | undefined
  for (const item of items) {
    open = open === undefined ? { ...item } : join(open, item)
    if (open.count >= share) { merged.push(bucketOf(open)); open = undefined }
  }
  if (open) merged.push(bucketOf(open))
  return merged
}

function join(a: Summary, b: Summary): Summary {
  a.low = b.low === b.low && !(b.low >= a.low) ? b.low : a.low
  a.high = b.high === b.high && !(b.high <= a.high) ? b.high : a.high
  a.sum += b.sum
  a.count += b.count
  a.bad += b.bad
  return a
}

function bucketOf(s: Summary): Bucket {
  const good = s.count - s.bad
  // The rounding of a sum may push a mean past its bounds by a digit; a mean outside them would be a lie.
  const mean = good === 0 ? NaN : Math.min(s.high, Math.max(s.low, s.sum / good))
  return { atMs: s.atMs, min: s.low, mean, max: s.high, count: s.count, bad: s.bad }
}

interface OpenLevel {
  atMs: Float64Array; low: Float64Array; sum: Float64Array; high: Float64Array
  bad: Uint32Array; items: Uint8Array
}

function openLevel(channels: number): OpenLevel {
  return {
    atMs: new Float64Array(channels), low: new Float64Array(channels).fill(NaN),
    sum: new Float64Array(channels), high: new Float64Array(channels).fill(NaN),
    bad: new Uint32Array(channels), items: new Uint8Array(channels),
  }
}
