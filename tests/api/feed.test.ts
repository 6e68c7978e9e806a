import { PassThrough } from 'node:stream'
import { describe, expect, it } from 'vitest'
import { buildApi, listen } from '../../src/api/build.ts'
import { feedInto } from '../../src/api/feed.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import type { FeedItem } from '../../src/schema/application.ts'
import type { Channel } from '../../src/schema/reading.ts'
import { FakeApplication, idleStatus, runningStatus } from './fake-application.ts'

const channel = (index: number): Channel => ({
  index, name: `P${index}.current`, quantity: 'current', unit: 'A'
})
const reading = (index: number, value: number): FeedItem =>
  ({ type: 'reading', runId: 'R1', reading: {
    channel: channel(index), value, u: 1e-9, quality: 'good', atMs: 1
  } })
const event: FeedItem = {
  type: 'event', runId: 'R1', event: { kind: 'step', severity: 'info', atMs: 1, wallMs: 2, text: 'one\ntwo' },
}
const itemsOf = (text: string): FeedItem[] => text.split('\n\n').flatMap(block => {
  const data = /^data: (.*)$/m.exec(block)?.[1]
  return data === undefined ? [] : [JSON.parse(data) as FeedItem]
})
const read = (stream: PassThrough): string => String(stream.read() as Buffer | null ?? '')

describe('the live feed', () => {
  it('begins with the status and gives events whole, one line each', async () => {
    const app = await FakeApplication.make()
    const stream = new PassThrough()
    feedInto(stream, app, new VirtualClock())
    app.emit(event)
    expect(itemsOf(read(stream))).toEqual([{ type: 'status', status: idleStatus }, event])
  })

  it('gives at most four readings a second of each channel, and thins no event', async () => {
    const app = await FakeApplication.make()
    const clock = new VirtualClock()
    const stream = new PassThrough({ highWaterMark: 1e7 })
    feedInto(stream, app, clock)
    for (let i = 0; i < 1000; i++) {
      app.emit(reading(0, i)); app.emit(reading(1, i)); app.emit(event)
      await clock.advance(10)
    }
    const items = itemsOf(read(stream))
    const of = (index: number): number =>
      items.filter(item => item.type === 'reading' && item.reading.channel.index === index).length
    expect([of(0), of(1)]).toEqual([40, 40])
    expect(items.filter(item => item.type === 'event')).toHaveLength(1000)
  })

  it('holds back readings from a watcher that lags, and lets go of one that reads nothing', async () => {
    const app = await FakeApplication.make()
    const clock = new VirtualClock()
    const stream = new PassThrough({ highWaterMark: 1e7 })
    feedInto(stream, app, clock)
    const long: FeedItem = { ...event, event: { ...event.event, text: 'x'.repeat(50_000) } } as FeedItem
    for (let i = 0; i < 6; i++) app.emit(long)
    app.emit(reading(0, 1))
    for (let i = 0; i < 100; i++) app.emit(long)
    expect(app.listeners.size).toBe(0)
    const text = read(stream)
    expect(text.length).toBeLessThan(1.2e6)
    expect(text).not.toContain('"type":"reading"')
  })

  it('says that it is still there when nothing happens', async () => {
    const app = await FakeApplication.make()
    const clock = new VirtualClock()
    const stream = new PassThrough()
    const end = feedInto(stream, app, clock)
    await clock.advance(31_000)
    expect(read(stream).match(/^: still here$/gm)).toHaveLength(2)
    end()
    await clock.advance(60_000)
    expect(read(stream)).toBe('')
  })

  it('tells how a run stands every second, and stops telling when nobody watches', async () => {
    const app = await FakeApplication.make()
    app.shownStatus = runningStatus('R1')
    const clock = new VirtualClock()
    const stream = new PassThrough()
    const end = feedInto(stream, app, clock)
    await clock.advance(10_500)
    end()
    await clock.advance(10_500)
    expect(itemsOf(read(stream)).map(item => item.type)).toEqual(Array.from({ length: 11 }, () => 'status'))
  })

  it('reaches a watcher over the network, and the bench forgets the watcher when it goes', async () => {
    const app = await FakeApplication.make()
    const api = buildApi(app)
    const url = await listen(api, { port: 0 })
    const control = new AbortController()
    const answer = await fetch(`${url}/api/v1/feed`, { signal: control.signal })
    expect(answer.headers.get('content-type')).toContain('text/event-stream')
    const reader = answer.body!.getReader()
    const first = new TextDecoder().decode((await reader.read()).value)
    expect(itemsOf(first)).toEqual([{ type: 'status', status: idleStatus }])
    app.emit(event)
    expect(itemsOf(new TextDecoder().decode((await reader.read()).value))).toEqual([event])
    const gone = new Promise<void>(resolve => {
      const forget = app.listeners.delete.bind(app.listeners)
      app.listeners.delete = listener => { const had = forget(listener); resolve(); return had }
    })
    control.abort()
    await gone
    expect(app.listeners.size).toBe(0)
    await api.close()
  })

  it('lets the daemon close while somebody watches', async () => {
    const app = await FakeApplication.make()
    const api = buildApi(app)
    const answer = await fetch(`${await listen(api, { port: 0 })}/api/v1/feed`)
    await api.close()
    await answer.text().catch(() => '')
    expect(app.listeners.size).toBe(0)
  })
})
