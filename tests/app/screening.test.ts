/** Screening with the real stack over simulated instruments, parts and hands, in virtual time. */
import { describe, expect, it } from 'vitest'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { recordCsv } from '../../src/report/csv.ts'
import { recordHtml } from '../../src/report/html.ts'
import { recordJson } from '../../src/report/json.ts'
import { buildPartRecord, buildRecord } from '../../src/report/record.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { openTable, requestFor, resistor1k, soon, tablePart, type Table } from './screening-bench.ts'

const mixed = [
  tablePart('R1', 'resistor'), tablePart('R2', 'resistor', 'wrong-value'), tablePart('C1', 'film-capacitor'),
  tablePart('C2', 'electrolytic-capacitor'), tablePart('C3', 'electrolytic-capacitor', 'drifted'), tablePart('L1', 'inductor'),
  tablePart('D1', 'diode'), tablePart('D2', 'diode', 'leaky'), tablePart('D3', 'zener'), tablePart('Q1', 'npn'), tablePart('Q2', 'npn', 'short'),
]
const bad = ['R2', 'C3', 'D2', 'Q2']
const standard = { id: 'S1', quantity: 'resistance' as const, value: 1000, u: 0.05 }

const gradesOf = async (table: Table, run: string): Promise<Record<string, string>> =>
  Object.fromEntries((await table.store.results(run)).map(({ position, grade }) => [position, grade]))
/** A person who lets every doubtful outcome stand. */
const keepAll = (table: Table): void => { table.onTold = (tone, text) => { if (tone === 'attention' && text.includes('?')) soon(table, 'keep') } }

describe('a list of mixed parts', () => {
  it('is screened to its end: the spoilt are found, the sound accepted, standards read at start and end', async () => {
    const table = await openTable(mixed)
    table.parts.set('standard S1', resistor1k('S1'))
    keepAll(table)
    const run = await table.screen(requestFor(mixed, { standards: [standard] }))
    expect(run.state).toBe('done')
    const grades = await gradesOf(table, run.id)
    expect(grades).toEqual(Object.fromEntries(mixed.map(({ id }) => [id, bad.includes(id) ? 'reject' : 'accept'])))
    const standards = (await table.store.events(run.id)).filter(({ kind }) => kind === 'standard')
    for (const { data } of standards) {
      expect(data).toMatchObject({ standard: 'S1', inControl: true, quantity: 'resistance', certified: 1000, certifiedU: 0.05 })
      expect(Math.abs(Number(data!['value']) - 1000)).toBeLessThan(5 * Number(data!['u']))
    }
    expect(standards).toHaveLength(2)
    const asks = table.told.filter(({ tone }) => tone === 'ask').map(({ text }) => text)
    expect([asks[0], asks.at(-1)]).toEqual(['standard S1', 'standard S1'])
    expect(table.sim.wrongs).toEqual([])
    expect(table.sim.most.volts).toBeLessThanOrEqual(30)
    expect(table.sim.driven).toBe(false)
    expect(table.keeper.mode).toBe('idle')
    expect(await table.store.verifyChain(run.id)).toBeNull()
    expect((await table.store.results(run.id))[0]).toMatchObject({ part: 'pavilion-R1', criteria: [{ name: 'resistance', unit: 'Ω' }] })
  })

  it('is planned without touching anything: in groups, with what cannot be proven', async () => {
    const table = await openTable(mixed)
    const shown = await table.daemon.screening.plan(requestFor([...mixed, { id: 'V1', kind: 'resistor', line: 'tube,double triode,,,' }]))
    expect(shown.groups.flatMap(({ parts }) => parts).sort()).toEqual(mixed.map(({ id }) => id).sort())
    expect(shown.cannot).toMatchObject([{ id: 'V1' }])
    expect(table.keeper.mode).toBe('idle')
    expect(await table.store.listRuns(5)).toEqual([])
  })
})

describe('the test record of a session', () => {
  it('is a page, a table and JSON with every part of it, also of a reel', async () => {
    const table = await openTable(mixed)
    const reel = { ...requestFor([tablePart('R9', 'resistor')]).parts[0]!, designators: [], quantity: 2, line: 7 }
    for (const n of [1, 2]) table.parts.set(`line 7 #${n}`, resistor1k(`reel-${n}`, 4700))
    keepAll(table)
    const request = requestFor(mixed)
    const { id } = await table.screen({ ...request, parts: [...request.parts, reel] })
    const record = await buildRecord(table.store, id, { verify: true })
    for (const text of [recordHtml(record), recordCsv(record), recordJson(record)]) {
      for (const name of ['R2', 'Q2', 'pavilion-D3', 'pavilion-line-7-2']) expect(text).toContain(name)
    }
    const part = await buildPartRecord(table.store, 'pavilion-line-7-2', {})
    expect(recordHtml(part)).toContain('line 7 #2')
  })
})

describe('a standard that is out of control', () => {
  it('stops grading, and takes back what came since it last was in control', async () => {
    const parts = ['R1', 'R2', 'R3'].map(id => tablePart(id, 'resistor'))
    const table = await openTable(parts)
    table.parts.set('standard S1', resistor1k('S1'))
    table.onTold = (tone, text) => {
      if (tone === 'good' && text.startsWith('R2')) table.parts.set('standard S1', resistor1k('bent', 1010))
      if (tone === 'attention' && text.includes('mended')) {
        expect(table.daemon.screening.status()).toMatchObject({ stands: 'out of control', counts: { accept: 0 } })
        table.parts.set('standard S1', resistor1k('S1'))
        soon(table, 'adjusted', 200_000)
      }
    }
    const run = await table.screen(requestFor(parts, { standards: [standard], standardsEvery: 2 }))
    // A person takes minutes over it, and the keeper is fed meanwhile.
    expect(run.state).toBe('done')
    expect(await gradesOf(table, run.id)).toEqual({ R1: 'cannot tell', R2: 'cannot tell', R3: 'accept' })
    table.onTold = () => {}
    const again = await table.screen(requestFor(parts, { standards: [standard] }))
    expect(again.state).toBe('done')
    expect(await gradesOf(table, again.id)).toEqual({ R1: 'accept', R2: 'accept' })
  })
})

describe('a person', () => {
  it('takes a result back, and the part is asked for again', async () => {
    const parts = ['R1', 'R2'].map(id => tablePart(id, 'resistor'))
    const table = await openTable(parts)
    let undone = false
    table.onTold = (tone, text) => { if (tone === 'ask' && text === 'R2' && !undone) { undone = true; soon(table, 'undo', 100) } }
    const run = await table.screen(requestFor(parts))
    expect(table.results.map(({ position, grade }) => `${position} ${grade}`)).toEqual(['R1 accept', 'R1 cannot tell', 'R1 accept', 'R2 accept'])
    expect(await gradesOf(table, run.id)).toEqual({ R1: 'accept', R2: 'accept' })
  })

  it('is told why a deed cannot be done', async () => {
    const table = await openTable(mixed)
    expect(() => table.daemon.screening.do('keep')).toThrow('no screening session is going on')
    await table.clock.run(table.daemon.screening.begin(requestFor(mixed)))
    expect(() => table.daemon.screening.do('keep')).toThrow('nothing is in doubt')
    await table.clock.run(table.daemon.close())
  })
})

/** In the middle of a transistor, with an output on. */
async function whileDriven(act: (table: Table) => void): Promise<Table & { runId: string }> {
  const parts = [tablePart('Q1', 'npn'), tablePart('Q2', 'npn')]
  const table = await openTable(parts)
  let done = false
  const watch = (): void => {
    if (done) return
    if (table.sim.driven) { done = true; act(table); return }
    table.clock.after(1, watch)
  }
  watch()
  const { id } = await table.clock.run(table.daemon.screening.begin(requestFor(parts)))
  await table.clock.run(table.daemon.ended(id))
  return { ...table, runId: id }
}

/** Nothing energises before a person acknowledges, and then a session can begin again. */
async function expectHeld(table: Table): Promise<void> {
  expect(table.sim.driven).toBe(false)
  const request = requestFor([tablePart('Q1', 'npn')], { ask: 'all' })
  await expect(table.clock.run(table.daemon.screening.begin(request))).rejects.toMatchObject({ code: 'TRIPPED' })
  await expect(table.clock.run(table.composed.roles.source!.setOutput(true))).rejects.toMatchObject({ code: 'TRIPPED' })
  await table.clock.advance(60_000)
  expect(table.sim.driven).toBe(false)
  table.sim.put(null)
  table.parts.set('Q1', makeComponent('npn', usualRatings.npn, 'Q1'))
  await table.clock.run(table.daemon.acknowledge('looked', 'Ida'))
  expect((await table.screen(request)).state).toBe('done')
  expect(table.sim.wrongs).toEqual([])
}

describe('safety', () => {
  it('a stop in the middle: sources off, the run stopped, latched', async () => {
    const table = await whileDriven(({ daemon }) => { void daemon.stop('enough') })
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'stopped' })
    expect(table.daemon.status().latched?.text).toBe('enough')
    await expectHeld(table)
  })

  it('a safe-off by the keeper itself: off, the run tripped', async () => {
    const table = await whileDriven(({ keeper }) => { void keeper.safeOff('the stop door', 'a person') })
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'tripped' })
    expect(table.daemon.status().latched?.text).toMatch(/the stop door/)
    await expectHeld(table)
  })

  it('the link of a source lost while its output is on: off at the instrument, the run tripped', async () => {
    const table = await whileDriven(({ links }) => links.get('smu')!.unplug())
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'tripped' })
    await expectHeld(table)
  })

  it('a meter that hangs: the keeper is not fed any more, and trips', async () => {
    const parts = [tablePart('R1', 'resistor'), tablePart('R2', 'resistor')]
    const table = await openTable(parts)
    const meter = table.composed.roles['ohm-meter']!
    const read = meter.readResistance.bind(meter)
    table.onTold = (_tone, text) => { if (text === 'R2') meter.readResistance = () => new Promise(() => {}) }
    const run = await table.screen(requestFor(parts))
    expect(run).toMatchObject({ state: 'tripped' })
    expect(table.daemon.status().latched?.text).toMatch(/heartbeat/)
    expect(run.endedWallMs! - run.startedWallMs).toBeGreaterThan(120_000)
    expect(await gradesOf(table, run.id)).toEqual({ R1: 'accept' })
    meter.readResistance = read
    await expectHeld(table)
  })

  it('a stop while the session is still beginning is not lost', async () => {
    const table = await openTable(mixed)
    const begun = table.daemon.screening.begin(requestFor(mixed))
    void table.daemon.stop('not yet')
    await expect(table.clock.run(begun)).rejects.toMatchObject({ code: 'STOPPED' })
    expect(table.daemon.status().latched?.text).toBe('not yet')
    expect((await table.store.listRuns(1)).filter(({ state }) => state === 'running')).toEqual([])
    await expectHeld(table)
  })
})

describe('while a session goes on', () => {
  it('a second one, a run and a look at the instruments\' errors are refused', async () => {
    const table = await openTable(mixed)
    await table.clock.run(table.daemon.screening.begin(requestFor(mixed)))
    await expect(table.daemon.screening.begin(requestFor(mixed))).rejects.toMatchObject({ code: 'REFUSED' })
    await expect(table.daemon.start({
      sequence: 'discharge', parameters: {}, parts: [], use: 'touch-safe', person: 'Ida', cautionsConfirmed: true, polarityConfirmed: true,
    })).rejects.toMatchObject({ code: 'REFUSED', message: 'a screening session is going on' })
    await expect(table.daemon.probe('memory:lcr')).rejects.toMatchObject({ code: 'REFUSED' })
    const checks = await table.clock.run(table.daemon.checkInstruments())
    expect(checks.map(({ selfCheck }) => selfCheck)).toEqual(checks.map(() => null))
    await table.clock.run(table.daemon.close())
    expect(table.sim.driven).toBe(false)
  })

  it('a bench without a supply refuses what needs one, in words', async () => {
    const table = await openTable([])
    const request = { parameters: {}, parts: [], use: 'touch-safe' as const, person: 'Ida', cautionsConfirmed: true, polarityConfirmed: true }
    for (const { name } of table.daemon.sequences()) {
      await expect(table.daemon.plan({ ...request, sequence: name })).rejects.toMatchObject({ code: 'REFUSED' })
    }
  })
})

describe('a session that was interrupted', () => {
  it('is marked by the next start, and what has its result is not asked for again', async () => {
    const parts = ['R1', 'R2', 'R3'].map(id => tablePart(id, 'resistor', id === 'R2' ? 'wrong-value' : undefined))
    const table = await openTable(parts, { store: openInlineStore(':memory:') })
    keepAll(table)
    let killed: () => void = () => {}
    const dead = new Promise<void>(resolve => { killed = resolve })
    const before = table.onTold
    table.onTold = (tone, text) => { before(tone, text); if (text === 'R3') killed() }
    const { id } = await table.clock.run(table.daemon.screening.begin(requestFor(parts)))
    await table.clock.run(dead)
    const next = await table.restart()
    table.follow(next)
    table.hands.take()
    expect(await table.store.run(id)).toMatchObject({ state: 'interrupted' })
    expect(next.status().latched).toBeNull()
    await expect(next.continueRun(id, { person: 'Ida', cautionsConfirmed: true, polarityConfirmed: true })).rejects.toMatchObject({ code: 'REFUSED' })
    const shown = await next.screening.plan(requestFor(parts))
    expect(shown.settled).toEqual([{ id: 'R1', grade: 'accept', run: id }, { id: 'R2', grade: 'reject', run: id }])
    expect(shown.groups.flatMap(group => group.parts)).toEqual(['R3'])
    const again = await next.screening.plan(requestFor(parts, { ask: 'not accepted' }))
    expect(again.groups.flatMap(group => group.parts)).toEqual(['R2', 'R3'])
    expect((await next.screening.plan(requestFor(parts, { unit: 'other' }))).settled).toEqual([])
    const changed = requestFor(parts.map(part => ({ ...part, line: 'resistor,5k6,5,,' })))
    expect((await next.screening.plan(changed)).settled).toEqual([])
    table.told.length = 0
    const run = await table.screen(requestFor(parts), next)
    expect(run.state).toBe('done')
    expect(table.told.filter(({ tone }) => tone === 'ask').map(({ text }) => text)).toEqual(['R3'])
    await expect(table.clock.run(next.screening.begin(requestFor(parts)))).rejects.toMatchObject({ code: 'REFUSED', message: expect.stringContaining('has its result') })
  })
})

describe('a request', () => {
  it('that names a part twice, or a bench that can prove none of it, is refused before anything is armed', async () => {
    const table = await openTable([])
    const twice = requestFor([tablePart('R1', 'resistor')])
    await expect(table.daemon.screening.plan({ ...twice, parts: [...twice.parts, ...twice.parts] })).rejects.toMatchObject({ code: 'USAGE' })
    const none = requestFor([{ id: 'V1', kind: 'resistor', line: 'tube,double triode,,,' }])
    await expect(table.clock.run(table.daemon.screening.begin(none))).rejects.toMatchObject({ code: 'REFUSED' })
    expect(table.keeper.mode).toBe('idle')
  })
})
