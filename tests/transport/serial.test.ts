/** Goal: a real serial port library against a pseudo-terminal: bytes, lines, locking, loss, and no modem lines. */
import { existsSync } from 'node:fs'
import { afterEach, describe, expect, it } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { openTransport } from '../../src/transport/open.ts'
import type { Transport } from '../../src/transport/transport.ts'
import { Session } from '../../src/scpi/session.ts'
import type { Pty } from '../../mocks/pty.ts'
import { openPty } from '../../mocks/pty.ts'
import { TestDevice } from '../scpi/device.ts'

const missing = await openPty().then(pty => { pty.close(); return '' }, (error: Error) => error.message)

describe.skipIf(missing !== '')(`a serial link${missing && ` (skipped: ${missing})`}`, () => {
  const open: { close(): unknown }[] = []
  afterEach(async () => { for (const thing of open.splice(0).reverse()) await thing.close() })

  async function pair(query = ''): Promise<{ pty: Pty; port: Transport }> {
    const pty = await openPty()
    open.push(pty)
    return { pty, port: transport(pty, query) }
  }
  function transport(pty: Pty, query = ''): Transport {
    const port = openTransport(`serial:${pty.path}${query}`)
    open.push(port)
    return port
  }
  const heard = (port: Transport): Promise<string> =>
    new Promise(resolve => port.onBytes(chunk => resolve(Buffer.from(chunk).toString('latin1'))))

  it('carries all bytes both ways', async () => {
    const { pty, port } = await pair('?baud=115200')
    const got = new Promise<Buffer>(resolve => {
      const all: Buffer[] = []
      pty.onBytes(chunk => { all.push(chunk); if (Buffer.concat(all).length >= 256) resolve(Buffer.concat(all)) })
    })
    await port.open()
    const every = Uint8Array.from({ length: 256 }, (_, i) => i)
    port.write(every)
    expect(new Uint8Array(await got)).toEqual(every)
    const back = heard(port)
    pty.write('+1.5\r\n')
    expect(await back).toBe('+1.5\r\n')
  })

  it('is not stopped by a port without modem lines', async () => {
    const { port } = await pair('?dtr=off&rts=on')
    await port.open()
    await port.clear!()
    expect(port.up).toBe(true)
  })

  it('finds the port locked', async () => {
    const { pty, port } = await pair()
    await port.open()
    const second = transport(pty)
    await expect(second.open()).rejects.toMatchObject({ code: 'LINK_BUSY' })
    expect(second.up).toBe(false)
    expect(port.up).toBe(true)
  })

  it('can be opened again after it was closed', async () => {
    const { pty, port } = await pair()
    for (const again of [port, transport(pty), transport(pty)]) {
      await again.open()
      await again.close()
    }
  })

  it('says once that the port went away, and takes nothing afterwards', async () => {
    const { pty, port } = await pair()
    const ends: (BenchError | null)[] = []
    await port.open()
    const gone = new Promise<void>(resolve => port.onClose(error => { ends.push(error); resolve() }))
    pty.close()
    await gone
    await port.close()
    expect(ends.map(e => e?.code)).toEqual(['LINK_DOWN'])
    expect(() => port.write('OUTP 0\n')).toThrow(/link is down/)
  })

  it('says LINK_OPEN for a port that is not there', async () => {
    expect(existsSync('/dev/ttyNONE9')).toBe(false)
    await expect(openTransport('serial:/dev/ttyNONE9').open()).rejects.toMatchObject({ code: 'LINK_OPEN' })
  })

  it('reads line by line behind a byte limit where only lines are sent', async () => {
    const { pty, port } = await pair('?lines=64')
    await port.open()
    const lines: string[] = []
    const two = new Promise<void>(resolve => port.onBytes(chunk => {
      lines.push(Buffer.from(chunk).toString('latin1'))
      if (lines.length === 2) resolve()
    }))
    pty.write('1.5\r\n2.')
    pty.write('5\xb5\r\n')
    await two
    expect(lines[0]).toBe('1.5\r\n')
    const gone = new Promise<BenchError | null>(resolve => port.onClose(resolve))
    pty.write('x'.repeat(65))
    expect((await gone)?.message).toContain('more than 64 bytes')
  })

  it('serves a session, which survives the loss of the port only as LINK_DOWN', async () => {
    const pty = await openPty()
    open.push(pty)
    const device = new TestDevice()
    pty.onBytes(chunk => device.onBytes(chunk, bytes => pty.write(bytes)))
    const session = new Session(() => openTransport(`serial:${pty.path}`), {
      name: 'psu', clock: new RealClock(), deadlineMs: 2000, frameBytesMax: 4096, quietMs: 10,
      identity: { query: '*IDN?' }, errorQueue: { query: 'SYST:ERR?', none: 'code-zero', max: 64 },
    })
    open.push(session)
    await session.connect()
    await session.write('VOLT 12')
    expect(await session.query('VOLT?')).toBe('12.000')
    device.silent = true
    const asked = session.query('VOLT?')
    pty.close()
    await expect(asked).rejects.toMatchObject({ code: 'LINK_DOWN' })
    await expect(session.write('VOLT 1')).rejects.toMatchObject({ code: 'LINK_DOWN' })
  })
})
