import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { AssertionFault } from '../../src/base/assert.ts'
import type { Reading } from '../../src/schema/reading.ts'
import { qualities } from '../../src/schema/reading.ts'
import type { Store } from '../../src/schema/store.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { fillStore, sampleChannels, sampleEvent, sampleReadings, sampleResult, sampleRun } from './sample.ts'

let store: Store
beforeEach(() => { store = openInlineStore(':memory:') })
afterEach(() => store.close())

describe('runs', () => {
  it('gives back the run and its channels as they were given', async () => {
    const run =
      sampleRun('R1', { setup: { b: [1, { z: NaN, a: -Infinity }], a: 'µΩ \u0000 end', none: null } })
    const channels = [...sampleChannels(2), {
      index: 7, name: 'bus.voltage', quantity: 'voltage' as const, unit: 'V' as const
    }]
    await store.createRun(run, channels)
    expect(await store.run('R1')).toEqual(run)
    expect(await store.channels('R1')).toEqual(channels)
  })

  it('refuses a second run of the same id and keeps the first', async () => {
    await store.createRun(sampleRun(), [])
    await expect(store.createRun(sampleRun('R1', { person: 'Otto' }), []))
      .rejects.toMatchObject({ code: 'REFUSED' })
    expect((await store.run('R1'))!.person).toBe('Ida')
  })

  it('knows no run that was not created, and says so', async () => {
    expect(await store.run('R9')).toBeUndefined()
    await expect(store.events('R9')).rejects.toMatchObject({ code: 'NOT_FOUND' })
    await expect(store.appendEvent('R9', sampleEvent())).rejects.toMatchObject({ code: 'NOT_FOUND' })
    await expect(store.series('R9', 0)).rejects.toMatchObject({ code: 'NOT_FOUND' })
    await expect(store.verifyChain('R9')).rejects.toMatchObject({ code: 'NOT_FOUND' })
  })

  it('lists runs newest first as they were recorded, whatever the clock said, as many as asked for', async () => {
    for (const [id, startedWallMs] of [['A', 2], ['B', 3], ['C', 1]] as const) {
      await store.createRun(sampleRun(id, { startedWallMs }), [])
    }
    expect((await store.listRuns(2)).map(run => run.id)).toEqual(['C', 'B'])
    // A list of long setups would hold up the bench that it is asked of.
    const { setup, ...head } = (await store.run('C'))!
    expect(setup).toBeDefined()
    expect(await store.listRuns(1)).toEqual([head])
    expect(await store.listRuns(0)).toEqual([])
  })

  it('keeps how a run ended, and the last word counts', async () => {
    await store.createRun(sampleRun(), [])
    await store.finishRun('R1', 'tripped', 500)
    expect(await store.run('R1')).toMatchObject({ state: 'tripped', endedWallMs: 500 })
    await store.finishRun('R1', 'stopped', 600)
    expect(await store.run('R1')).toMatchObject({ state: 'stopped', endedWallMs: 600 })
  })

  it('marks the runs that were left running as interrupted, and no others', async () => {
    await store.createRun(sampleRun('A'), [])
    await store.createRun(sampleRun('B', { state: 'prepared' }), [])
    await store.createRun(sampleRun('C'), [])
    await store.finishRun('C', 'done', 5)
    await store.createRun(sampleRun('D', { state: 'prepared' }), [])
    await store.finishRun('D', 'running', 6)
    expect(await store.interruptRunning(900)).toEqual(['A', 'D'])
    expect(await store.run('A')).toMatchObject({ state: 'interrupted', endedWallMs: 900 })
    expect((await store.run('B'))!.state).toBe('prepared')
    expect((await store.run('C'))!.state).toBe('done')
    expect(await store.interruptRunning(901)).toEqual([])
  })
})

describe('events and results', () => {
  it('gives back any event to the letter', async () => {
    await store.createRun(sampleRun(), [])
    const text = fc.string({ unit: 'binary' })
    const data = fc.dictionary(text, fc.oneof(text, fc.double(), fc.boolean(), fc.constant(null)))
    const event = fc.record({
      kind: text, severity: fc.constantFrom('info' as const, 'trip' as const), text,
      atMs: fc.double({ noNaN: true, noDefaultInfinity: true }),
      wallMs: fc.double({ noNaN: true, noDefaultInfinity: true }), position: text, data,
    }, { requiredKeys: ['kind', 'severity', 'text', 'atMs', 'wallMs'] })
    await fc.assert(fc.asyncProperty(event, async given => {
      const stored = await store.appendEvent('R1', given)
      const [found] = await store.events('R1', stored.seq)
      expect(plain(found)).toEqual(plain({ ...given, seq: stored.seq, hash: stored.hash }))
      expect(plain(stored)).toEqual(plain(found))
    }))
    expect(await store.verifyChain('R1')).toBeNull()
  })

  it('replaces what UTF-8 cannot hold, before it is hashed', async () => {
    await store.createRun(sampleRun(), [])
    await store.appendEvent('R1', sampleEvent({ text: 'half \ud800 a pair', data: { '\udc00': '\ud800' } }))
    expect(await store.events('R1'))
      .toMatchObject([{ text: 'half \ufffd a pair', data: { '\ufffd': '\ufffd' } }])
    expect(await store.verifyChain('R1')).toBeNull()
  })

  it('gives events from a place on, in order', async () => {
    await store.createRun(sampleRun(), [])
    const [, second, third] =
      await Promise.all(['a', 'b', 'c'].map(text => store.appendEvent('R1', sampleEvent({ text }))))
    expect((await store.events('R1', second!.seq)).map(event => event.text)).toEqual(['b', 'c'])
    expect(await store.events('R1', third!.seq + 1)).toEqual([])
  })

  it('refuses an event without a time', async () => {
    await store.createRun(sampleRun(), [])
    await expect(store.appendEvent('R1', sampleEvent({ atMs: NaN }))).rejects.toThrow(AssertionFault)
    expect(await store.events('R1')).toEqual([])
  })

  it('gives the newest result of each position and keeps figures that are not finite', async () => {
    await store.createRun(sampleRun(), [])
    await store.saveResult('R1', sampleResult())
    await store.saveResult(
      'R1', sampleResult({ position: 'P1', part: 'C2', figures: { esrOhm: NaN, riseV: Infinity } })
    )
    await store.saveResult('R1', sampleResult({ provisional: false, grade: 'reject' }))
    expect(await store.results('R1')).toEqual([
      sampleResult({ provisional: false, grade: 'reject' }),
      sampleResult({ position: 'P1', part: 'C2', figures: { esrOhm: NaN, riseV: Infinity } }),
    ])
  })

  it('tells the history of a part over its runs, newest first, and of no other part', async () => {
    for (const [id, startedWallMs] of [['A', 1], ['B', 2]] as const) {
      await store.createRun(sampleRun(id, { startedWallMs }), [])
      await store.saveResult(id, sampleResult({ reason: `in ${id}` }))
      await store.saveResult(id, sampleResult({ position: 'P1', part: 'C2' }))
    }
    const history = await store.partHistory('C1')
    expect(history.map(({ run, result }) => [run.id, result.reason])).toEqual([['B', 'in B'], ['A', 'in A']])
    expect(await store.partHistory('C9')).toEqual([])
  })

  it('tells what was found of a position as such, from whatever time the record is, and not of the part that sat there', async () => {
    await store.createRun(sampleRun('B', { sequence: 'bench-check' }), [])
    await store.saveResult('B', sampleResult())
    expect(await store.results('B')).toEqual([{ ...sampleResult(), of: 'position' }])
    expect(await store.partHistory('C1')).toEqual([])
  })
})

describe('readings', () => {
  it('gives back what went in, whatever the batches were', async () => {
    const number = fc.double()
    const reading = fc.record(
      { channel: fc.nat({ max: 4 }), value: number, u: number, quality: fc.constantFrom(...qualities) }
    )
    const batches = fc.array(fc.array(reading, { maxLength: 80 }), { maxLength: 40 })
    await fc.assert(fc.asyncProperty(batches, async given => {
      const own = openInlineStore(':memory:')
      const channels = sampleChannels(5)
      await own.createRun(sampleRun(), channels)
      const all: Reading[] = []
      for (const batch of given) {
        const rows =
          batch.map((row, i) => ({ ...row, channel: channels[row.channel]!, atMs: all.length + i }))
        all.push(...rows)
        await own.appendReadings('R1', rows)
      }
      for (const channel of channels) {
        const mine = all.filter(row => row.channel === channel)
        const series = await own.series('R1', channel.index)
        expect(series.channel).toEqual(channel)
        expect([...series.atMs]).toEqual(mine.map(row => row.atMs))
        expect([...series.value]).toEqual(mine.map(row => row.value + 0))
        expect([...series.u]).toEqual(mine.map(row => row.u + 0))
        expect([...series.quality].map(index => qualities[index])).toEqual(mine.map(row => row.quality))
      }
      expect(await own.verifyChain('R1')).toBeNull()
      await own.close()
    }), { numRuns: 40 })
  })

  it('gives the readings of a span of time, both ends included', async () => {
    const channels = sampleChannels(3)
    await store.createRun(sampleRun(), channels)
    const all = sampleReadings(channels, 0, 9000)
    for (let i = 0; i < all.length; i += 700) await store.appendReadings('R1', all.slice(i, i + 700))
    const mine = all.filter(row => row.channel.index === 1).map(row => row.atMs)
    const [from, to] = [mine[700]!, mine[1900]!]
    expect([...(await store.series('R1', 1, from, to)).atMs]).toEqual(mine.slice(700, 1901))
    expect([...(await store.series('R1', 1, to)).atMs]).toEqual(mine.slice(1900))
    expect((await store.series('R1', 1, 1e9)).atMs).toHaveLength(0)
  })

  it('sorts a channel whose times start anew, as after a restart', async () => {
    const channels = sampleChannels(1)
    await store.createRun(sampleRun(), channels)
    const at =
      (atMs: number): Reading => ({ channel: channels[0]!, atMs, value: atMs, u: 0, quality: 'good' })
    await store.appendReadings('R1', [at(50), at(60)])
    await store.appendReadings('R1', [at(1), at(55)])
    expect([...(await store.series('R1', 0)).value]).toEqual([1, 50, 55, 60])
    expect([...(await store.series('R1', 0, 0, 10)).value]).toEqual([1])
  })

  it('refuses a batch with a channel that is not of the run, whole', async () => {
    const channels = sampleChannels(3)
    await store.createRun(sampleRun(), channels.slice(0, 2))
    await expect(store.appendReadings('R1', sampleReadings(channels, 0, 3))).rejects.toThrow(AssertionFault)
    expect((await store.series('R1', 0)).atMs).toHaveLength(0)
    await expect(store.series('R1', 2)).rejects.toMatchObject({ code: 'NOT_FOUND' })
    await store.appendReadings('R1', sampleReadings(channels.slice(0, 2), 0, 3))
    expect(await store.verifyChain('R1')).toBeNull()
  })

  it('adds no link for an empty batch', async () => {
    await store.createRun(sampleRun(), [])
    const head = await store.chainHead('R1')
    await store.appendReadings('R1', [])
    expect(await store.chainHead('R1')).toBe(head)
  })
})

describe('the inline store', () => {
  it('has done its work before the call returns', async () => {
    void store.createRun(sampleRun(), [])
    const order: string[] = []
    const event = store.appendEvent('R1', sampleEvent()).then(() => order.push('event'))
    queueMicrotask(() => order.push('microtask'))
    await event
    expect(order).toEqual(['event', 'microtask'])
  })

  it('is closed for good, and says so', async () => {
    const own = openInlineStore(':memory:')
    await own.close()
    await own.close()
    await expect(own.listRuns(1))
      .rejects.toMatchObject({ code: 'STORE', message: ':memory:: the record is closed' })
    await expect(own.series('R1', 1)).rejects.toMatchObject({ code: 'STORE' })
  })

  it('reaches the same head every time from the same input', async () => {
    const heads = new Set<string>()
    for (let i = 0; i < 3; i++) {
      const own = openInlineStore(':memory:')
      await fillStore(own)
      heads.add(await own.chainHead('R1'))
      await own.close()
    }
    expect(heads.size).toBe(1)
  })
})

/** Without -0, which SQLite does not keep, and without the prototype of a decoded object. */
function plain(value: unknown): unknown {
  if (typeof value === 'number') return value + 0
  if (typeof value !== 'object' || value === null) return value
  return Object.entries(value).sort(([a], [b]) => a < b ? -1 : 1).map(([key, member]) => [key, plain(member)])
}
