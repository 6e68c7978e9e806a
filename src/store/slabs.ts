/**
 * How readings (and buckets) lie on disk. Keyed by channel first, a batch of 300 channels would dirty 300
 * pages (1.5 MB of log a second); keyed by time alone, one channel of a night would be read by reading the
 * night. So rows are cut into slabs of 512 in order of arrival, and within a slab sorted by channel: a batch
 * dirties some eight pages, a channel costs one seek a slab, and the place of arrival, which the chain hashes
 * over, stays in the key.
 */
export const slabRows = 512
/** Channels one run may have. */
export const channelsMax = 16384
const channelStep = slabRows
/** Bits of a key that hold channel and place. */
export const slabShift = Math.log2(channelsMax * channelStep)
/** SQL for the first key of slab `s.id`. */
export const slabBaseSql = `(s.id << ${slabShift})`

/** The key of the row that arrived at `ordinal` in its stream. Exact up to 2^30 slabs. */
export function rowKey(slabId: number, channel: number, ordinal: number): number {
  return slabId * (channelsMax * channelStep) + channel * channelStep + ordinal % slabRows
}

/** First key of a slab, and of the one behind it. */
export const slabKeys = (slabId: number): [number, number] => [rowKey(slabId, 0, 0), rowKey(slabId + 1, 0, 0)]

/** What to add to `slabBaseSql` for a channel's first and last possible key. */
export const channelKeys = (channel: number): [number, number] =>
  [channel * channelStep, channel * channelStep + slabRows - 1]

export const placeOfKey = (key: number): number => key % slabRows
export const channelOfKey = (key: number): number => Math.floor(key / channelStep) % channelsMax
export const slabOfOrdinal = (ordinal: number): number => Math.floor(ordinal / slabRows)
