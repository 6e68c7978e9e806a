/** Recomputes the chain of a run from its rows. */
import { batchHash, eventHash, genesis, resultHash, stateHash, type Hash } from './chain.ts'
import { emptyColumns, setRow, type Columns } from './columns.ts'
import type { Db } from './open.ts'
import type { RunReader } from './read.ts'
import type { BatchRow, EventRow, Hashed, ResultRow, StateRow } from './rows.ts'
import { channelOfKey, placeOfKey, slabKeys, slabOfOrdinal, slabRows } from './slabs.ts'
import type { Steps } from './steps.ts'

export type Broken = { seq: number; what: string }

type Link =
  | { of: 'event'; row: Hashed<EventRow> }
  | { of: 'batch'; row: Hashed<BatchRow> }
  | { of: 'result'; row: Hashed<ResultRow> }
  | { of: 'state'; row: Hashed<StateRow> }

const tables = { event: 'events', batch: 'batches', result: 'results', state: 'states' } as const
const linksPerPage = 256

/** The first link that does not hold, or null. Covers what was there when it began; stops often. */
export function* verify(db: Db, reader: RunReader, runId: string): Steps<Broken | null> {
  const run = reader.row(runId)
  let hash = genesis(run, reader.channelRows(run.number))
  if (!hash.equals(run.hash)) return { seq: 0, what: 'the run or its channels are not what they were' }
  const last = reader.head(run.number, run.hash).seq
  const slabs = new SlabReader(db, run.number)
  for (let seq = 1; seq <= last; seq++) {
    if (seq % linksPerPage === 1) { slabs.links = linksFrom(db, run.number, seq); yield }
    const link = slabs.links.get(seq)
    if (link === undefined) return { seq, what: 'a link is missing' }
    if (link === 'twice') return { seq, what: 'two rows claim one place in the chain' }
    const next = link.of === 'batch' ? yield* batchLink(slabs, hash, link.row) : rowHash(hash, link)
    if (typeof next === 'string') return { seq, what: next }
    if (!next.equals(link.row.hash)) return { seq, what: `the ${link.of} is not what it was` }
    hash = next
  }
  const what = 'there are more readings than the batches brought, or fewer'
  return slabs.surplus() ? { seq: last, what } : null
}

function rowHash(before: Hash, link: Exclude<Link, { of: 'batch' }>): Hash {
  switch (link.of) {
    case 'event': return eventHash(before, link.row)
    case 'result': return resultHash(before, link.row)
    case 'state': return stateHash(before, link.row)
  }
}

function* batchLink(slabs: SlabReader, before: Hash, row: BatchRow): Steps<Hash | string> {
  if (row.first !== slabs.next) return 'the batch does not follow the one before it'
  const columns = yield* slabs.take(row.count)
  return columns ? batchHash(before, row, columns) : 'readings of the batch are missing or doubled'
}

function linksFrom(db: Db, run: number, seq: number): Map<number, Link | 'twice'> {
  const links = new Map<number, Link | 'twice'>()
  for (const [of, table] of Object.entries(tables)) {
    const rows = db.prepare(`SELECT * FROM ${table} WHERE run = ? AND seq >= ? AND seq < ?`)
      .all(run, seq, seq + linksPerPage) as { seq: number }[]
    for (const row of rows) links.set(row.seq, links.has(row.seq) ? 'twice' : { of, row } as Link)
  }
  return links
}

type SlabRow = { id: number; first_ms: number; last_ms: number }
type ReadingRow = [number, number, number, number, number | null, number | null, number]

/** The readings of a run in order of arrival, slab by slab. */
class SlabReader {
  links = new Map<number, Link | 'twice'>()
  /** Place of the reading that `take` gives next. */
  next = 0
  #held = 0
  #run: number
  #slabId; #rows; #total; #lastSlab; #count
  #number = -1
  #slab = emptyColumns(slabRows)
  #filled = new Uint8Array(slabRows)
  #sound = false

  constructor(db: Db, run: number) {
    this.#run = run
    this.#slabId = db.prepare('SELECT id, first_ms, last_ms FROM slabs WHERE run = ? AND number = ?')
    this.#rows = db.prepare(
      'SELECT id, run, channel, at_ms, value, u, quality FROM readings WHERE id >= ? AND id < ?').raw()
    this.#total =
      db.prepare('SELECT first + count FROM batches WHERE run = ? ORDER BY seq DESC LIMIT 1').pluck()
    this.#lastSlab = db.prepare('SELECT id, number FROM slabs WHERE run = ? ORDER BY number DESC LIMIT 1')
    this.#count = db.prepare('SELECT count(*) FROM readings WHERE id >= ? AND id < ?').pluck()
  }

  /** The next `count` readings; undefined where the rows do not give them. */
  *take(count: number): Steps<Columns | undefined> {
    // A count that somebody changed may be any number: no memory is taken for rows that are not there.
    if (this.next + count > this.#held) this.#held = this.#rowsHeld()
    if (!(count >= 0 && this.next + count <= this.#held)) return undefined
    const columns = emptyColumns(count)
    for (let i = 0; i < count; i++, this.next++) {
      const number = slabOfOrdinal(this.next)
      if (number !== this.#number) { this.#load(number); yield }
      const place = this.next % slabRows
      if (!this.#sound || this.#filled[place] !== 1) return undefined
      const s = this.#slab
      setRow(columns, i, s.channel[place]!, s.atMs[place]!, s.value[place]!, s.u[place]!, s.quality[place]!)
    }
    return columns
  }

  /**
   * Whether the rows end elsewhere than the batches do. Looks at both as they are now: while this
   * verification paused, more may have been appended.
   */
  surplus(): boolean {
    const total = this.#total.get(this.#run) as number | undefined ?? 0
    return this.#rowsHeld() !== total
  }

  /** Rows up to the last one in the last slab, as they are now. */
  #rowsHeld(): number {
    const slab = this.#lastSlab.get(this.#run) as { id: number; number: number } | undefined
    if (!slab) return 0
    const [from, to] = slabKeys(slab.id)
    return slab.number * slabRows + (this.#count.get(from, to) as number)
  }

  #load(number: number): void {
    this.#number = number
    this.#filled.fill(0)
    const slab = this.#slabId.get(this.#run, number) as SlabRow | undefined
    this.#sound = slab !== undefined
    if (!slab) return
    const rows = this.#rows.all(...slabKeys(slab.id)) as ReadingRow[]
    for (const [id, run, channel, atMs, value, u, quality] of rows) {
      const place = placeOfKey(id)
      const keyed = run === this.#run && channel === channelOfKey(id) && this.#filled[place] === 0
      // A slab that denies a reading's time would hide it from whoever asks for that time.
      const found = atMs >= slab.first_ms && atMs <= slab.last_ms
      if (!keyed || !found || quality !== (quality & 0xff)) this.#sound = false
      this.#filled[place] = 1
      setRow(this.#slab, place, channel, atMs, value ?? NaN, u ?? NaN, quality)
    }
  }
}

