import { createHash } from 'node:crypto'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Store } from '../../src/schema/store.ts'
import { StoreCore } from '../../src/store/core.ts'
import { inlineStore } from '../../src/store/inline.ts'
import { openDatabase, type Db } from '../../src/store/open.ts'
import { fillStore, sampleChannels, sampleEvent, sampleReadings, sampleRun } from './sample.ts'

let db: Db
let store: Store
beforeEach(async () => {
  db = openDatabase(':memory:')
  store = inlineStore(new StoreCore(':memory:', db))
  await fillStore(store)
})
afterEach(() => store.close())

/** What someone with the file and a SQL shell can do. */
function tamper(sql: string): void {
  const names = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'").pluck().all() as string[]
  for (const name of names) db.exec(`DROP TRIGGER ${name}`)
  db.pragma('foreign_keys = OFF')
  expect(db.prepare(sql).run().changes).toBe(1)
}

const readingAt = (place: number): string => `(SELECT id FROM readings ORDER BY id LIMIT 1 OFFSET ${place})`

describe('the chain', () => {
  it('holds for a run as it was written', async () => {
    expect(await store.verifyChain('R1')).toBeNull()
    expect((await store.series('R1', 0)).atMs.length).toBeGreaterThan(800)
  })

  it('holds for a run with nothing in it', async () => {
    await store.createRun(sampleRun('empty'), sampleChannels(1))
    expect(await store.verifyChain('empty')).toBeNull()
    expect(await store.chainHead('empty')).toMatch(/^[0-9a-f]{64}$/)
  })

  it('moves its head with every link, to the hash of that link', async () => {
    const before = await store.chainHead('R1')
    const event = await store.appendEvent('R1', sampleEvent())
    expect(event.hash).not.toBe(before)
    expect(await store.chainHead('R1')).toBe(event.hash)
  })

  it.each([2 ** 40, -1])('tells of a batch that claims %d readings, and takes no memory for them', async count => {
    tamper(`UPDATE batches SET count = ${count} WHERE seq = (SELECT min(seq) FROM batches)`)
    expect((await store.verifyChain('R1'))?.what).toBe('readings of the batch are missing or doubled')
  })

  it('is SHA-256 over the hash before and the content, so that another program can follow it', async () => {
    const before = Buffer.from(await store.chainHead('R1'), 'hex')
    const { seq, hash } = await store.appendEvent('R1', sampleEvent({ data: { volts: 50, held: true } }))
    const content = [
      'event', seq, 'step', 'info', 12.5, 1767643200012, null, 'raised to 50 V', '{"held":true,"volts":50}'
    ]
    expect(createHash('sha256').update(before).update(`${JSON.stringify(content)}\n`).digest('hex'))
      .toBe(hash)
  })

  it.each([
    ['the value of a reading', `UPDATE readings SET value = value * 1.000001 WHERE id = ${readingAt(1300)}`],
    ['a reading made good',
      "UPDATE readings SET quality = 0 WHERE id = (SELECT id FROM readings WHERE quality = 3 LIMIT 1)"],
    ['a quality beyond a byte', `UPDATE readings SET quality = quality + 256 WHERE id = ${readingAt(9)}`],
    ['the time of a reading', `UPDATE readings SET at_ms = at_ms + 0.001 WHERE id = ${readingAt(600)}`],
    ['the uncertainty of a reading', `UPDATE readings SET u = u / 2 WHERE id = ${readingAt(0)}`],
    ['a value made unknown',
      `UPDATE readings SET value = NULL WHERE id = (SELECT id FROM readings WHERE value > 0 LIMIT 1)`],
    ['the channel of a reading', `UPDATE readings SET channel = channel + 1 WHERE id = ${readingAt(600)}`],
    ['a reading under another channel',
      `UPDATE readings SET channel = 9, id = id + (9 - channel) * 512 WHERE id = ${readingAt(600)}`],
    ['a reading of another run', `UPDATE readings SET run = 2 WHERE id = ${readingAt(600)}`],
    ['a reading taken out', `DELETE FROM readings WHERE id = ${readingAt(2499)}`],
    ['a reading put in',
      `INSERT INTO readings SELECT id + 300, 1, channel, at_ms, 1, 0, 0 FROM readings
      ORDER BY id DESC LIMIT 1`],
    ['a slab that hides its readings', 'UPDATE slabs SET last_ms = first_ms WHERE number = 1'],
    ['a slab taken out', 'DELETE FROM slabs WHERE number = 4'],
    ['the text of an event', "UPDATE events SET text = 'raised to 500 V' WHERE seq = 1"],
    ['the data of an event', `UPDATE events SET data = replace(data, '50', '40') WHERE seq = 1`],
    ['the wall time of an event', 'UPDATE events SET wall_ms = wall_ms + 1 WHERE seq = 1'],
    ['an event taken out', 'DELETE FROM events WHERE seq = 1'],
    ['an event put in', `INSERT INTO events
      SELECT run, 2, kind, severity, at_ms, wall_ms, position, text, data, hash FROM events WHERE seq = 1`],
    ['a batch taken out', 'DELETE FROM batches WHERE seq = 2'],
    ['the grade of a part', `UPDATE results SET body = replace(body, 'accept', 'reject')`],
    ['the part of a result', "UPDATE results SET part = 'C9'"],
    ['how a run ended', "UPDATE states SET state = 'tripped'"],
    ['who ran it', "UPDATE runs SET person = 'Otto'"],
    ['what was asked for', `UPDATE runs SET setup = replace(setup, '450', '400')`],
    ['the name of a channel', "UPDATE channels SET name = 'P9.current' WHERE channel = 1"],
    ['a hash', "UPDATE events SET hash = zeroblob(32) WHERE seq = 1"],
  ])('shows %s', async (_what, sql) => {
    tamper(sql)
    const broken = await store.verifyChain('R1')
    expect(broken).not.toBeNull()
    expect(broken!.what).not.toBe('')
  })

  it('names the first link that does not hold', async () => {
    const [, second] = await store.events('R1')
    tamper(`UPDATE events SET text = 'other' WHERE seq = ${second!.seq}`)
    expect(await store.verifyChain('R1')).toEqual({ seq: second!.seq, what: 'the event is not what it was' })
  })

  it('shows a rewrite from end to end only against a head kept elsewhere', async () => {
    const kept = await store.chainHead('R1')
    const other = openDatabase(':memory:')
    const rewritten = inlineStore(new StoreCore(':memory:', other))
    await rewritten.createRun(sampleRun(), sampleChannels(3))
    await rewritten.appendReadings('R1', sampleReadings(sampleChannels(3), 0, 2500, 2))
    expect(await rewritten.verifyChain('R1')).toBeNull()
    expect(await rewritten.chainHead('R1')).not.toBe(kept)
    await rewritten.close()
  })

  it('tells two runs apart that differ in their id alone', async () => {
    await store.createRun(sampleRun('A'), [])
    await store.createRun(sampleRun('B'), [])
    expect(await store.chainHead('A')).not.toBe(await store.chainHead('B'))
  })
})

describe('rows', () => {
  const tables = ['runs', 'channels', 'events', 'batches', 'results', 'states', 'readings']
  it.each(tables)('of %s are append only', table => {
    const column = db.pragma(`table_info(${table})`) as { name: string }[]
    const name = column.at(-1)!.name
    expect(() => db.exec(`UPDATE ${table} SET ${name} = ${name}`)).toThrow(`${table} are append only`)
    expect(() => db.exec(`DELETE FROM ${table}`)).toThrow(`${table} are append only`)
  })
})
