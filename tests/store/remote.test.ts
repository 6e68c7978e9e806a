import { writeFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { AssertionFault } from '../../src/base/assert.ts'
import { BenchError } from '../../src/base/errors.ts'
import type { Store } from '../../src/schema/store.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { openWorkerStore } from '../../src/store/remote.ts'
import { fillStore, sampleChannels, sampleEvent, sampleReadings, sampleResult, sampleRun } from './sample.ts'
import { temporaryFolder } from './temporary.ts'

const folder = temporaryFolder()
let made = 0
let path: string
let store: Store
beforeEach(async () => {
  path = folder(`worker-${made++}.db`)
  store = await openWorkerStore(path)
})
afterEach(() => store.close())

describe('the store on a thread', () => {
  it('answers every call as the inline one does', async () => {
    const inline = openInlineStore(':memory:')
    const answers = async (own: Store): Promise<unknown[]> => {
      await fillStore(own)
      await own.createRun(sampleRun('R2'), [])
      return [
        await own.interruptRunning(77), await own.listRuns(9), await own.run('R1'), await own.run('none'),
        await own.channels('R1'), await own.events('R1'), await own.events('R1', 9), await own.results('R1'),
        await own.partHistory('C1'), await own.series('R1', 1), await own.series('R1', 1, 5000, 9000),
        await own.levels('R1', 2, 30), await own.chainHead('R1'), await own.verifyChain('R1'),
      ]
    }
    expect(await answers(store)).toEqual(await answers(inline))
    await inline.close()
  })

  it('hands errors over with their class, code, message and context', async () => {
    const wanted = { code: 'NOT_FOUND', message: 'there is no run R9', context: {} }
    await expect(store.events('R9')).rejects.toMatchObject(wanted)
    await expect(store.verifyChain('R9')).rejects.toMatchObject(wanted)
    await expect(store.events('R9')).rejects.toThrow(BenchError)
    await store.createRun(sampleRun(), sampleChannels(1))
    await expect(store.appendEvent('R1', sampleEvent({ atMs: NaN }))).rejects.toThrow(AssertionFault)
    await expect(store.appendReadings('R1', sampleReadings(sampleChannels(2), 0, 2)))
      .rejects.toThrow(AssertionFault)
    expect(await store.verifyChain('R1')).toBeNull()
  })

  it('takes calls in the order in which they were made, without waiting in between', async () => {
    const channels = sampleChannels(2)
    void store.createRun(sampleRun(), channels)
    const calls = Array.from({ length: 50 }, (_, i) => i % 2 === 0
      ? store.appendReadings('R1', sampleReadings(channels, i * 10, 20))
      : store.appendEvent('R1', sampleEvent({ text: `event ${i}` })))
    await Promise.all(calls)
    const events = await store.events('R1')
    expect(events.map(event => event.text))
      .toEqual(Array.from({ length: 25 }, (_, i) => `event ${2 * i + 1}`))
    expect(events.map(event => event.seq)).toEqual(Array.from({ length: 25 }, (_, i) => 2 * i + 2))
  })

  it('commits an event while a long verification is under way', async () => {
    const channels = sampleChannels(4)
    await store.createRun(sampleRun(), channels)
    for (let i = 0; i < 10; i++) {
      await store.appendReadings('R1', sampleReadings(channels, i * 10_000, 10_000))
    }
    const order: string[] = []
    const verified = store.verifyChain('R1').then(broken => { order.push('verified'); return broken })
    await store.appendEvent('R1', sampleEvent())
    order.push('event')
    await store.appendReadings('R1', sampleReadings(channels, 100_000, 700))
    order.push('readings')
    expect(await verified).toBeNull()
    expect(order).toEqual(['event', 'readings', 'verified'])
  })

  it('finishes what was called before it was closed, and refuses what is called after', async () => {
    const channels = sampleChannels(2)
    await store.createRun(sampleRun(), channels)
    await store.appendReadings('R1', sampleReadings(channels, 0, 60_000))
    const verified = store.verifyChain('R1')
    const saved = store.saveResult('R1', sampleResult())
    const closing = store.close()
    await expect(store.listRuns(1))
      .rejects.toMatchObject({ code: 'STORE', message: `${path}: the record is closed` })
    await expect(store.appendReadings('R1', [])).rejects.toMatchObject({ code: 'STORE' })
    await Promise.all([closing, store.close(), saved])
    expect(await verified).toBeNull()
    const after = openInlineStore(path)
    expect(await after.results('R1')).toHaveLength(1)
    await after.close()
  })

  it('rejects where the database cannot be opened, with what opening it inline says', async () => {
    const garbage = folder('garbage.db')
    writeFileSync(garbage, 'not a database at all, '.repeat(500))
    let said = ''
    try { openInlineStore(garbage) } catch (error) { said = (error as Error).message }
    expect(said).toContain('SQLITE_NOTADB')
    await expect(openWorkerStore(garbage))
      .rejects.toMatchObject({ code: 'STORE', message: said, context: { file: garbage } })
  })

  it('fails what is open and what comes later when its thread ends, and can still be closed', async () => {
    const dying = await openWorkerStore(path, fileURLToPath(new URL('./dying-worker.mjs', import.meta.url)))
    const gone = { code: 'STORE', message: `${path}: the store's thread ended with code 3` }
    const calls = [dying.appendEvent('R1', sampleEvent()), dying.listRuns(1)]
    for (const call of calls) await expect(call).rejects.toMatchObject(gone)
    await expect(dying.appendReadings('R1', [])).rejects.toMatchObject(gone)
    await dying.close()
  })
})
