/** Goal: a real socket, with a server that behaves badly in each way that was seen of instruments. */
import { type AddressInfo, type Server, type Socket, createServer } from 'node:net'
import { afterEach, describe, expect, it } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { openTransport } from '../../src/transport/open.ts'
import { Session } from '../../src/scpi/session.ts'
import { TestDevice } from '../scpi/device.ts'

const open: { close(): unknown }[] = []
afterEach(async () => { for (const thing of open.splice(0).reverse()) await thing.close() })

async function serve(onSocket: (socket: Socket) => void): Promise<string> {
  const sockets = new Set<Socket>()
  const server: Server = createServer({ noDelay: true, allowHalfOpen: true }, socket => {
    sockets.add(socket)
    socket.on('error', () => {})
    onSocket(socket)
  })
  await new Promise<void>(resolve => server.listen(0, '127.0.0.1', resolve))
  open.push({ close: () => new Promise(resolve => {
    for (const socket of sockets) socket.destroy()
    server.close(resolve)
  }) })
  return `tcp://127.0.0.1:${(server.address() as AddressInfo).port}`
}

function sessionAt(url: string, deadlineMs = 2000): Session {
  const session = new Session(() => openTransport(url), {
    name: 'psu', clock: new RealClock(), deadlineMs, frameBytesMax: 1 << 20, quietMs: 5, identity: { query: '*IDN?' },
    errorQueue: { query: 'SYST:ERR?', none: 'code-zero', max: 64 },
  })
  open.push(session)
  return session
}

const serveDevice = (device: TestDevice): Promise<string> => serve(socket => {
  socket.on('data', chunk => device.onBytes(chunk, bytes => socket.write(bytes as string, 'latin1')))
})

describe('a TCP link', () => {
  it('serves a session', async () => {
    const device = new TestDevice()
    const session = sessionAt(await serveDevice(device))
    await session.connect()
    await session.write('VOLT 7')
    expect(await session.query('VOLT?')).toBe('7.000')
    await expect(session.write('VOLT 99')).rejects.toMatchObject({ code: 'INSTRUMENT_ERROR' })
  })

  it('carries a block larger than what the kernel hands over at once', async () => {
    const data = Buffer.from(Uint8Array.from({ length: 300_000 }, (_, i) => i * 7))
    const device = new TestDevice()
    const url = await serve(socket => socket.on('data', chunk => {
      if (chunk.toString().startsWith('DATA?')) {
        socket.write('#6300000')
        socket.write(data)
        socket.write('\r\n')
      } else device.onBytes(chunk, bytes => socket.write(bytes as string, 'latin1'))
    }))
    const session = sessionAt(url)
    await session.connect()
    expect(Buffer.compare(await session.queryBlock('DATA?'), data)).toBe(0)
    expect(await session.query('VOLT?')).toBe('0.000')
  })

  it('says LINK_OPEN with the way out when nothing listens', async () => {
    const url = await serve(() => {})
    await open.pop()!.close()
    const error = await openTransport(url).open().catch((e: BenchError) => e)
    expect(error).toMatchObject({ code: 'LINK_OPEN' })
    expect((error as BenchError).message).toContain('connection refused')
    expect((error as BenchError).mend).toContain('URL')
  })

  it('takes the end of the other side for the end of the link, half-closed or reset', async () => {
    for (const leave of [(s: Socket) => s.end(), (s: Socket) => s.resetAndDestroy()]) {
      const url = await serve(socket => socket.once('data', () => leave(socket)))
      const link = openTransport(url)
      open.push(link)
      const ends: (BenchError | null)[] = []
      const gone = new Promise<void>(resolve => link.onClose(error => { ends.push(error); resolve() }))
      await link.open()
      link.write('VOLT?\n')
      await gone
      await link.close()
      expect(ends.map(e => e?.code)).toEqual(['LINK_DOWN'])
      expect(() => link.write('OUTP 1\n')).toThrow(/down/)
    }
  })

  it('says what it may be when the connection is taken and nothing ever answers', async () => {
    const session = sessionAt(await serve(socket => socket.resume()), 30)
    const error = await session.connect().catch((e: BenchError) => e)
    expect(error).toMatchObject({ code: 'LINK_TIMEOUT' })
    expect((error as BenchError).message).toContain('another program may hold the only connection')
    expect(session.state).toBe('down')
  })

  it('stops opening when told to', async () => {
    const control = new AbortController()
    const link = openTransport(await serve(() => {}))
    const opening = link.open(control.signal)
    control.abort(new Error('enough'))
    await expect(opening).rejects.toThrow('enough')
    expect(link.up).toBe(false)
    await expect(openTransport('tcp://127.0.0.1:1').open(AbortSignal.abort(new Error('before')))).rejects.toThrow('before')
  })

  it('is used once', async () => {
    const link = openTransport(await serve(() => {}))
    await link.open()
    const ends: unknown[] = []
    link.onClose(error => ends.push(error))
    await link.close()
    await link.close()
    expect(ends).toEqual([null])
    expect(() => link.open()).toThrow(/opened once/)
  })
})
