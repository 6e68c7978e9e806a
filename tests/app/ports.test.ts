import { mkdirSync, mkdtempSync, realpathSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { createServer, type AddressInfo, type Server } from 'node:net'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { ProfileFolder } from '../../src/app/files.ts'
import {
  listPorts, localPorts, probe, type Host, type HostPort, type ProbeDeps
} from '../../src/app/ports.ts'
import { RealClock, VirtualClock } from '../../src/base/clock.ts'
import { packageFile } from '../../src/base/paths.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { loadFile } from '../../src/schema/read-file.ts'
import { memoryLink } from '../../src/transport/memory.ts'

let root: string
beforeEach(() => { root = realpathSync(mkdtempSync(join(tmpdir(), 'ports-'))) })
afterEach(() => { rmSync(root, { recursive: true }) })

const put = (path: string, text = ''): string => {
  mkdirSync(dirname(join(root, path)), { recursive: true })
  writeFileSync(join(root, path), text)
  return join(root, path)
}
const link = (path: string, to: string): string => {
  mkdirSync(dirname(join(root, path)), { recursive: true })
  symlinkSync(to, join(root, path))
  return join(root, path)
}
const host = (ports: readonly HostPort[] | null): Host => ({
  list: async () => { if (ports === null) throw new Error('no udevadm'); return [...ports] },
  dev: join(root, 'dev'), sys: join(root, 'sys'),
})
const none = new Map<string, string>()
const adapter = { manufacturer: 'an adapter', vendorId: '0403', productId: '6001' }

describe('the list of ports', () => {
  it('gives each port by the name that lasts, and says where the bench file has it, by whatever name', async () => {
    const [a, b] = [put('dev/ttyUSB0'), put('dev/ttyUSB1')]
    const idA = link('dev/serial/by-id/usb-adapter_A1-if00', a)
    const idB = link('dev/serial/by-id/usb-adapter_B2-if00', b)
    const pathB = link('dev/serial/by-path/pci-0:2', b)
    const ports = await listPorts(new Map([
      ['psu', `serial:${pathB}?baud=19200`], ['lan', 'tcp://127.0.0.1:9']
    ]),
      host([{ path: b, serialNumber: 'B2', ...adapter }, { path: a, serialNumber: 'A1', ...adapter }]))
    expect(ports.map(({ path, url, inBench, note }) => [path, url, inBench, note])).toEqual([
      [a, `serial:${idA}?baud=9600`, null, ''], [b, `serial:${idB}?baud=9600`, 'psu', ''],
    ])
    expect(ports[1]).toMatchObject({
      kind: 'serial', links: [idB, pathB], usb: {
        vendorId: '0403', productId: '6001', serial: 'B2'
      }, says: 'an adapter',
    })
  })

  it('names two adapters with one serial number by the socket they are in, though one of them has a by-id name', async () => {
    const [a, b] = [put('dev/ttyUSB0'), put('dev/ttyUSB1')]
    link('dev/serial/by-id/usb-adapter_0001-if00', b)
    const paths = [link('dev/serial/by-path/pci-0:1', a), link('dev/serial/by-path/pci-0:2', b)]
    const ports = await listPorts(
      none, host([a, b].map(path => ({ path, serialNumber: '0001', ...adapter })))
    )
    expect(ports.map(({ url }) => url)).toEqual(paths.map(path => `serial:${path}?baud=9600`))
    for (const { note } of ports) expect(note).toContain('used twice')
  })

  it('does not take the two ports of one adapter for a collision', async () => {
    const [a, b] = [put('dev/ttyUSB0'), put('dev/ttyUSB1')]
    const ids = [link('dev/serial/by-id/usb-pair_7-if00', a), link('dev/serial/by-id/usb-pair_7-if01', b)]
    const ports = await listPorts(none, host([a, b].map(path => ({ path, serialNumber: '7', ...adapter }))))
    expect(ports.map(({ url, note }) => [url, note])).toEqual(ids.map(id => [`serial:${id}?baud=9600`, '']))
  })

  it('leaves out built-in ports without hardware, and keeps those with it', async () => {
    const ports = ['ttyS0', 'ttyS1', 'ttyS2'].map(name => put(`dev/${name}`))
    put('sys/class/tty/ttyS0/type', '4\n')
    put('sys/class/tty/ttyS1/type', '0\n')
    const found = await listPorts(none, host(ports.map(path => ({ path }))))
    expect(found.map(({ path }) => path)).toEqual([ports[0], ports[2]])
    expect(found[0]).toMatchObject({ usb: null, url: `serial:${ports[0]}?baud=9600` })
  })

  it('looks into the folder of devices where the system tells nothing', async () => {
    const kept = ['ttyACM0', 'ttyS0', 'ttyUSB2', 'ttyUSB10'].map(name => put(`dev/${name}`))
    put('dev/tty0')
    put('dev/ttyUSBx')
    expect((await listPorts(none, host(null))).map(({ path }) => path)).toEqual(kept)
  })

  it('gives USBTMC devices with what they say of themselves, and an empty list where nothing is', async () => {
    const device = put('dev/usbtmc0')
    put('sys/devices/usb1/1-1/idVendor', '1ab1\n')
    put('sys/devices/usb1/1-1/idProduct', '04ce\n')
    put('sys/devices/usb1/1-1/serial', 'S77\n')
    put('sys/devices/usb1/1-1/product', 'A Meter\n')
    put('sys/devices/usb1/1-1/1-1:1.0/bInterfaceClass', 'fe\n')
    link('sys/class/usbmisc/usbtmc0/device', join(root, 'sys/devices/usb1/1-1/1-1:1.0'))
    expect(await listPorts(new Map([['dmm', `usbtmc:${device}`]]), host([]))).toEqual([{
      path: device, kind: 'usbtmc', url: `usbtmc:${device}`, links: [], note: '', inBench: 'dmm', says: 'A Meter',
      usb: { vendorId: '1ab1', productId: '04ce', serial: 'S77' },
    }])
    rmSync(join(root, 'dev'), { recursive: true })
    expect(await listPorts(none, host([]))).toEqual([])
  })

  it('works on this computer, whatever it has', async () => {
    for (const port of await localPorts(undefined, root, new RealClock()).list()) {
      expect(port).toMatchObject({ inBench: null, path: expect.stringMatching(/\S/) as string })
    }
  })
})

describe('asking one port', () => {
  const profiles = new ProfileFolder(null)
  const bench = loadFile(packageFile('profiles', 'benches', 'saltmarsh-pavilion.yaml'), benchFile)
  const heard: string[] = []
  /** A device in memory that answers each line with `answer`. */
  async function ask(
    answer: string | null, more: Partial<ProbeDeps> = {}
  ): Promise<Awaited<ReturnType<typeof probe>>> {
    const clock = new VirtualClock()
    heard.length = 0
    const device = memoryLink(clock, {
      onBytes: (chunk, reply) => {
        heard.push(Buffer.from(chunk).toString()); if (answer !== null) reply(Buffer.from(answer))
      },
    }, { url: 'memory:x', latencyMs: 1 })
    return await clock.run(
      probe('memory:x', { clock, bench, profiles, holds: false, open: () => device.open(), ...more })
    )
  }

  it('asks for the identity and nothing else, and says which instrument of the bench that is', async () => {
    expect(await ask('SIMULATED,DC-SUPPLY-600V-A,SIM-PSU,1.0\r\n')).toEqual({
      url: 'memory:x', identity: 'SIMULATED,DC-SUPPLY-600V-A,SIM-PSU,1.0', problem: null, entered: 'psu',
      profiles: ['dc-supply-600v-a'],
    })
    expect(heard.join('')).toBe('*IDN?\n')
  })

  it('names no profile for an answer that equals none, and none is entered with it', async () => {
    expect(await ask('SOMEBODY,MODEL 12,7,1.0\n')).toMatchObject({
      identity: 'SOMEBODY,MODEL 12,7,1.0', entered: null, profiles: []
    })
    expect(await ask('no identity at all\n', { bench: null })).toMatchObject({ entered: null, profiles: [] })
  })

  it('finds a profile of a person\'s own that is named as the model', async () => {
    put('own/instruments/model-12.yaml', 'only its name counts here')
    expect(
      await ask('SOMEBODY,Model 12,7,1.0\n', { profiles: new ProfileFolder(join(root, 'own')) })
    ).toMatchObject({ profiles: ['model-12'] })
  })

  it('says so when nothing answers, and when it never stops', async () => {
    expect(await ask(null)).toMatchObject({
      identity: null, problem: expect.stringContaining('took too long') as string
    })
    expect(await ask('x'.repeat(5000))).toMatchObject({
      identity: null, problem: expect.stringContaining('without end') as string
    })
    expect(await ask('\r\n\r\nA,B,C,D\r\n')).toMatchObject({ identity: 'A,B,C,D' })
  })

  it('does not open a link that the bench holds, by whatever name, and refuses what is no link', async () => {
    const device = put('dev/ttyUSB0')
    const alias = link('dev/serial/by-path/pci-0:1', device)
    const held = { ...bench, instruments: {
      ...bench.instruments, psu: { ...bench.instruments['psu']!, url: `serial:${alias}?baud=19200` }
    } }
    const deps: ProbeDeps = {
      clock: new VirtualClock(), bench: held, profiles, holds: true, open: () => { throw new Error('opened') }
    }
    await expect(probe(`serial:${device}?baud=9600`, deps)).rejects.toMatchObject({
      code: 'REFUSED', message: expect.stringContaining('psu') as string
    })
    await expect(probe('tcp://127.0.0.1:15002', deps)).rejects.toMatchObject({
      code: 'REFUSED', message: expect.stringContaining('bus-dmm') as string
    })
    await expect(probe('ttyUSB0', deps)).rejects.toMatchObject({ code: 'LINK_URL' })
    for (const path of ['/etc/hostname', '/dev/../etc/hostname', '/dev/nothing/../../etc/nothing', import.meta.filename]) {
      for (const url of [`serial:${path}`, `usbtmc:${path}`]) {
        const opens = { ...deps, open: () => { throw new Error('opened') } }
        await expect(probe(url, opens)).rejects.toMatchObject({ code: 'LINK_URL' })
      }
    }
    expect(await probe('serial:/dev/nothing', { ...deps, open: () => { throw new Error('opened') } }))
      .toMatchObject({ problem: 'opened' })
  })

  describe('over a socket', () => {
    let server: Server
    beforeEach(async () => {
      server = createServer(socket => socket.on('data', () => socket.write('A,B,C,D\n')))
      await new Promise<void>(resolve => server.listen(0, '127.0.0.1', resolve))
    })
    afterEach(() => { server.close() })

    it('hears the answer, and leaves no connection behind', async () => {
      const here = localPorts(undefined, root, new RealClock())
      const { port } = server.address() as AddressInfo
      expect(await here.probe(`tcp://127.0.0.1:${port}`)).toMatchObject({
        identity: 'A,B,C,D', entered: null
      })
      const closed = new Promise<number>(resolve => server.getConnections((_, count) => resolve(count)))
      expect(await closed).toBeLessThanOrEqual(1)
      expect(await here.probe('tcp://127.0.0.1:1')).toMatchObject({
        identity: null, problem: expect.stringContaining('127.0.0.1') as string
      })
    })
  })
})
