/** Requests of any kind to every route, here and elsewhere: an answer in its form, and nothing started that should not be. */
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { buildApi, type Api } from '../../src/api/build.ts'
import { acknowledgeBody, errorBody, presenceBody } from '../../src/api/shapes.ts'
import { hashOfToken } from '../../src/base/token.ts'
import { continueRequest } from '../../src/schema/application.ts'
import { startRequest, type RunRecord, type StartRequest } from '../../src/schema/run.ts'
import { wellFormed } from '../../src/store/codec.ts'
import { FakeApplication, screenBody } from '../api/fake-application.ts'
import { holds } from './holds.ts'
import { alteredJson, nasty } from './texts.ts'

/** Remembers what was asked of it, and keeps no runs: the store stays as it was. */
class CountingApplication extends FakeApplication {
  constructor(store: FakeApplication['store']) {
    super(store)
    this.screening.begin = async request => {
      this.calls.push({ name: 'screening.begin', argument: request })
      return (await this.store.run('R1'))!
    }
  }

  override async start(request: StartRequest): Promise<RunRecord> {
    this.calls.push({ name: 'start', argument: request })
    return (await this.store.run('R1'))!
  }
}

let app: CountingApplication
let here: Api
let elsewhere: Api
beforeAll(async () => {
  const { store } = await FakeApplication.make()
  app = new CountingApplication(store)
  here = buildApi(app)
  elsewhere = buildApi(app, { view: { from: 'elsewhere', tokenHash: hashOfToken('secret'), origin: null } })
})
afterAll(async () => { await Promise.all([here.close(), elsewhere.close()]) })

const start = fc.record({
  sequence: fc.constantFrom('reform', 'x'), person: fc.constantFrom('Ida', ''), cautionsConfirmed: fc.boolean(), parameters: fc.dictionary(nasty(8), nasty(8), { maxKeys: 2 }),
  parts: fc.array(fc.record({ position: fc.constantFrom('P01', 'P02'), part: fc.constantFrom('C1', 'C-2'), profile: fc.constant('can-450v'), note: nasty(20) }), { maxLength: 3 }),
})
const screened = fc.record({
  unit: fc.constantFrom('pavilion', '', '../x'), parts: fc.constantFrom(screenBody.parts, []), person: fc.constantFrom('Ida', ''),
  standardsEvery: fc.constantFrom(50, 0, -1), ask: fc.constantFrom('open', 'all', 'x'),
})
const bodies: Readonly<Record<string, fc.Arbitrary<unknown>>> = {
  '/screening': screened, '/screening/plan': screened, '/screening/deed': fc.record({ does: fc.constantFrom('skip', 'undo', '') }),
  '/runs': start, '/plan': start, '/stop': fc.record({ reason: nasty() }),
  '/runs/R1/close': fc.record({ reason: nasty(), person: nasty() }), '/runs/R1/continue': fc.record({ person: nasty(), cautionsConfirmed: fc.boolean() }),
  '/acknowledge': fc.record({ reason: nasty(), person: nasty() }), '/presence': fc.record({ person: nasty() }),
  '/ports/probe': fc.record({ url: fc.oneof(nasty(), fc.constantFrom('tcp://127.0.0.1:1', 'serial:/dev/ttyUSB0')) }),
  '/instruments/check': fc.record({ names: fc.array(fc.oneof(nasty(10), fc.constantFrom('supply', 'meter')), { maxLength: 3 }) }),
}
const sent = fc.constantFrom(...Object.keys(bodies)).chain(url => fc.record({
  method: fc.constantFrom('POST', 'POST', 'POST', 'PUT', 'GET'), url: fc.constant(url),
  payload: fc.oneof(
    { arbitrary: alteredJson(bodies[url]!).map(value => JSON.stringify(value) ?? 'null'), weight: 6 },
    { arbitrary: nasty(100), weight: 1 }, { arbitrary: fc.constantFrom('', '{', '[]', '[[[[', '"', '{"a":1}{}', '\ufeff{}', '['.repeat(20_000), '{"a":'.repeat(5000)), weight: 1 },
  ),
}))
const word = fc.oneof(nasty(20), fc.constantFrom('R1', 'R9', 'C1', 'P01.current', '0', '-1', '1e9', 'csv', 'json', 'true'))
const looked = fc.record({
  method: fc.constantFrom('GET', 'GET', 'GET', 'HEAD', 'DELETE'), payload: fc.constant(undefined),
  url: fc.tuple(
    fc.oneof(
      fc.constantFrom('/status', '/sequences', '/ports', '/runs', '/openapi.json', '/', '//', '/..', '/%2e%2e/x', '/instruments'),
      fc.tuple(fc.constantFrom('runs', 'parts'), word, fc.constantFrom('', '/events', '/results', '/channels', '/series', '/readings', '/record', '/x'))
        .map(([kind, id, rest]) => `/${kind}/${encodeURIComponent(wellFormed(id))}${rest}`),
    ),
    fc.array(fc.tuple(fc.constantFrom('limit', 'fromSeq', 'channel', 'points', 'format', 'verify', 'x', '__proto__'), word), { maxLength: 3 }),
  ).map(([path, query]) => query.length === 0 ? path
    : `${path}?${query.map(([name, value]) => `${name}=${encodeURIComponent(wellFormed(value))}`).join('&')}`),
})
const headers = fc.record({
  'content-type': fc.constantFrom('application/json', 'application/json', 'application/json', 'application/json', 'text/plain', 'application/x-www-form-urlencoded', 'multipart/form-data', 'x/y;z'),
  host: fc.constantFrom('127.0.0.1:7316', 'localhost', 'localhost', '[::1]', 'example.org'),
  origin: fc.constantFrom(undefined, undefined, undefined, 'http://localhost', 'null', 'http://example.org', 'https://localhost'),
  authorization: fc.constantFrom(undefined, 'Bearer secret', 'Bearer ', 'Basic eDp5', 'Bearer secret2'),
  'sec-fetch-site': fc.constantFrom(undefined, undefined, 'none', 'cross-site'),
})

/** What the one who asked may have caused. */
function mayHave(call: { name: string; argument: unknown }, request: { url: string; here: boolean; site: string | undefined; origin: string | undefined; payload: string | undefined }): boolean {
  if (call.name === 'stop') return request.url === '/stop'
  if (call.name === 'plan') return request.url === '/plan' && startRequest.safeParse(JSON.parse(request.payload!)).success
  if (!request.here || request.site === 'cross-site' || request.origin === 'null' || request.origin === 'http://example.org') return false
  switch (call.name) {
    case 'start': return startRequest.safeParse(JSON.parse(request.payload!)).success
    case 'continueRun': return continueRequest.safeParse(JSON.parse(request.payload!)).success
    case 'acknowledge': case 'closeRun': return acknowledgeBody.safeParse(JSON.parse(request.payload!)).success
    case 'confirmPresence': return presenceBody.safeParse(JSON.parse(request.payload!)).success
    default: return call.name === 'probe' || call.name === 'check'
  }
}

describe('requests to every route', () => {
  it('are answered in form and cause what they may and no more', async () => {
    const inputs = fc.record({ asked: fc.oneof({ arbitrary: sent, weight: 2 }, { arbitrary: looked, weight: 1 }), headers, here: fc.boolean() })
    await holds('API requests', inputs, async ({ asked, headers: given, here: isHere }) => {
      app.calls.length = 0
      const told = Object.fromEntries(Object.entries(given).filter(([name, value]) => value !== undefined && (name !== 'content-type' || asked.payload !== undefined)))
      const answer = await (isHere ? here : elsewhere).inject({
        method: asked.method as 'GET', url: `/api/v1${asked.url}`, headers: told as Record<string, string>,
        ...(asked.payload === undefined || asked.method === 'GET' ? {} : { payload: asked.payload }),
      })
      expect([200, 202, 400, 401, 403, 404, 405, 409, 413, 414, 415]).toContain(answer.statusCode)
      if (answer.statusCode >= 400 && asked.method !== 'HEAD') errorBody.parse(answer.json())
      const request = { ...asked, here: isHere, site: given['sec-fetch-site'], origin: given.origin }
      expect(app.calls.filter(call => !mayHave(call, request))).toEqual([])
      if (!isHere && given.authorization !== 'Bearer secret' && asked.url !== '/stop') expect([401, 404]).toContain(answer.statusCode)
    })
  })
})
