/** What a listener takes at most, over real sockets: the other side here is rude on purpose. */
import { connect, type Socket } from 'node:net'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, listen, type Api } from '../../src/api/build.ts'
import { apiLimits } from '../../src/api/limits.ts'
import { errorBody } from '../../src/api/shapes.ts'
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

  it.each([
    ['bytes that are no request', 'NONSENSE\r\n\r\n', 400],
    ['a header that is none', head('GET /api/v1/status HTTP/1.1', ['no header']), 400],
    ['an unknown method', head('BREW /api/v1/status HTTP/1.1'), 400],
    ['a length that is none', head('POST /api/v1/plan HTTP/1.1', ['Content-Length: -1']), 400],
    ['an address that cannot be read', head('GET /api/v1/%zz HTTP/1.1', ['Connection: close']), 400],
    ['an address too long', head(`GET /api/v1/${'x'.repeat(apiLimits.headerBytes)} HTTP/1.1`), 431],
    ['a name too long', head(`GET /api/v1/runs/${'x'.repeat(200)} HTTP/1.1`, ['Connection: close']), 414],
    ['headers too long', head('GET /api/v1/status HTTP/1.1', [`X: ${'x'.repeat(apiLimits.headerBytes)}`]), 431],
    ['half a request', 'GET /api/v1/status HTTP/1.1\r\nHost: 127', 408],
    ['no host', 'GET /api/v1/status HTTP/1.1\r\nConnection: close\r\n\r\n', 403],
  ])('refuses %s in the shape of every error', async (_, text, status) => {
    const socket = await dial()
    socket.write(text)
    const [first, body] = (await whole(socket)).split('\r\n\r\n')
    expect(Number(first!.slice(9, 12))).toBe(status)
    expect(errorBody.parse(JSON.parse(body!)).code).toBe(status === 403 ? 'REFUSED' : 'USAGE')
    expect(app.calls).toEqual([])
  }, 15_000)

  it.each([
    ['a header that is none', head('POST /api/v1/stop HTTP/1.1', ['no header']), 400],
    ['a version that is none', head('POST /api/v1/stop?x=1 HTTP/x'), 400],
    ['headers too long', head('POST /api/v1/stop HTTP/1.1', [`X: ${'x'.repeat(apiLimits.headerBytes)}`]), 431],
  ])('stops for a stop with %s, and answers after', async (_, text, status) => {
    const socket = await dial()
    let release = (): void => {}
    const stopped = new Promise<void>(resolve => {
      const stop = app.stop.bind(app)
      app.stop = async reason => {
        const report = await stop(reason)
        resolve()
        await new Promise<void>(go => { release = go })
        return report
      }
    })
    let heard = false
    socket.on('data', () => { heard = true })
    socket.write(text)
    await stopped
    expect(heard).toBe(false)
    const answer = whole(socket)
    release()
    expect(Number((await answer).slice(9, 12))).toBe(status)
    expect(app.calls).toEqual([{ name: 'stop', argument: 'a person asked for it' }])
  })

  it('does not stop for bytes that name another address', async () => {
    const socket = await dial()
    socket.write(head('POST /api/v1/stopped HTTP/1.1', ['no header']))
    expect((await whole(socket)).slice(9, 12)).toBe('400')
    expect(app.calls).toEqual([])
  })

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
    expect(app.calls).toEqual([{ name: 'stop', argument: 'a person asked for it' }])
  })

  it.each([
    ['a content type that cannot be read', ['Host: 127.0.0.1', 'Content-Type: ;;;', 'Content-Length: 2'], '{}'],
    ['an expectation that nobody knows', ['Host: 127.0.0.1', 'Expect: x', 'Content-Length: 0'], ''],
    ['no host', ['Content-Length: 0'], ''],
    ['a length that is a lie', ['Host: 127.0.0.1', 'Content-Type: application/json', 'Content-Length: 99999999'], '{'],
    ['pieces that never end', ['Host: 127.0.0.1', 'Transfer-Encoding: chunked'], '5\r\n{'],
  ])('stops with %s', async (_, headers, body) => {
    const socket = await dial()
    const answer = new Promise<string>(resolve => { socket.once('data', chunk => resolve(String(chunk))) })
    socket.write(`${['POST /api/v1/stop HTTP/1.1', ...headers, '', ''].join('\r\n')}${body}`)
    expect(await answer).toContain('200 OK')
    expect(app.calls).toEqual([{ name: 'stop', argument: 'a person asked for it' }])
  })

  it('stops first where its pieces are none, and complains after', async () => {
    const socket = await dial()
    socket.write(`${head('POST /api/v1/stop HTTP/1.1', ['Transfer-Encoding: chunked'])}zz\r\n{`)
    expect(await whole(socket)).toContain('400 Bad Request')
    expect(app.calls).toEqual([{ name: 'stop', argument: 'a person asked for it' }])
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
