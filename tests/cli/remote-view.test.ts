import { chmodSync, copyFileSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { hashOfToken, isToken } from '../../src/base/token.ts'
import { realContext, daemonOf, daemonToStop } from '../../src/cli/context.ts'
import { remoteViewOf, type RemoteFlags } from '../../src/cli/remote-view.ts'
import { runCli } from '../../src/cli/run-cli.ts'

let folder: string
let tls: { tlsCert: string; tlsKey: string }
let tokenFile: string
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'remote-'))
  const copy = (name: string): string => {
    copyFileSync(join(import.meta.dirname, '../api/fixtures', name), join(folder, name))
    chmodSync(join(folder, name), 0o600)
    return join(folder, name)
  }
  tls = { tlsCert: copy('cert.pem'), tlsKey: copy('key.pem') }
  tokenFile = join(folder, 'token')
  writeFileSync(tokenFile, `# of the workshop\n${hashOfToken('secret')}\n`)
})
afterEach(() => { rmSync(folder, { recursive: true }) })

const view = (flags: RemoteFlags) => remoteViewOf(flags, 7317)
const refusal = (flags: RemoteFlags): string => {
  try { view(flags) } catch (error) { return (error as { code: string }).code }
  return 'none'
}

describe('a view from elsewhere', () => {
  it('is not there unless it is asked for', () => {
    expect(view({})).toBeNull()
    expect(refusal({ tokenFile })).toBe('USAGE')
  })
  it('is there with a token and TLS, on any address', () => {
    expect(view({ listen: '192.0.2.7', tokenFile, ...tls })).toMatchObject({ host: '192.0.2.7', port: 7317, origin: null })
    expect(view({ listen: '[::]:443', tokenFile, ...tls })).toMatchObject({ host: '::', port: 443, tokenHash: hashOfToken('secret') })
  })
  it('is there behind a proxy that is declared, on the loopback address', () => {
    const behindProxy = 'https://bench.example'
    expect(view({ listen: '127.0.0.1:8000', tokenFile, behindProxy })).toMatchObject({ tls: null, origin: behindProxy })
    expect(refusal({ listen: '192.0.2.7:8000', tokenFile, behindProxy })).toBe('REFUSED')
    expect(view({ listen: '192.0.2.7:8000', tokenFile, behindProxy, ...tls })).toMatchObject({ origin: behindProxy })
    for (const wrong of ['http://bench.example', 'https://bench.example/', 'bench.example', 'https://']) {
      expect(refusal({ listen: '127.0.0.1:8000', tokenFile, behindProxy: wrong })).toBe('USAGE')
    }
  })
  it('is refused without a token, without TLS, and on the loopback address just the same', () => {
    for (const listen of ['0.0.0.0:7317', '127.0.0.1:7317']) {
      expect(refusal({ listen, ...tls })).toBe('REFUSED')
      expect(refusal({ listen, tokenFile })).toBe('REFUSED')
    }
    expect(refusal({ listen: 'x:1', tokenFile, tlsCert: tls.tlsCert })).toBe('USAGE')
  })
  it('takes no address that is none', () => {
    for (const listen of ['', 'a b', 'http://x', '1.2.3.4:99999', '[::1', 'x:', '::1']) {
      expect(refusal({ listen, tokenFile, ...tls })).toBe('USAGE')
    }
  })
  it('takes no token file that holds a token, nothing, too much, or is none', () => {
    const file = join(folder, 'other')
    for (const text of ['secret', '', `${hashOfToken('a')}\n${hashOfToken('b')}`, `${hashOfToken('a').toUpperCase()}`]) {
      writeFileSync(file, text)
      expect(refusal({ listen: 'x', tokenFile: file, ...tls })).toBe('FILE_INVALID')
    }
    writeFileSync(file, '#'.repeat(70_000))
    expect(refusal({ listen: 'x', tokenFile: file, ...tls })).toBe('FILE_UNREADABLE')
    expect(refusal({ listen: 'x', tokenFile: folder, ...tls })).toBe('FILE_UNREADABLE')
    expect(refusal({ listen: 'x', tokenFile: '/dev/zero', ...tls })).toBe('FILE_UNREADABLE')
  })
  it('takes no key that everybody may read, and no certificate that is none', () => {
    chmodSync(tls.tlsKey, 0o644)
    expect(refusal({ listen: 'x', tokenFile, ...tls })).toBe('REFUSED')
    chmodSync(tls.tlsKey, 0o640)
    expect(refusal({ listen: 'x', tokenFile, ...tls })).toBe('none')
    expect(refusal({ listen: 'x', tokenFile, tlsCert: tokenFile, tlsKey: tls.tlsKey })).toBe('FILE_INVALID')
  })
})

describe('new-token', () => {
  const said: string[] = []
  const context = () => ({
    ...realContext('ida'), env: { NIGHTBENCH_DATA: folder }, out: { write: (text: string) => said.push(text) },
    err: { write: (text: string) => said.push(text) },
  })
  it('shows a token once and keeps its hash, for its owner alone', async () => {
    said.length = 0
    const out = join(folder, 'deep', 'hash')
    expect(await runCli(['new-token', '--out', out, '--json'], context())).toBe(0)
    const { token } = JSON.parse(said.join('')) as { token: string }
    const kept = readFileSync(out, 'utf8')
    expect(isToken(token, kept.trim())).toBe(true)
    expect(kept).not.toContain(token)
    expect(statSync(out).mode & 0o777).toBe(0o600)
    expect(view({ listen: 'x', tokenFile: out, ...tls })!.tokenHash).toBe(kept.trim())
  })
  it('leaves a file alone that is there', async () => {
    const before = readFileSync(tokenFile, 'utf8')
    expect(await runCli(['new-token'], context())).toBe(2)
    expect(readFileSync(tokenFile, 'utf8')).toBe(before)
  })
  it('goes over TLS or stays on this computer', () => {
    const at = (daemon: string) => () => daemonOf({ ...context(), env: { NIGHTBENCH_TOKEN: 'secret' } }, { daemon })
    expect(at('http://192.0.2.7:7317')).toThrow('in the clear')
    expect(at('https://192.0.2.7:7317')).not.toThrow()
    expect(at('http://127.0.0.1:7317')).not.toThrow()
    expect(() => daemonOf({ ...context(), env: {} }, { daemon: 'http://192.0.2.7:7317' })).not.toThrow()
    const stopAt = (url: string) => () => daemonToStop({ ...context(), env: { NIGHTBENCH_TOKEN: 'secret' } }, { url, folder: null })
    expect(stopAt('http://192.0.2.7:7317')).not.toThrow()
  })
})
