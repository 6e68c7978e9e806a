/**
 * A batch of readings as columns in one buffer: what crosses to the worker, what is hashed, what is inserted.
 */
import { assert } from '../base/assert.ts'
import { qualities, type Quality, type Reading } from '../schema/reading.ts'
import { channelsMax } from './slabs.ts'

/** Rows in order of arrival. `bytes` is the memory of all five columns, in this order, without gaps. */
export interface Columns {
  readonly count: number
  readonly bytes: Uint8Array<ArrayBuffer>
  readonly atMs: Float64Array
  readonly value: Float64Array
  readonly u: Float64Array
  readonly channel: Uint16Array
  readonly quality: Uint8Array
}

const rowBytes = 3 * 8 + 2 + 1
const qualityIndex = new Map<Quality, number>(qualities.map((quality, index) => [quality, index]))

// The chain hashes these bytes as they are in memory; a big-endian host would compute another head.
assert(new Uint8Array(new Uint16Array([1]).buffer)[0] === 1, 'the record needs a little-endian host')

/** Columns of `count` rows over `buffer`, which may have come from another thread. */
export function columnsOver(buffer: ArrayBuffer, count = buffer.byteLength / rowBytes): Columns {
  assert(buffer.byteLength === count * rowBytes, 'a buffer of columns has the wrong length')
  return {
    count,
    bytes: new Uint8Array(buffer),
    atMs: new Float64Array(buffer, 0, count),
    value: new Float64Array(buffer, count * 8, count),
    u: new Float64Array(buffer, count * 16, count),
    channel: new Uint16Array(buffer, count * 24, count),
    quality: new Uint8Array(buffer, count * 26, count),
  }
}

export const emptyColumns = (count: number): Columns => columnsOver(new ArrayBuffer(count * rowBytes), count)

/** Packs readings. AssertionFault on a time that is not finite or a channel no run can have. */
export function pack(batch: readonly Reading[]): Columns {
  const columns = emptyColumns(batch.length)
  for (let i = 0; i < batch.length; i++) {
    const reading = batch[i]!
    const { index } = reading.channel
    const possible = Number.isInteger(index) && index >= 0 && index < channelsMax
    assert(possible, 'a reading names no possible channel')
    assert(Number.isFinite(reading.atMs), 'a reading needs a finite time')
    const quality = qualityIndex.get(reading.quality)
    assert(quality !== undefined, 'a reading needs a known quality')
    setRow(columns, i, index, reading.atMs, reading.value, reading.u, quality)
  }
  return columns
}

/** Sets one row, with the one NaN and the one zero that SQLite gives back. */
export function setRow(
  columns: Columns, i: number, channel: number, atMs: number, value: number, u: number, quality: number,
): void {
  columns.channel[i] = channel
  columns.atMs[i] = atMs + 0
  columns.value[i] = value === value ? value + 0 : NaN
  columns.u[i] = u === u ? u + 0 : NaN
  columns.quality[i] = quality
}
