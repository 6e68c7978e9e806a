/** What a listener takes at most, over real sockets: the other side here is rude on purpose. */
import { connect, type Socket } from 'node:net'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, listen, type Api } from '../../src/api/build.ts'
import { apiLimits } from '../../src/api/limits.ts'
import { FakeApplication } from './fake-application.ts'

let app: FakeApplication
let api: Api
let port: number
const open: Socket[] = []
beforeEach(async () => {
  app = await FakeApplication.make()
  api = buildApi(app)
  port = Number(new URL(await listen(api, { port: 0 })).port)
})
afterEach(async () => {
  for (const socket of open.splice(0)) socket.destroy()
  await api.close()
  await app.close()
})

const dial = async (): Promise<Socket> => await new Promise((resolve, reject) => {
  const socket = connect(port, '127.0.0.1', () => resolve(socket))
  open.push(socket)
  socket.once('error', reject)
})
/** All that comes until the other side ends it. */
const whole = async (socket: Socket): Promise<string> => await new Promise(resolve => {
  let text = ''
  socket.on('data', chunk => { text += String(chunk) })
  socket.on('error', () => {})
  socket.on('close', () => resolve(text))
})
const head = (first: string, more: readonly string[] = []): string =>
  [first, 'Host: 127.0.0.1', ...more, '', ''].join('\r\n')

describe('a listener', () => {
  it('refuses a header beyond its limit, and takes one within', async () => {
    const ask = async (bytes: number): Promise<string> => {
      const socket = await dial()
      socket.write(head('GET /api/v1/status HTTP/1.1', [`X-Long: ${'x'.repeat(bytes)}`, 'Connection: close']))
      return (await whole(socket)).slice(9, 12)
    }
    expect(await ask(apiLimits.headerBytes / 2)).toBe('200')
    expect(await ask(apiLimits.headerBytes)).toBe('431')
  })

  it('drops who sends no whole request in its time, and keeps who watches', async () => {
    const [silent, half, watcher] = [await dial(), await dial(), await dial()]
    half.write('GET /api/v1/status HTTP/1.1\r\nHost: 127')
    watcher.write(head('GET /api/v1/feed HTTP/1.1'))
    let watches = true
    watcher.on('close', () => { watches = false })
    watcher.resume()
    await Promise.all([whole(silent), whole(half)])
    expect(watches).toBe(true)
  }, 15_000)

  it('takes so many connections and no more, and another when one has gone', async () => {
    const kept: Socket[] = []
    for (let i = 0; i < apiLimits.connections; i++) {
      const socket = await dial()
      socket.write(head('GET /api/v1/status HTTP/1.1'))
      await new Promise(resolve => { socket.once('data', resolve) })
      kept.push(socket)
    }
    const answer = async (): Promise<string> => {
      const socket = await dial()
      socket.write(head('GET /api/v1/status HTTP/1.1', ['Connection: close']))
      return await whole(socket)
    }
    expect(await answer()).toBe('')
    kept[0]!.end()
    await new Promise(resolve => { kept[0]!.once('close', resolve) })
    expect(await answer()).toContain('200 OK')
  })

  it('shows the feed to so many watchers and no more, and to another when one has gone', async () => {
    const url = `http://127.0.0.1:${port}/api/v1/feed`
    const controls: AbortController[] = []
    for (let i = 0; i < apiLimits.watchers; i++) {
      const control = new AbortController()
      controls.push(control)
      expect((await fetch(url, { signal: control.signal })).status).toBe(200)
    }
    expect((await fetch(url)).status).toBe(409)
    const gone = new Promise<void>(resolve => {
      const forget = app.listeners.delete.bind(app.listeners)
      app.listeners.delete = listener => { const had = forget(listener); setImmediate(resolve); return had }
    })
    controls[0]!.abort()
    await gone
    const again = new AbortController()
    expect((await fetch(url, { signal: again.signal })).status).toBe(200)
    for (const control of [...controls, again]) control.abort()
  })
})

describe('a stop', () => {
  it('does not wait for a body that does not come', async () => {
    const socket = await dial()
    socket.write(head('POST /api/v1/stop HTTP/1.1', ['Content-Type: application/json', 'Content-Length: 100']))
    const first = await new Promise<string>(resolve => { socket.once('data', chunk => resolve(String(chunk))) })
    expect(first).toContain('200 OK')
    expect(app.calls).toEqual([{ name: 'stop', argument: 'stopped by a person' }])
  })

  it.each([
    ['far longer than any', `"${'x'.repeat(2 * apiLimits.bodyBytes)}"`],
    ['deeply nested', '['.repeat(100_000)],
  ])('stops with a body that is %s', async (_, payload) => {
    const answer = await api.inject({
      method: 'POST', url: '/api/v1/stop', payload, headers: { host: 'x', 'content-type': 'application/json' },
    })
    expect(answer.statusCode).toBe(200)
    expect(app.calls).toHaveLength(1)
  })
})
