/** Which runs of a unit the record is made of, read out of a store. */
import { describe, expect, it } from 'vitest'
import { readUnitRuns } from '../../src/report/unit-record-read.ts'
import { unitRecordHtml, unitRecordJson, type UnitRun } from '../../src/report/unit-record.ts'
import type { Store } from '../../src/schema/store.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { burnIn, courseAt, dead, firstPower, input, runOf, specimen, startWallMs, tripped, twelve, unitRun, verify, type Say } from './unit-record-fixture.ts'

async function keep(store: Store, { run, events, result }: UnitRun): Promise<void> {
  await store.createRun({ ...run, state: 'running', endedWallMs: null }, twelve)
  for (const { seq: _, hash: __, ...event } of events) await store.appendEvent(run.id, event)
  if (result) await store.saveResult(run.id, result)
  await store.finishRun(run.id, run.state, run.endedWallMs ?? startWallMs)
}
async function storeWith(...runs: UnitRun[]): Promise<Store> {
  const store = openInlineStore(':memory:')
  for (const run of runs) await keep(store, run)
  return store
}
const dayMs = 86_400_000
const energise: Say = { kind: 'energise', atS: 10, text: 'mains closes by way of straight' }
const later = (id: string, day: number, state: 'refused' | 'stopped' | 'done', says: Say[] = []): UnitRun =>
  unitRun(runOf('burn-in', { id, state, startedWallMs: startWallMs + day * dayMs }), says, null)
const idsOf = ({ runs, others }: Awaited<ReturnType<typeof readUnitRuns>>): string[][] => [runs.map(({ run }) => run.id), others.map(({ id }) => id)]

describe('the runs that a record is made of', () => {
  it('are the newest of each kind, with events, result, head and what was read', async () => {
    const store = await storeWith(firstPower(), burnIn(), verify())
    const read = await readUnitRuns(store, specimen, { runsMost: 100 })
    expect(idsOf(read)).toEqual([['verify-1', 'burn-in-1', 'first-power-1'], []])
    const record = unitRecordJson(input(read))
    expect(record.verdict).toEqual(unitRecordJson(input()).verdict)
    expect(record.runs[2]!.chainHead).toBe(await store.chainHead('verify-1'))
    expect(record.runs.map(({ chain }) => chain)).toEqual([null, null, null])
    expect(record.runs[0]!.courses).toHaveLength(12)
  })

  it('go back past runs that were refused or gave no mains, to what tripped and to what left findings', async () => {
    const store = await storeWith(burnIn(), later('old', 1.5, 'stopped', [energise]), tripped(), later('stopped', 3, 'stopped'), later('refused', 4, 'refused'), later('refused-2', 5, 'refused'))
    const read = await readUnitRuns(store, specimen, { runsMost: 100 })
    expect(idsOf(read)).toEqual([['refused-2', 'stopped', 'burn-in-2', 'burn-in-1'], ['refused', 'old']])
    const record = unitRecordJson(input(read))
    expect(record.touch).toMatchObject({ run: 'burn-in-2', isSafe: false })
    expect(record.alarms.map(({ run }) => run)).toEqual(['stopped'])
    expect(unitRecordHtml(input(read)).indexOf('NOT SAFE TO TOUCH')).toBeLessThan(unitRecordHtml(input(read)).indexOf('id="verdict"'))
  })

  it('still lead with a trip that only refused runs came after', async () => {
    const store = await storeWith(burnIn(), tripped(), later('refused', 4, 'refused'))
    const record = unitRecordJson(input(await readUnitRuns(store, specimen, { runsMost: 100 })))
    expect(record.alarms.map(({ run, state }) => [run, state])).toEqual([['burn-in-2', 'tripped']])
  })

  it('are of this unit alone, and say where older ones were not looked through', async () => {
    const setup = { request: { specimen: 'another' } }
    const store = await storeWith(firstPower(), { ...burnIn(), run: runOf('burn-in', { setup }) })
    expect(idsOf(await readUnitRuns(store, specimen, { runsMost: 100 }))).toEqual([['first-power-1'], []])
    const cut = await readUnitRuns(store, specimen, { runsMost: 1 })
    expect([...idsOf(cut), cut.wasAll]).toEqual([[], [], false])
    expect(unitRecordHtml(input(cut))).toContain('Only the newest runs of the bench were looked through')
  })

  it('are checked link by link where that is asked for, and the page says what it found', async () => {
    const store = await storeWith(firstPower())
    const read = await readUnitRuns(store, specimen, { runsMost: 100, verify: true })
    expect(read.runs[0]!.chain).toEqual({ holds: true, firstBreak: '' })
    expect(unitRecordHtml(input(read))).toContain('holds from first to last link')
    const broken = { ...read.runs[0]!, chain: { holds: false, firstBreak: 'link 3: its hash' } }
    const record = unitRecordJson(input({ ...read, runs: [broken] }))
    expect(record.cautions[0]).toContain('its chain breaks at link 3: its hash')
    expect(unitRecordHtml(input({ ...read, runs: [broken] }))).toContain('BROKEN at link 3: its hash')
  })

  it('have readings of the store in a few hundred steps', async () => {
    const store = await storeWith(firstPower())
    const run = { ...runOf('verify', { id: 'V2' }), state: 'running' as const }
    await store.createRun(run, twelve)
    for (let from = 0; from < 20_000; from += 2000) {
      await store.appendReadings('V2', Array.from({ length: 2000 }, (_, i) => twelve.map(channel => ({
        channel, atMs: 5000 + 1000 * (from + i), value: courseAt(channel, (from + i) / 20_000), u: 1e-3, quality: 'good' as const,
      }))).flat())
    }
    await store.appendEvent('V2', { kind: 'touch', severity: 'info', atMs: 6000, wallMs: run.startedWallMs, text: dead(0).text!, data: { isDead: true } })
    const record = unitRecordJson(input(await readUnitRuns(store, specimen, { runsMost: 10 })))
    const { courses } = record.runs.find(({ id }) => id === 'V2')!
    expect(courses.map(({ channel }) => channel)).toEqual(twelve.map(({ name }) => name))
    for (const { atS, readings } of courses) {
      expect(readings).toBe(20_000)
      expect(atS.length).toBeGreaterThan(70)
      expect(atS.length).toBeLessThanOrEqual(300)
    }
  })
})
