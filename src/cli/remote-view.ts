/** What `serve` shows beyond this computer: the options, held against what such a view needs. */
import { readFileSync, statSync } from 'node:fs'
import { createSecureContext } from 'node:tls'
import { BenchError } from '../base/errors.ts'
import { fileFault } from '../base/file-fault.ts'
import { isLoopback } from '../base/loopback.ts'
import { isTokenHash } from '../base/token.ts'

export interface RemoteFlags {
  listen?: string; tokenFile?: string; tlsCert?: string; tlsKey?: string; behindProxy?: string
}

/** `origin`: the address of the declared proxy, whose pages may ask; null where pages come from here. */
export interface RemoteView {
  readonly host: string
  readonly port: number
  readonly tokenHash: string
  readonly tls: { readonly cert: string; readonly key: string } | null
  readonly origin: string | null
}

const fileBytesMax = 64 * 1024
const keyFile = 'the key of the certificate, PEM'

/**
 * Null without `--listen`. Throws USAGE for options that do not fit each other, REFUSED where token or TLS is
 * missing, FILE_UNREADABLE and FILE_INVALID for the files.
 */
export function remoteViewOf(flags: RemoteFlags, usualPort: number): RemoteView | null {
  const { listen, tokenFile, tlsCert, tlsKey, behindProxy } = flags
  if (listen === undefined) {
    const lone = Object.values(flags).find(value => value !== undefined)
    if (lone === undefined) return null
    throw new BenchError('USAGE', 'this option belongs to a view from elsewhere', {
      expected: '--listen', got: lone,
    })
  }
  const at = addressOf(listen, usualPort)
  if (tokenFile === undefined) {
    throw new BenchError('REFUSED',
      `listening on ${listen} needs --token-file; make one with \`nightbench new-token\``)
  }
  if ((tlsCert === undefined) !== (tlsKey === undefined)) {
    throw new BenchError('USAGE', 'TLS needs both', {
      expected: '--tls-cert and --tls-key', got: 'one of them',
    })
  }
  if (tlsCert === undefined) {
    if (behindProxy === undefined) {
      throw new BenchError('REFUSED',
        `listening on ${listen} needs --tls-cert and --tls-key, or --behind-proxy`)
    }
    if (!isLoopback(at.host)) {
      throw new BenchError('REFUSED',
        `a proxy without TLS to it is reached on the loopback address, not on ${at.host}`)
    }
  }
  return {
    ...at, tokenHash: tokenHashIn(tokenFile), origin: originOf(behindProxy),
    tls: tlsCert === undefined ? null : tlsOf(tlsCert, tlsKey!),
  }
}

function addressOf(listen: string, usualPort: number): { host: string; port: number } {
  const parts = /^(?:\[([0-9A-Fa-f:.%\w]+)\]|([A-Za-z0-9.-]+))(?::(\d{1,5}))?$/.exec(listen)
  const port = Number(parts?.[3] ?? usualPort)
  if (parts && port <= 65_535) return { host: (parts[1] ?? parts[2])!, port }
  throw new BenchError('USAGE', 'this is no address to listen on', {
    expected: 'address:port or [address]:port', got: listen,
  })
}

function originOf(proxy: string | undefined): string | null {
  if (proxy === undefined) return null
  if (URL.canParse(proxy) && new URL(proxy).origin === proxy && proxy.startsWith('https://')) return proxy
  throw new BenchError('USAGE', 'this is no address of a proxy', {
    expected: 'https://name', got: proxy,
  })
}

function tokenHashIn(path: string): string {
  const lines = textOf(path, 'a token file').split(/\r?\n/).map(line => line.trim())
    .filter(line => line !== '' && !line.startsWith('#'))
  const [hash] = lines
  if (lines.length === 1 && isTokenHash(hash!)) return hash!
  throw new BenchError('FILE_INVALID', 'this is no token file', {
    file: path, expected: 'the one line that `nightbench new-token` writes', got: 'something else',
  })
}

function tlsOf(cert: string, key: string): { cert: string; key: string } {
  if ((modeOf(key) & 0o007) !== 0) {
    throw new BenchError('REFUSED', `everybody may read or write the key; chmod o= ${key}`)
  }
  const pair = { cert: textOf(cert, 'a certificate, PEM'), key: textOf(key, keyFile) }
  try {
    createSecureContext(pair)
    return pair
  } catch (error) {
    const what = `not a certificate and its key: ${(error as Error).message}`
    throw new BenchError('FILE_INVALID', what, { file: cert }, error)
  }
}

function modeOf(path: string): number {
  try {
    return process.platform === 'win32' ? 0 : statSync(path).mode
  } catch (error) {
    throw fileFault(path, 'cannot be read', keyFile, error)
  }
}

function textOf(path: string, what: string): string {
  try {
    const found = statSync(path)
    if (!found.isFile()) throw new Error('not a regular file')
    if (found.size > fileBytesMax) throw new Error(`longer than ${fileBytesMax} bytes`)
    return readFileSync(path, 'utf8')
  } catch (error) {
    throw fileFault(path, 'cannot be read', what, error)
  }
}
