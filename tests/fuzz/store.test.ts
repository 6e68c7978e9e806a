/** Rows of the record: any text comes back as it was given, and a row that somebody changed is told, not believed. */
import Database from 'better-sqlite3'
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { recordCsv } from '../../src/report/csv.ts'
import { recordHtml } from '../../src/report/html.ts'
import { buildRecord } from '../../src/report/record.ts'
import type { Store } from '../../src/schema/store.ts'
import { wellFormed } from '../../src/store/codec.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { addNight } from '../report/sample-night.ts'
import { sampleChannels, sampleEvent, sampleResult, sampleRun } from '../store/sample.ts'
import { temporaryFolder } from '../store/temporary.ts'
import { holds, settledWell } from './holds.ts'
import { anyJson, nasty } from './texts.ts'

describe('rows of the record', () => {
  it('come back as they were given, and the chain holds', async () => {
    const number = fc.oneof(fc.double(), fc.integer(), fc.constantFrom(NaN, Infinity, -Infinity, 0, 5e-324))
    const inputs = fc.record({
      person: nasty(), text: nasty(), note: nasty(), setup: fc.dictionary(nasty(8), anyJson, { maxKeys: 3 }), value: number, u: number,
      figures: fc.dictionary(nasty(8), number, { maxKeys: 3 }), data: fc.dictionary(nasty(8), fc.oneof(nasty(), fc.double({ noNaN: true }), fc.boolean(), fc.constant(null)), { maxKeys: 3 }),
    })
    await holds('rows written', inputs, async ({ person, text, note, setup, value, u, figures, data }) => {
      const store = shared
      const id = `R${runs++}`
      const [channel] = sampleChannels(1)
      await store.createRun(sampleRun(id, { person, setup: setup as Record<string, unknown> }), [channel!])
      await store.appendEvent(id, sampleEvent({ text, data }))
      await store.saveResult(id, sampleResult({ reason: note, figures }))
      await store.appendReadings(id, [{ channel: channel!, atMs: 1, value, u, quality: Number.isFinite(value) ? 'good' : 'over-range' }])
      expect((await store.run(id))!.person).toBe(wellFormed(person))
      expect((await store.events(id))[0]!.text).toBe(wellFormed(text))
      const [result] = await store.results(id)
      expect(result!.reason).toBe(wellFormed(note))
      expect(Object.keys(result!.figures)).toHaveLength(Object.keys(figures).map(wellFormed).filter((key, i, all) => all.indexOf(key) === i).length)
      expect(await store.verifyChain(id)).toBeNull()
      expect(Object.keys(Object.prototype)).toEqual([])
    })
  })
  let shared: Store
  let runs = 0
  beforeAll(() => { shared = openInlineStore(':memory:') })
  afterAll(async () => { await shared.close() })
})

/** Every table and column that is read back, but for the levels, which are rebuilt and prove nothing. */
const cells = [
  ['runs', 'setup'], ['runs', 'person'], ['runs', 'started_wall_ms'], ['channels', 'name'], ['channels', 'unit'],
  ['events', 'text'], ['events', 'data'], ['events', 'at_ms'], ['events', 'severity'], ['results', 'body'], ['results', 'position'],
  ['states', 'state'], ['batches', 'count'], ['readings', 'value'], ['readings', 'quality'], ['readings', 'at_ms'],
] as const

describe('a row that somebody changed', () => {
  const at = temporaryFolder()
  let store: Store
  let other: Database.Database
  beforeAll(async () => {
    store = openInlineStore(at('record.db'))
    await addNight(store, { parts: 1, endS: 700, everyS: 60 })
    other = new Database(at('record.db'))
    other.pragma('synchronous = OFF')
    // Whoever changes rows behind the program's back takes its locks away first.
    const triggers = other.prepare("SELECT name FROM sqlite_master WHERE type = 'trigger'").pluck().all() as string[]
    for (const name of triggers) other.exec(`DROP TRIGGER ${name}`)
  })
  afterAll(async () => { other.close(); await store.close() })

  it('breaks the chain, and no reader', async () => {
    const value = fc.oneof(nasty(), fc.double(), fc.integer(), fc.constant(null), fc.uint8Array({ maxLength: 8 }), anyJson.map(json => JSON.stringify(json) ?? 'null'))
    const inputs = fc.record({ cell: fc.constantFrom(...cells), row: fc.nat(200), value })
    let [refused, changed] = [0, 0]
    await holds('rows changed', inputs, async ({ cell: [table, column], row, value: given }) => {
      const key = (other.pragma(`table_info(${table})`) as { name: string; pk: number }[]).filter(({ pk }) => pk > 0).map(({ name }) => name)
      const rows = other.prepare(`SELECT ${key.join(', ')} FROM ${table}`).raw().all() as unknown[][]
      const at = rows[row % rows.length]!
      const which = key.map(name => `${name} = ?`).join(' AND ')
      const get = other.prepare(`SELECT ${column} FROM ${table} WHERE ${which}`).pluck()
      const before = get.get(...at)
      const put = other.prepare(`UPDATE ${table} SET ${column} = ? WHERE ${which}`)
      try {
        put.run(given instanceof Uint8Array ? Buffer.from(given) : given, ...at)
      } catch { refused++; return /* the table itself refuses it */ }
      try {
        const after = get.get(...at)
        const holdsStill = await settledWell(store.verifyChain('R1'))
        if (!Object.is(after, before) && !Buffer.isBuffer(after)) expect(holdsStill).not.toBeNull()
        for (const read of [store.run('R1'), store.listRuns(5), store.events('R1'), store.results('R1'), store.channels('R1'), store.series('R1', 1), store.levels('R1', 1, 20), store.partHistory('C1')] as Promise<unknown>[]) {
          await settledWell(read)
        }
        const record = await settledWell(buildRecord(store, 'R1', { verify: true }))
        if (!(record instanceof Error)) { recordHtml(record); recordCsv(record) }
      } finally {
        put.run(before, ...at)
      }
      changed++
    })
    // Were most of them refused by the tables, this would show little.
    expect(changed).toBeGreaterThan(refused)
  })
})
