/** A stop is taken however its head is cut up, and whatever else is wrong with it. */
import { EventEmitter } from 'node:events'
import type { Server } from 'node:http'
import { connect as dialTcp, type Socket } from 'node:net'
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { connect as dialTls } from 'node:tls'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, listen, type Api } from '../../src/api/build.ts'
import { apiLimits } from '../../src/api/limits.ts'
import { watchForStops } from '../../src/api/stop-sight.ts'
import { FakeApplication } from './fake-application.ts'

const pem = (name: string): string => readFileSync(join(import.meta.dirname, 'fixtures', `${name}.pem`), 'utf8')
const tooLong = `X: ${'x'.repeat(apiLimits.headerBytes)}`
const stopped = { name: 'stop', argument: 'a person asked for it' }

describe.each([['in the clear', false], ['over TLS', true]])('a listener %s', (_, isTls) => {
  let app: FakeApplication
  let api: Api
  let port: number
  const open: Socket[] = []
  beforeEach(async () => {
    app = await FakeApplication.make()
    const tls = isTls ? { cert: pem('cert'), key: pem('key') } : null
    api = buildApi(app, { tls })
    port = Number(new URL(await listen(api, { port: 0 })).port)
  })
  afterEach(async () => {
    for (const socket of open.splice(0)) socket.destroy()
    await api.close()
    await app.close()
  })

  const dial = async (): Promise<Socket> => await new Promise((resolve, reject) => {
    const socket: Socket = isTls
      ? dialTls({ port, host: '127.0.0.1', ca: pem('cert'), checkServerIdentity: () => undefined }, () => resolve(socket))
      : dialTcp(port, '127.0.0.1', () => resolve(socket))
    socket.setNoDelay(true)
    open.push(socket)
    socket.once('error', reject)
  })
  const whole = async (socket: Socket): Promise<string> => await new Promise(resolve => {
    let text = ''
    socket.on('data', chunk => { text += String(chunk) })
    socket.on('error', () => {})
    socket.on('close', () => resolve(text))
  })
  /** Until the listener has read what was sent before: it has answered somebody who came later. */
  const read = async (): Promise<void> => {
    const socket = await dial()
    socket.write('GET /api/v1/status HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n')
    await whole(socket)
  }
  const send = async (...pieces: string[]): Promise<string> => {
    const socket = await dial()
    const answer = whole(socket)
    for (const piece of pieces) { socket.write(piece); await read() }
    return (await answer).slice(9, 12)
  }

  it.each([
    ['in its headers', ['POST /api/v1/stop HTTP/1.1\r\nHost: 127.0.0.1\r\n', tooLong]],
    ['in its first line', ['POST /api/v1/st', 'op?x=', 'x'.repeat(2 * apiLimits.headerBytes)]],
    ['after another request', [
      'GET /api/v1/status HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n', 'POST /api/v1/stop HTTP/1.1\r\n', tooLong,
    ]],
    ['in the packet that ends another request', [
      'GET /api/v1/status HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nPOST /api/v1/stop HTTP/1.1\r\n', tooLong,
    ]],
  ])('stops for a head that is too long %s and comes in pieces', async (_where, pieces) => {
    expect(['431', '200']).toContain(await send(...pieces))
    expect(app.calls.filter(({ name }) => name === 'stop')).toEqual([stopped])
  })

  it('stops for a head that breaks off, whether it is ended or never comes', async () => {
    const ended = await dial()
    ended.end('POST /api/v1/stop HTTP/1.1\r\nHos')
    // Over TLS who ends a connection may hear no more of it.
    expect(['400', ...isTls ? [''] : []]).toContain((await whole(ended)).slice(9, 12))
    expect(await send('POST /api/v1/stop HTTP/1.1\r\n')).toBe('408')
    expect(app.calls).toEqual([stopped, stopped])
  }, 15_000)

  it.each(['http://127.0.0.1/api/v1/stop', '/api/v1/stop/', '/api/v1/stop/?x', '/API/v1/stop'])('stops for %s', async url => {
    expect(await send(`POST ${url} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 0\r\nConnection: close\r\n\r\n`)).toBe('200')
    expect(app.calls).toEqual([stopped])
  })

  it.each([
    ['looks', ['GET /api/v1/stop HTTP/1.1\r\n', tooLong]],
    ['asks for another address', ['POST /api/v1/stopped HTTP/1.1\r\n', tooLong]],
    ['names it in a header', ['POST /api/v1/plan HTTP/1.1\r\nX: POST /api/v1/stop HTTP/1.1\r\n', tooLong]],
  ])('does not stop for a head too long that %s', async (_what, pieces) => {
    expect(await send(...pieces)).toBe('431')
    expect(app.calls).toEqual([])
  })

  it('stops once where the stop was understood and what follows was not', async () => {
    await send('POST /api/v1/stop HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 0\r\n\r\n', 'NONSENSE\r\n\r\n')
    expect(app.calls).toEqual([stopped])
  })
})

describe('what came over a connection', () => {
  const named = (chunks: readonly Buffer[], requests = 0): boolean => {
    const [server, socket] = [new EventEmitter(), new EventEmitter() as Socket]
    const sees = watchForStops(server as Server, false)
    server.emit('connection', socket)
    for (const chunk of chunks) socket.emit('data', chunk)
    for (let i = 0; i < requests; i++) server.emit('request', { method: 'POST', url: '/api/v1/stop', socket })
    return sees(socket)
  }
  const cutAt = (text: string, cuts: readonly number[]): Buffer[] => {
    const at = [0, ...[...cuts].sort((a, b) => a - b), text.length]
    return at.slice(1).map((end, i) => Buffer.from(text.slice(at[i], end), 'latin1'))
  }

  it('says the same however it is cut', () => {
    const line = fc.constantFrom('POST /api/v1/stop HTTP/1.1', 'POST /api/v1/stop?x', 'POST /api/v1/stopped', 'X: POST /api/v1/stop ', '', 'POST /api/v1/stop/ HTTP/x')
    const isStop = (text: string): boolean => /^POST \/api\/v1\/stop(?!ped)/.test(text)
    fc.assert(fc.property(fc.array(line, { maxLength: 5 }), fc.nat(3), fc.array(fc.nat(120), { maxLength: 6 }), (lines, requests, cuts) => {
      const text = lines.map(each => `${each}\r\n`).join('')
      const chunks = cutAt(text, cuts.map(cut => Math.min(cut, text.length)))
      expect(named(chunks, requests)).toBe(lines.filter(isStop).length > requests)
    }))
  })

  it('keeps little of a line without end', () => {
    expect(named([Buffer.from('POST /api/v1/stop?'), ...Array<Buffer>(100).fill(Buffer.alloc(65_536, 'x'))])).toBe(true)
    expect(named([Buffer.from(' POST /api/v1/stop?'), Buffer.alloc(65_536, 'x')])).toBe(false)
  })
})
