/** Goal: a URL means one thing or is refused with the part that is wrong. */
import { describe, expect, it } from 'vitest'
import { openTransport, parseLinkUrl } from '../../src/transport/open.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { VirtualClock } from '../../src/base/clock.ts'

describe('link URLs', () => {
  it('reads a serial port with its usual settings', () => {
    expect(parseLinkUrl('serial:/dev/ttyUSB0')).toEqual({ kind: 'serial', settings: {
      path: '/dev/ttyUSB0', baudRate: 9600, dataBits: 8, stopBits: 1, parity: 'none', rtscts: false, xonXoff: false,
      lock: true, dtr: undefined, rts: undefined, hangUp: true, lineBytesMax: undefined,
    } })
  })

  it('reads every option of a serial port', () => {
    const url = 'serial:/dev/serial/by-id/a-b_c?baud=115200&parity=even&bits=7&stop=2&flow=xonxoff&dtr=off&rts=on&lock=off&hangup=off&lines=512'
    expect(parseLinkUrl(url)).toEqual({ kind: 'serial', settings: {
      path: '/dev/serial/by-id/a-b_c', baudRate: 115200, dataBits: 7, stopBits: 2, parity: 'even', rtscts: false,
      xonXoff: true, lock: false, dtr: false, rts: true, hangUp: false, lineBytesMax: 512,
    } })
  })

  it('reads TCP, USBTMC and memory links', () => {
    expect(parseLinkUrl('tcp://psu.bench:5555')).toEqual({ kind: 'tcp', host: 'psu.bench', port: 5555 })
    expect(parseLinkUrl('tcp://192.0.2.7')).toEqual({ kind: 'tcp', host: '192.0.2.7', port: 5025 })
    expect(parseLinkUrl('tcp://[::1]:9')).toEqual({ kind: 'tcp', host: '::1', port: 9 })
    expect(parseLinkUrl('usbtmc:/dev/usbtmc0')).toEqual({ kind: 'usbtmc', path: '/dev/usbtmc0' })
    expect(parseLinkUrl('memory:supply-1')).toEqual({ kind: 'memory', name: 'supply-1' })
  })

  it.each([
    ['', 'not a link'], ['/dev/ttyUSB0', 'not a link'], ['http://x', 'not a link'], ['serial:ttyUSB0', 'serial:/dev'],
    ['serial:/dev/ttyS0?speed=9600', 'unknown option speed'], ['serial:/dev/ttyS0?baud=fast', 'baud is a whole number'],
    ['serial:/dev/ttyS0?parity=maybe', 'parity is one of none, even, odd'], ['serial:/dev/ttyS0?baud=9600&baud=1', 'given twice'],
    ['tcp://host:0', '1 to 65535'], ['tcp://host:99999', '1 to 65535'], ['tcp://', 'tcp://host:port'],
    ['tcp://user@host', 'tcp://host:port'], ['usbtmc:0', 'not a link'], ['memory:', 'not a link'],
  ])('refuses %j', (url, why) => {
    const refused = expect.objectContaining({ code: 'LINK_URL', message: expect.stringContaining(why) as string }) as unknown
    expect(() => parseLinkUrl(url)).toThrow(refused as Error)
  })

  it('reaches a simulated device only where there is one', async () => {
    const link = memoryLink(new VirtualClock(), { onBytes: (_, reply) => reply('hello') }, { url: 'memory:a' })
    expect(() => openTransport('memory:a')).toThrow(/only inside the simulation/)
    const transport = openTransport('memory:a', { memory: () => link.open() })
    const got: string[] = []
    transport.onBytes(chunk => got.push(Buffer.from(chunk).toString()))
    await transport.open()
    transport.write('x')
    expect(got).toEqual(['hello'])
  })
})
