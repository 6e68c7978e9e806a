/** A run that ended while the record could not be written stands on it as running; nobody is told that it runs, and it is ended later. */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { sleep, VirtualClock } from '../../src/base/clock.ts'
import { BenchError } from '../../src/base/errors.ts'
import { Unended } from '../../src/app/unended.ts'
import { outcomeLines } from '../../src/cli/outcome.ts'
import { recordHtml } from '../../src/report/html.ts'
import { buildRecord } from '../../src/report/record.ts'
import type { Store } from '../../src/schema/store.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { virtualBench } from '../nights/virtual-bench.ts'
import { openTable, requestFor, tablePart } from './screening-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }
const writes = ['appendEvent', 'appendReadings', 'saveResult', 'finishRun', 'interruptRunning', 'createRun'] as const

type Bench = Awaited<ReturnType<typeof virtualBench>>

/** Every write of these fails until the returned function is called. */
function full(store: Store, which: readonly (typeof writes)[number][] = writes): () => void {
  const whole = { ...store }
  for (const name of which) Object.assign(store, { [name]: () => Promise.reject(new BenchError('STORE', 'disk full')) })
  return () => { for (const name of which) Object.assign(store, { [name]: whole[name] }) }
}

/** A night on a disk that is full after two minutes, and the way to make room. */
async function cutShort(): Promise<{ bench: Bench; run: Awaited<ReturnType<Bench['night']>>; makeRoom: () => void }> {
  const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
  let makeRoom = (): void => {}
  bench.clock.after(120_000, () => { makeRoom = full(bench.store) })
  const run = await bench.night({ parameters: short })
  return { bench, run, makeRoom }
}

const pageOf = async (bench: Bench, id: string): Promise<string> =>
  recordHtml(await buildRecord(bench.daemon.store, id))

describe('a run whose end could not be written', () => {
  it('is shown as interrupted at once, with its end, and nowhere as running', async () => {
    const { bench, run } = await cutShort()
    expect(run.state).toBe('tripped')
    expect((await bench.store.run(run.id))!.state).toBe('running')
    const [listed] = await bench.daemon.store.listRuns(1)
    expect(listed).toMatchObject({ id: run.id, state: 'interrupted', endedWallMs: run.endedWallMs })
    expect(await bench.daemon.store.run(run.id)).toMatchObject({ state: 'interrupted', endedWallMs: run.endedWallMs })
    const page = await pageOf(bench, run.id)
    expect(page).toContain('interrupted before its end')
    expect(page).not.toContain('still running')
  }, 60_000)

  it('stays latched, with energy withheld, while it cannot be written, and is acknowledged only once it is', async () => {
    const { bench, run, makeRoom } = await cutShort()
    await expect(bench.clock.run(bench.daemon.acknowledge('looked', 'Ada'))).rejects.toThrow('disk full')
    expect(bench.daemon.status().latched?.text).toContain(`the record of run ${run.id} could not be ended`)
    const before = bench.sim.audit().busMaxV
    await expect(bench.night({ parameters: short })).rejects.toThrow(/not acknowledged/)
    expect(bench.sim.audit().busMaxV).toBe(before)
    expect(bench.sim.instruments.psu.core.driven).toBe(false)
    makeRoom()
    await bench.clock.run(bench.daemon.acknowledge('made room', 'Ada'))
    expect(bench.daemon.status().latched).toBeNull()
  }, 60_000)

  it('is marked interrupted by the acknowledgement, with how, when and why it ended, and can be continued', async () => {
    const { bench, run, makeRoom } = await cutShort()
    makeRoom()
    await bench.clock.run(bench.daemon.acknowledge('made room', 'Ada'))
    expect(await bench.store.run(run.id)).toMatchObject({ state: 'interrupted', endedWallMs: run.endedWallMs })
    const events = await bench.store.events(run.id)
    const told = events.filter(({ kind }) => kind === 'end-not-written')
    expect(told.map(({ text }) => text)).toEqual([expect.stringMatching(/ended tripped at .*: .*disk full/)])
    expect(told[0]!.seq).toBeLessThan(events.find(({ kind }) => kind === 'acknowledged')!.seq)
    expect(await bench.store.verifyChain(run.id)).toBeNull()
    const again = await bench.clock.run((async () => {
      const { id } = await bench.daemon.continueRun(run.id, bench.request)
      return await bench.daemon.ended(id)
    })())
    expect(again.state).toBe('done')
    expect((await bench.store.events(run.id)).filter(({ kind }) => kind === 'end-not-written')).toHaveLength(1)
  }, 60_000)

  it('latches the bench though it got done', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    const makeRoom = full(bench.store, ['finishRun'])
    const run = await bench.night({ parameters: short })
    expect(run.state).toBe('done')
    expect(bench.daemon.status().latched?.text).toContain('could not be ended')
    await expect(bench.night({ parameters: short })).rejects.toThrow(/not acknowledged/)
    expect(await bench.store.listRuns(5)).toHaveLength(1)
    makeRoom()
    // The keeper makes the bench safe once more, since the record failed.
    await bench.clock.run(sleep(bench.clock, 10_000))
    await bench.clock.run(bench.daemon.acknowledge('made room', 'Ada'))
    expect((await bench.store.run(run.id))!.state).toBe('interrupted')
    expect(await bench.store.results(run.id)).toHaveLength(2)
    expect((await bench.store.events(run.id)).find(({ kind }) => kind === 'end-not-written')!.text).toContain('ended done')
  }, 60_000)

  it('and that nobody saw end is marked by the next run that starts', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'unended-'))
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11, { storePath: join(folder, 'record.db') })
    const [draft, makeRoom] = [join(folder, 'last-run.json.new'), full(bench.store, ['finishRun'])]
    mkdirSync(draft)
    await expect(bench.night({ parameters: short })).rejects.toThrow('disk full')
    const [first] = await bench.store.listRuns(1)
    expect(first!.state).toBe('running')
    expect((await bench.daemon.store.listRuns(1))[0]).toMatchObject({ state: 'interrupted', endedWallMs: null })
    expect(outcomeLines((await bench.daemon.store.run(first!.id))!, [], [])[0]).toBe(`Run ${first!.id} was interrupted.`)
    expect(await pageOf(bench, first!.id)).toContain('not known; ')
    rmSync(draft, { recursive: true })
    makeRoom()
    expect((await bench.night({ parameters: short })).state).toBe('done')
    expect((await bench.store.run(first!.id))!.state).toBe('interrupted')
    expect((await bench.store.events(first!.id)).at(-1)!.text).toContain('is not known any more')
    rmSync(folder, { recursive: true })
  }, 60_000)
})

describe('a session whose end could not be written', () => {
  it('is shown as interrupted, latches the bench, and is marked by the acknowledgement', async () => {
    const parts = [tablePart('R1', 'resistor')]
    const table = await openTable(parts)
    const makeRoom = full(table.store, ['finishRun'])
    const { id } = await table.screen(requestFor(parts))
    expect((await table.store.run(id))!.state).toBe('running')
    expect((await table.daemon.store.run(id))!.state).toBe('interrupted')
    expect(table.daemon.status().latched?.text).toContain('could not be ended')
    await expect(table.screen(requestFor(parts, { ask: 'all' }))).rejects.toThrow(/not acknowledged/)
    makeRoom()
    await table.clock.run(table.daemon.acknowledge('made room', 'Ada'))
    expect((await table.store.run(id))!.state).toBe('interrupted')
    expect((await table.store.results(id)).map(({ grade }) => grade)).toEqual(['accept'])
    expect((await table.screen(requestFor(parts, { ask: 'all' }))).state).toBe('done')
  }, 60_000)
})

const plain = {
  id: 'late', sequence: 'reform', bench: 'b', state: 'running' as const, startedWallMs: 1, endedWallMs: null,
  person: 'Ada', use: 'unattended', software: 'test', setup: {},
}
const graded = {
  position: 'P01', part: 'C1', profile: 'p', grade: 'accept', provisional: false, disposition: 'use', pConform: 1, reason: 'r', criteria: [], figures: {},
} as const

describe('what this process knows of an ending', () => {
  it('goes on record whole, with the grades, once that can be written', async () => {
    const store = openInlineStore(':memory:')
    const unended = new Unended({ store, clock: new VirtualClock() })
    await store.createRun(plain, [])
    await unended.take({ run: { ...plain, state: 'done', endedWallMs: 5 }, why: null, results: [graded] })
    const makeRoom = full(store)
    await expect(unended.record()).rejects.toThrow('disk full')
    expect(unended.endOf('late')).toBe(5)
    makeRoom()
    await unended.record()
    expect(await store.run('late')).toMatchObject({ state: 'interrupted', endedWallMs: 5 })
    expect(await store.results('late')).toEqual([graded])
    expect(await store.verifyChain('late')).toBeNull()
  })
})

describe('a run whose end is written', () => {
  it('stands as running while it goes on, and as it ended for ever after', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    const during: unknown[] = []
    bench.clock.after(120_000, () => { void bench.daemon.store.listRuns(1).then(([run]) => during.push(run!.state, run!.endedWallMs)) })
    const first = await bench.night({ parameters: short })
    expect(during).toEqual(['running', null])
    await bench.night({ parameters: short })
    expect((await bench.store.run(first.id))!.state).toBe('done')
    expect((await bench.store.events(first.id)).some(({ kind }) => kind === 'end-not-written')).toBe(false)
  }, 60_000)

  it('though late, keeps the end that came on record meanwhile', async () => {
    const store = openInlineStore(':memory:')
    const unended = new Unended({ store, clock: new VirtualClock() })
    await store.createRun(plain, [])
    expect(await unended.take({ run: { ...plain, state: 'done', endedWallMs: 5 }, why: null, results: [] })).toBe(true)
    expect(unended.endOf('late')).toBe(5)
    await store.finishRun('late', 'done', 5)
    await unended.record()
    expect((await store.run('late'))!.state).toBe('done')
    expect(await store.events('late')).toEqual([])
    expect(unended.endOf('late')).toBeNull()
  })
})
