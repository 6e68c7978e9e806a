/** Who may ask for what: views here and elsewhere, pages of other sites, proxies. */
import { readFileSync } from 'node:fs'
import { request as httpsRequest } from 'node:https'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, listen, type Api } from '../../src/api/build.ts'
import { daemonHeader } from '../../src/base/daemon-file.ts'
import { hashOfToken, isToken, isTokenHash, newToken } from '../../src/base/token.ts'
import { readingName } from '../../src/schema/gauge.ts'
import { criterion, line, result, runOf } from '../report/lot-fixture.ts'
import { FakeApplication, screenBody, unitBody } from './fake-application.ts'

const token = newToken()
const bearer = { authorization: `Bearer ${token}` }
const pem = (name: string): string => readFileSync(join(import.meta.dirname, 'fixtures', `${name}.pem`), 'utf8')
const startBody = { sequence: 'reform', person: 'Ida', parts: [{ position: 'P01', part: 'C1', profile: 'can-450v' }] }

let app: FakeApplication
let here: Api
let elsewhere: Api
beforeEach(async () => {
  app = await FakeApplication.make()
  const study = { people: ['Ida', 'Bo'], trials: 2 }
  const request = { unit: 'gauge', parts: [line(['R1', 'R2'], 'resistor')], study, person: 'Ida' }
  await app.store.createRun({ ...runOf('study', []).run, setup: { request } }, [])
  for (const [i, name] of ['R1', 'R2'].flatMap(part => study.people.flatMap(who => [1, 2].map(trial => readingName(part, who, trial)))).entries()) {
    await app.store.saveResult('study', result(name, [criterion(100 + i * i, { name: 'resistance', unit: 'Ω' })]))
  }
  const again = runOf('again', ['C1', 'C2'].map(name => result(name, [criterion(1e-5, { name: 'leakage', unit: 'A' })])))
  await app.store.createRun(again.run, [])
  for (const one of again.results) await app.store.saveResult('again', one)
  here = buildApi(app)
  elsewhere = buildApi(app, { view: { from: 'elsewhere', tokenHash: hashOfToken(token), origin: null } })
})
afterEach(async () => {
  await Promise.all([here.close(), elsewhere.close()])
  await app.close()
})

type Headers = Record<string, string>
async function ask(api: Api, route: string, headers: Headers = {}, payload?: object): Promise<number> {
  const [method, url] = route.split(' ') as ['GET' | 'POST', string]
  const answer = await api.inject({
    method, url: `/api/v1${url}`, headers: { host: '127.0.0.1:7316', ...headers }, ...(payload ? { payload } : {}),
  })
  return answer.statusCode
}

describe('a token', () => {
  it('is 256 bits, never twice the same, and fits its own hash alone', () => {
    const other = newToken()
    expect(Buffer.from(token, 'base64url')).toHaveLength(32)
    expect(other).not.toBe(token)
    expect(isTokenHash(hashOfToken(token))).toBe(true)
    expect(isToken(token, hashOfToken(token))).toBe(true)
    for (const given of ['', other, `${token} `, token.slice(1), token.toLowerCase()]) {
      expect(isToken(given, hashOfToken(token))).toBe(false)
    }
  })
  it('stands in no hash, and what is no hash is not taken for one', () => {
    expect(hashOfToken(token)).not.toContain(token)
    for (const text of ['', token, 'sha256:', `sha256:${'0'.repeat(63)}`, `md5:${'0'.repeat(64)}`]) expect(isTokenHash(text)).toBe(false)
  })
})

/** Everything that is done at the bench alone, with a body that would be taken. */
const actions: readonly (readonly [string, object | undefined])[] = [
  ['POST /runs', startBody], ['POST /acknowledge', { reason: 'loose clip', person: 'Ida' }],
  ['POST /presence', { person: 'Ida' }],
  ['POST /runs/R1/continue', { person: 'Ida', cautionsConfirmed: true, polarityConfirmed: true }],
  ['POST /runs/R1/close', { reason: 'loose clip', person: 'Ida' }], ['POST /ports/probe', { url: 'tcp://127.0.0.1:5025' }],
  ['POST /screening', screenBody], ['POST /screening/deed', { does: 'skip' }],
  ['POST /powering', unitBody], ['POST /powering/go-on', { id: 'stage.whole', person: 'Ida' }],
  ['GET /instruments', undefined], ['POST /instruments/check', { names: ['meter'] }],
]
const looks: readonly (readonly [string, object | undefined])[] = [
  ...['/status', '/sequences', '/ports', '/openapi.json', '/runs', '/runs/R1', '/runs/R1/events', '/runs/R1/results',
    '/runs/R1/channels', '/screening', '/powering', '/runs/R1/series?channel=0', '/runs/R1/readings', '/runs/R1/record', '/parts/C2/record',
  ].map(url => [`GET ${url}`, undefined] as const),
  ['POST /plan', startBody], ['POST /screening/plan', screenBody], ['POST /powering/plan', unitBody],
  ['POST /lots/match', { runs: ['R1'], by: [{ quantity: 'leakage' }], choice: { grades: ['accept', 'marginal', 'reject'] } }],
  ['POST /lots/compare', { runs: ['R1', 'again'] }], ['POST /lots/sheet', { runs: ['R1'] }],
  ['GET /lots/sources', undefined], ['POST /lots/gauge', { run: 'study' }],
  ['POST /units/parts', { unit: 'pavilion', designators: ['C1'] }],
  ['POST /units/early-failures', { unit: 'an-amplifier' }],
  ['POST /units/record', { specimen: 'pavilion-1', format: 'json' }],
  ['POST /units/rack', { unit: 'pavilion', parts: [{ designator: 'C1', ratedV: 450, capacitanceF: 1e-5 }] }],
]

describe('a view from elsewhere', () => {
  it.each(looks)('may %s with the token, and not without', async (route, body) => {
    expect(await ask(elsewhere, route, bearer, body)).toBe(200)
    expect(await ask(elsewhere, route, {}, body)).toBe(401)
    expect(await ask(elsewhere, route, { authorization: `Bearer ${newToken()}` }, body)).toBe(401)
  })
  it.each(actions)('may not %s even with the token; at the bench one may', async (route, body) => {
    expect(await ask(elsewhere, route, bearer, body)).toBe(403)
    expect(app.calls).toEqual([])
    expect(await ask(here, route, {}, body)).toBeLessThan(300)
    expect(app.calls).toHaveLength(1)
  })
  it('has every route of the API on one of the two lists', async () => {
    const { paths } = (await here.inject({
      url: '/api/v1/openapi.json', headers: { host: 'localhost' }
    })).json<{ paths: Record<string, object> }>()
    const documented = Object.entries(paths).flatMap(([path, methods]) =>
      Object.keys(methods).map(method => `${method.toUpperCase()} ${path.slice('/api/v1'.length)}`))
    const plain = (route: string): string => route.replace(/\?.*/, '').replace(/R1|C2/, '{id}')
    const known = [...looks, ...actions].map(([route]) => plain(route))
    expect(documented.filter(route => !known.includes(route)).sort()).toEqual(['GET /feed', 'POST /stop'])
  })
  it('may stop, with the token or without', async () => {
    expect(await ask(elsewhere, 'POST /stop', bearer, { reason: 'smoke' })).toBe(200)
    expect(await ask(elsewhere, 'POST /stop', {}, { reason: 'smoke' })).toBe(200)
    expect(app.calls.map(call => call.argument)).toEqual(['smoke', 'smoke'])
  })
  it('answers 404 for what there is not, with the token, and 401 without', async () => {
    expect(await ask(elsewhere, 'GET /nothing', bearer)).toBe(404)
    expect(await ask(elsewhere, 'GET /nothing')).toBe(401)
  })
  it('is seen by pages of its own address, and by no other', async () => {
    const from = async (origin: string): Promise<number> =>
      await ask(elsewhere, 'GET /status', { ...bearer, host: 'bench.example:7317', origin })
    expect(await from('https://bench.example:7317')).toBe(200)
    for (const origin of ['http://bench.example:7317', 'https://bench.example', 'https://example.org', 'null']) {
      expect(await from(origin)).toBe(403)
    }
  })
  it('behind a declared proxy is seen by pages of the proxy alone', async () => {
    const proxied = buildApi(app, {
      view: { from: 'elsewhere', tokenHash: hashOfToken(token), origin: 'https://bench.example' }
    })
    const from = async (origin: string): Promise<number> => await ask(proxied, 'GET /status', {
      ...bearer, host: '127.0.0.1:7317', origin, 'x-forwarded-for': '192.0.2.7',
    })
    expect(await from('https://bench.example')).toBe(200)
    expect(await from('https://127.0.0.1:7317')).toBe(403)
    expect(await ask(proxied, 'POST /runs', { ...bearer, 'x-forwarded-for': '127.0.0.1' }, startBody)).toBe(403)
    await proxied.close()
  })
})

describe('the view at the bench', () => {
  it('answers nothing, a stop neither, that is for another daemon, and says which one it is', async () => {
    const named = buildApi(app, { id: 'this-one' })
    const answers = async (headers: Headers) => {
      const told = []
      for (const [method, url] of [['GET', '/api/v1/status'], ['POST', '/api/v1/stop']] as const) {
        const answer = await named.inject({ method, url, headers: { host: '127.0.0.1:7316', ...headers } })
        told.push([answer.statusCode, answer.headers[daemonHeader]])
      }
      return told
    }
    expect(await answers({ [daemonHeader]: 'one-that-is-gone' })).toEqual([[421, 'this-one'], [421, 'this-one']])
    expect(app.calls).toEqual([])
    for (const headers of [{}, { [daemonHeader]: 'this-one' }]) {
      expect(await answers(headers as Headers)).toEqual([[200, 'this-one'], [200, 'this-one']])
    }
    await named.close()
  })

  it.each(['forwarded', 'x-forwarded-for', 'x-forwarded-host', 'x-real-ip', 'via'])(
    'takes %s for a proxy that nobody declared', async name => {
      expect(await ask(here, 'GET /status')).toBe(200)
      expect(await ask(here, 'GET /status', { [name]: '192.0.2.7' })).toBe(403)
    })
  it.each([
    ['127.0.0.1', 200], ['localhost:7316', 200], ['[::1]:7316', 200], ['127.0.0.1.example.org', 403], ['localhost.example.org', 403],
    ['bench.example:7316', 403], ['0.0.0.0', 403],
  ] as const)('asked as %s answers %i: a name that is made to lead here is none', async (host, status) => {
    expect(await ask(here, 'GET /status', { host })).toBe(status)
  })
  it.each([['same-origin', 200], ['none', 200], ['cross-site', 403], ['same-site', 403]] as const)(
    'asked by a page that is %s answers %i, also where a browser names no origin', async (site, status) => {
      expect(await ask(here, 'GET /instruments', { 'sec-fetch-site': site })).toBe(status)
      expect(app.calls).toHaveLength(status === 200 ? 1 : 0)
    })
  it('is not for whoever comes from another address, whatever host the request names', async () => {
    const answer = async (remoteAddress: string): Promise<number> => (await here.inject({
      url: '/api/v1/status', headers: { host: 'localhost' }, remoteAddress,
    })).statusCode
    expect(await answer('192.0.2.7')).toBe(403)
    expect(await answer('::ffff:127.0.0.1')).toBe(200)
  })
  it('lets nothing of ours run, be framed or be kept in a browser', async () => {
    const answer = await here.inject({ url: '/api/v1/runs/R1/record', headers: { host: 'localhost' } })
    expect(answer.headers['content-security-policy']).toContain("default-src 'none'")
    expect(answer.headers['content-security-policy']).toContain("frame-ancestors 'none'")
    expect(answer.headers['x-content-type-options']).toBe('nosniff')
    expect(answer.headers['cache-control']).toBe('no-store')
  })
})

describe('over TLS', () => {
  it('answers with the certificate given, and not in the clear', async () => {
    const api = buildApi(app, {
      view: { from: 'elsewhere', tokenHash: hashOfToken(token), origin: null }, tls: { cert: pem('cert'), key: pem('key') },
    })
    const url = await listen(api, { port: 0 })
    expect(url).toMatch(/^https:/)
    const status = await new Promise<number>((resolve, reject) => {
      httpsRequest(`${url}/api/v1/status`, { ca: pem('cert'), headers: bearer }, answer => {
        answer.resume()
        resolve(answer.statusCode ?? 0)
      }).on('error', reject).end()
    })
    expect(status).toBe(200)
    await expect(fetch(url.replace('https', 'http'))).rejects.toThrow()
    await api.close()
  })
})
