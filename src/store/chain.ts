/**
 * The chain of a run: each link's hash covers the one before it and the exact content of its row, the first
 * covers the run and its channels. It shows that a row was changed, added or taken from the middle; that the
 * end was cut off, or everything written anew, shows only against a head that was kept elsewhere, as the test
 * record does.
 */
import { createHash } from 'node:crypto'
import type { Columns } from './columns.ts'
import type { BatchRow, ChannelRow, EventRow, ResultRow, RunRow, StateRow } from './rows.ts'

export type Hash = Buffer

/** Hash of what stands before the first link: the run as it was asked for, and its channels. */
export function genesis(run: RunRow, channels: readonly ChannelRow[]): Hash {
  return digest(undefined, [
    'run', run.id, run.sequence, run.bench, run.state, run.started_wall_ms, run.ended_wall_ms, run.person,
    run.use,
    run.software, run.setup, channels.map(c => [c.channel, c.name, c.quantity, c.unit, c.position]),
  ])
}

export function eventHash(before: Hash, e: EventRow): Hash {
  return digest(before, ['event', e.seq, e.kind, e.severity, e.at_ms, e.wall_ms, e.position, e.text, e.data])
}

export function resultHash(before: Hash, r: ResultRow): Hash {
  return digest(before, ['result', r.seq, r.position, r.part, r.body])
}

export function stateHash(before: Hash, s: StateRow): Hash {
  return digest(before, ['state', s.seq, s.state, s.wall_ms])
}

/** Readings are hashed as raw column bytes: at 27 bytes a row this is a few hundredths of their insertion. */
export function batchHash(before: Hash, b: BatchRow, columns: Columns): Hash {
  return digest(before, ['readings', b.seq, b.first, b.count], columns.bytes)
}

function digest(before: Hash | undefined, head: readonly unknown[], bytes?: Uint8Array): Hash {
  const hash = createHash('sha256')
  if (before) hash.update(before)
  hash.update(`${JSON.stringify(head)}\n`)
  if (bytes) hash.update(bytes)
  return hash.digest()
}
