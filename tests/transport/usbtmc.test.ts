/**
 * Goal: the child process and its protocol. There is no USBTMC device here; a pseudo-terminal stands in for the
 * character device (one path, read and write). Device clear and the driver's own time limit are not tried.
 */
import { existsSync } from 'node:fs'
import { afterEach, describe, expect, it } from 'vitest'
import { builtEntry } from '../../src/base/paths.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { RealClock } from '../../src/base/clock.ts'
import { openTransport } from '../../src/transport/open.ts'
import { asksForAnswer } from '../../src/transport/usbtmc-protocol.ts'
import { Session } from '../../src/scpi/session.ts'
import { openPty } from '../../mocks/pty.ts'
import { TestDevice } from '../scpi/device.ts'

const reason = !existsSync(builtEntry('src/transport/usbtmc-child')) ? 'not built; run npm run build first'
  : await openPty().then(pty => { pty.close(); return '' }, (error: Error) => error.message)

describe('what asks for an answer', () => {
  it.each(['*IDN?', 'VOLT?', ':MEAS:VOLT:DC? (@101)', 'VOLT 1;CURR?', 'volt? MAX\n'])('%s does', text => {
    expect(asksForAnswer(text)).toBe(true)
  })
  it.each(['', '\n', 'VOLT 1', 'DISP:TEXT "ready?"', "DISP:TEXT 'ready? ;VOLT?'", 'DISP:TEXT what?', '?'])('%s does not', text => {
    expect(asksForAnswer(text)).toBe(false)
  })
})

describe.skipIf(reason !== '')(`a USBTMC link${reason && ` (skipped: ${reason})`}`, () => {
  const open: { close(): unknown }[] = []
  afterEach(async () => { for (const thing of open.splice(0).reverse()) await thing.close() })

  async function standIn(device: TestDevice): Promise<string> {
    const pty = await openPty()
    open.push(pty)
    pty.onBytes(chunk => device.onBytes(chunk, bytes => pty.write(bytes)))
    return `usbtmc:${pty.path}`
  }
  function sessionAt(url: string, deadlineMs = 3000): Session {
    const session = new Session(() => openTransport(url), {
      name: 'meter', clock: new RealClock(), deadlineMs, frameBytesMax: 4096, quietMs: 10, identity: { query: '*IDN?' },
      errorQueue: { query: 'SYST:ERR?', none: 'code-zero', max: 64 }, clear: 'device-clear',
    })
    open.push(session)
    return session
  }

  it('serves a session and survives a device clear that fails', async () => {
    const device = new TestDevice()
    const session = sessionAt(await standIn(device))
    await session.connect()
    await session.write('VOLT 7')
    expect(await session.query('VOLT?')).toBe('7.000')
    await session.resynchronise()
    expect(await session.query('VOLT?')).toBe('7.000')
  })

  it('ends a child that sits in a blocking read when the link is closed', async () => {
    const device = new TestDevice()
    const session = sessionAt(await standIn(device))
    await session.connect()
    device.silent = true
    const asked = session.query('VOLT?').catch((e: BenchError) => e.code)
    await session.close()
    expect(await asked).toBe('LINK_DOWN')
  })

  it('says LINK_OPEN for a device that is not there, and stops opening when told', async () => {
    const link = openTransport('usbtmc:/dev/usbtmc-none')
    await expect(link.open()).rejects.toMatchObject({ code: 'LINK_OPEN' })
    const other = openTransport(await standIn(new TestDevice()))
    const control = new AbortController()
    const opening = other.open(control.signal)
    control.abort(new Error('enough'))
    await expect(opening).rejects.toThrow('enough')
    expect(other.up).toBe(false)
    await other.close()
  })
})
