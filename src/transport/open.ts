/** From the URL in a bench file to a transport. */
import { type Clock, RealClock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { SerialSettings } from './serial.ts'
import { SerialTransport } from './serial.ts'
import { TcpTransport } from './tcp.ts'
import type { Transport } from './transport.ts'
import { UsbtmcTransport } from './usbtmc.ts'

export type LinkAddress =
  | { readonly kind: 'serial'; readonly settings: SerialSettings }
  | { readonly kind: 'tcp'; readonly host: string; readonly port: number }
  | { readonly kind: 'usbtmc'; readonly path: string }
  | { readonly kind: 'memory'; readonly name: string }

export interface OpenOptions {
  /** Times the break of a serial port. Default the real one. */
  readonly clock?: Clock
  /** Makes links to simulated devices in this process, by name. Without it `memory:` is refused. */
  readonly memory?: (name: string) => Transport
}

/** A new transport for `url`, not open yet. Throws LINK_URL. */
export function openTransport(url: string, options: OpenOptions = {}): Transport {
  const address = parseLinkUrl(url)
  switch (address.kind) {
    case 'serial': return new SerialTransport(url, address.settings, options.clock ?? new RealClock())
    case 'tcp': return new TcpTransport(url, address.host, address.port)
    case 'usbtmc': return new UsbtmcTransport(url, address.path)
    case 'memory':
      if (!options.memory) throw urlError(url, 'a simulated device is reached only inside the simulation')
      return options.memory(address.name)
  }
}

/**
 * `serial:/dev/ttyUSB0?baud=9600&parity=none&bits=8&stop=1&flow=none|rtscts|xonxoff
 * &dtr=on|off&rts=on|off&lock=on|off&hangup=on|off&lines=BYTES`, `tcp://host:port`
 * (port 5025 if left out), `usbtmc:/dev/usbtmc0`, `memory:name`.
 * Throws LINK_URL, naming the part that is wrong.
 */
export function parseLinkUrl(url: string): LinkAddress {
  if (url.startsWith('serial:')) return { kind: 'serial', settings: serialSettings(url) }
  if (url.startsWith('tcp:')) return tcpAddress(url)
  const path = /^usbtmc:(\/[^?#\s]+)$/.exec(url)?.[1]
  if (path !== undefined) return { kind: 'usbtmc', path }
  const name = /^memory:([\w.-]+)$/.exec(url)?.[1]
  if (name !== undefined) return { kind: 'memory', name }
  throw urlError(url, 'not a link')
}

const usualPort = 5025

function tcpAddress(url: string): LinkAddress {
  const parts = /^tcp:\/\/(\[[0-9A-Fa-f:.%\w]+\]|[^:/?#\s[\]@]+)(?::(\d{1,5}))?\/?$/.exec(url)
  if (parts === null) throw urlError(url, 'write tcp://host:port')
  const port = Number(parts[2] ?? usualPort)
  if (port < 1 || port > 65535) throw urlError(url, 'a port is 1 to 65535')
  return { kind: 'tcp', host: parts[1]!.replace(/^\[|\]$/g, ''), port }
}

const serialKeys = ['baud', 'parity', 'bits', 'stop', 'flow', 'dtr', 'rts', 'lock', 'hangup', 'lines']

function serialSettings(url: string): SerialSettings {
  const parts = /^serial:(\/[^?#\s]+|COM\d{1,3})(?:\?([^#\s]*))?$/.exec(url)
  if (parts === null) throw urlError(url, 'write serial:/dev/… and options after a ?')
  const query = new URLSearchParams(parts[2] ?? '')
  for (const key of query.keys()) {
    if (!serialKeys.includes(key)) {
      throw urlError(url, `unknown option ${key}; known: ${serialKeys.join(', ')}`)
    }
    if (query.getAll(key).length > 1) throw urlError(url, `${key} is given twice`)
  }
  const pick = <T extends string>(key: string, ...allowed: readonly [T, ...T[]]): T => {
    const value = query.get(key) ?? allowed[0]
    const found = allowed.find(a => a === value)
    if (found === undefined) throw urlError(url, `${key} is one of ${allowed.join(', ')}`)
    return found
  }
  const whole = (key: string, usual: number | undefined, least: number, most: number): number | undefined => {
    const text = query.get(key)
    if (text === null) return usual
    const value = /^\d{1,8}$/.test(text) ? Number(text) : NaN
    if (!(value >= least && value <= most)) {
      throw urlError(url, `${key} is a whole number ${least} to ${most}`)
    }
    return value
  }
  const line = (key: 'dtr' | 'rts'): boolean | undefined =>
    query.has(key) ? pick(key, 'on', 'off') === 'on' : undefined
  const flow = pick('flow', 'none', 'rtscts', 'xonxoff')
  return {
    path: parts[1]!, baudRate: whole('baud', 9600, 50, 4_000_000)!,
    dataBits: Number(pick('bits', '8', '7', '6', '5')) as 5 | 6 | 7 | 8,
    stopBits: Number(pick('stop', '1', '2')) as 1 | 2,
    parity: pick('parity', 'none', 'even', 'odd'),
    rtscts: flow === 'rtscts', xonXoff: flow === 'xonxoff', lock: pick('lock', 'on', 'off') === 'on',
    dtr: line('dtr'), rts: line('rts'), hangUp: pick('hangup', 'on', 'off') === 'on',
    lineBytesMax: whole('lines', undefined, 16, 1 << 20),
  }
}

const urlError = (url: string, what: string): BenchError =>
  new BenchError('LINK_URL', `${what}: \`${url}\``, {})
