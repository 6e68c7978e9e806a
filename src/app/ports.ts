/**
 * Where instruments may be connected: ports of this computer by names that last, and one question to one of
 * them.
 */
import { existsSync, readdirSync, readFileSync, realpathSync } from 'node:fs'
import { dirname, join, resolve } from 'node:path'
import { SerialPort } from 'serialport'
import type { Clock } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import { BenchError } from '../base/errors.ts'
import type { PortEntry, ProbeAnswer } from '../schema/application.ts'
import { benchFile, type BenchFile } from '../schema/bench.ts'
import { loadFile } from '../schema/read-file.ts'
import { openTransport, parseLinkUrl } from '../transport/open.ts'
import type { Transport } from '../transport/transport.ts'
import { ProfileFolder } from './files.ts'

/** What a host says of a serial port; any of it may be missing. */
export interface HostPort {
  path: string
  manufacturer?: string | undefined
  serialNumber?: string | undefined
  vendorId?: string | undefined
  productId?: string | undefined
}

/** Where to look. Another one is for tests. */
export interface Host { list: () => Promise<HostPort[]>; dev: string; sys: string }
const thisHost: Host = { list: async () => await SerialPort.list(), dev: '/dev', sys: '/sys' }

/** Instruments of a bench file and their links. */
export const urlsOf = ({ instruments }: BenchFile): Map<string, string> =>
  new Map(Object.entries(instruments).map(([name, { url }]) => [name, url]))

/**
 * Serial ports and USBTMC devices; opens none. `entered`: instrument to URL, of the bench file that they are
 * held against.
 */
export async function listPorts(
  entered: ReadonlyMap<string, string>, host: Host = thisHost
): Promise<PortEntry[]> {
  const ports = [...await serialPorts(host), ...usbtmcPorts(host)]
  return ports.map(port => ({
    ...port, inBench: [...entered].find(([, url]) => deviceOf(url) === real(port.path))?.[0] ?? null,
  }))
}

export interface ProbeDeps {
  clock: Clock
  /** Null without a bench file. */
  bench: BenchFile | null
  profiles: ProfileFolder
  /** Whether this process holds the links of the bench: then they are not opened a second time. */
  holds: boolean
  open?: (url: string) => Transport
}

export interface LocalPorts { list(): Promise<PortEntry[]>; probe(url: string): Promise<ProbeAnswer> }

/**
 * The same without a daemon, held against `benchPath` where one is named. Throws as reading that file does.
 */
export function localPorts(benchPath: string | undefined, dataFolder: string, clock: Clock): LocalPorts {
  const bench = benchPath === undefined ? null : loadFile(benchPath, benchFile, 'a bench file')
  const own = join(dataFolder, 'profiles')
  const profiles = new ProfileFolder(existsSync(own) ? own : null)
  return {
    list: async () => await listPorts(bench === null ? new Map() : urlsOf(bench)),
    probe: async url => await probe(url, { clock, bench, profiles, holds: false }),
  }
}

const openMs = 5000
const answerMs = 3000
const answerBytesMax = 4096

/**
 * Opens `url`, asks `*IDN?` and nothing else, and closes it. Opening a serial port can reset what hangs on it
 * (it raises DTR). Rejects LINK_URL for what is no link and REFUSED for one that the bench holds; what does
 * not answer is told in the answer.
 */
export async function probe(
  url: string, { clock, bench, profiles, holds, open = openTransport }: ProbeDeps
): Promise<ProbeAnswer> {
  const device = deviceOf(url)
  const entered = bench === null ? [] : Object.entries(bench.instruments)
  const holder = holds ? entered.find(([, entry]) => deviceOf(entry.url) === device)?.[0] : undefined
  if (holder !== undefined) {
    throw new BenchError('REFUSED',
      `${url} belongs to ${holder} of the bench file; ask it with: nightbench instruments ${holder}`)
  }
  refuseOtherFiles(url, device)
  const silent = { url, identity: null, entered: null, profiles: [] }
  try {
    const identity = await askIdentity(open(url), clock)
    return {
      url, identity, problem: null, entered: entered.find(
        ([, entry]) => entry.identity.trim() === identity
      )?.[0] ?? null,
      profiles: profilesNamed(identity, profiles),
    }
  } catch (error) {
    return { ...silent, problem: (error as Error).message }
  }
}

/** Only what is a device, wherever links lead: no request opens another file of this computer. */
function refuseOtherFiles(url: string, device: string): void {
  const isPath = device.startsWith('/') && process.platform !== 'win32'
  if (!isPath || resolve(device).startsWith('/dev/')) return
  throw new BenchError('LINK_URL', 'no port of this computer', { expected: 'a device in /dev', got: url })
}

async function askIdentity(transport: Transport, clock: Clock): Promise<string> {
  try {
    await withDeadline(clock, openMs, 'opening it', async signal => await transport.open(signal))
    return await withDeadline(clock, answerMs, 'an answer to *IDN?',
      async () => await new Promise<string>((resolve, reject) => {
      let text = ''
      transport.onBytes(chunk => {
        text += Buffer.from(chunk).toString('latin1')
        const line = /^[\r\n]*([^\r\n]+)[\r\n]/.exec(text)?.[1]?.trim()
        if (line) resolve(line)
        else if (text.length > answerBytesMax) reject(new BenchError('LINK_OVERFLOW', 'it sends without end'))
      })
      transport.onClose(error => reject(error ?? new BenchError('LINK_DOWN', 'it closed the connection')))
      // On a serial line some wait for a carriage return; to the others it is white space.
      transport.write(transport.url.startsWith('serial:') ? '*IDN?\r\n' : '*IDN?\n')
    }))
  } finally {
    await transport.close()
  }
}

/**
 * Profiles name no makers, so an answer proves none of them; a name that equals the model is the one hint
 * there is.
 */
function profilesNamed(identity: string, profiles: ProfileFolder): string[] {
  const plain = (text: string): string => text.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '')
  const model = plain(identity.split(',')[1] ?? '')
  return profiles.instrumentNames().filter(name => plain(name) === model)
}

/** The device behind a URL, whatever name it is called by; the URL itself where it names no device. */
function deviceOf(url: string): string {
  const address = parseLinkUrl(url)
  switch (address.kind) {
    case 'serial': return real(address.settings.path)
    case 'usbtmc': return real(address.path)
    case 'tcp': return `tcp://${address.host}:${address.port}`
    case 'memory': return url
  }
}

type Found = Omit<PortEntry, 'inBench'>

async function serialPorts(host: Host): Promise<Found[]> {
  const listed = await host.list().catch(
    () => named(host, /^tty(USB|ACM|AMA|S)\d+$/).map((path): HostPort => ({ path }))
  )
  const present = listed.filter(({ path }) => !isHollow(path, host)).sort(
    (a, b) => a.path.localeCompare(b.path, 'en', { numeric: true })
  )
  const byId = linksIn(join(host.dev, 'serial', 'by-id'))
  const byPath = linksIn(join(host.dev, 'serial', 'by-path'))
  const same = (a: HostPort, b: HostPort): boolean =>
    a.vendorId === b.vendorId && a.productId === b.productId && a.serialNumber === b.serialNumber
  return present.map(port => {
    const [ids, paths] = [byId.get(real(port.path)) ?? [], byPath.get(real(port.path)) ?? []]
    // Of two adapters with one serial number the system names only one, now this and now that.
    const collides = port.serialNumber !== undefined
      && present.some(other => other !== port && same(other, port)) && present.some(
        other => same(other, port) && !byId.has(real(other.path))
      )
    const best = (collides ? paths[0] : ids[0] ?? paths[0]) ?? port.path
    return {
      path: port.path, kind: 'serial' as const, url: `serial:${best}?baud=9600`, links: [...ids, ...paths],
      usb: port.vendorId === undefined ? null
        : { vendorId: port.vendorId, productId: port.productId ?? '', serial: port.serialNumber ?? '' },
      says: port.manufacturer ?? '',
      note: collides ? 'its USB serial number is used twice: by-path is the name that lasts' : '',
    }
  })
}

/** Character devices of the USBTMC class driver; their numbers change with the order of plugging. */
function usbtmcPorts(host: Host): Found[] {
  return named(host, /^usbtmc\d+$/).map(path => {
    const device = dirname(
      real(join(host.sys, 'class', 'usbmisc', path.slice(host.dev.length + 1), 'device'))
    )
    const [vendorId, productId, serial] = [
      'idVendor', 'idProduct', 'serial'
    ].map(name => read(join(device, name)))
    return {
      path, kind: 'usbtmc' as const, url: `usbtmc:${path}`, links: [],
      usb: vendorId ? { vendorId, productId: productId ?? '', serial: serial ?? '' } : null,
      says: [
        read(join(device, 'manufacturer')), read(join(device, 'product'))
      ].filter(Boolean).join(' '), note: '',
    }
  })
}

function named({ dev }: Host, shape: RegExp): string[] {
  return namesIn(dev).filter(name => shape.test(name)).map(name => join(dev, name))
    .sort((a, b) => a.localeCompare(b, 'en', { numeric: true }))
}

/** A built-in port that the system names though no hardware is there: its driver gives it type 0. */
const isHollow = (path: string, { sys }: Host): boolean =>
  /ttyS\d+$/.test(path) && read(
    join(sys, 'class', 'tty', path.slice(path.lastIndexOf('/') + 1), 'type')
  ) === '0'

/** Links of a folder by the device they lead to. */
function linksIn(folder: string): Map<string, string[]> {
  const links = new Map<string, string[]>()
  for (const name of namesIn(folder).sort()) {
    const link = join(folder, name)
    links.set(real(link), [...links.get(real(link)) ?? [], link])
  }
  return links
}

function namesIn(folder: string): string[] {
  try { return readdirSync(folder) } catch { return [] }
}

function read(path: string): string {
  try { return readFileSync(path, 'utf8').trim() } catch { return '' }
}

function real(path: string): string {
  try { return realpathSync(path) } catch { return path }
}
