import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, type Api } from '../../src/api/build.ts'
import {
  channelShape, errorBody, eventShape, resultShape, runHeadShape, runShape, seriesShape,
} from '../../src/api/shapes.ts'
import { BenchError } from '../../src/base/errors.ts'
import { hashOfToken } from '../../src/base/token.ts'
import { benchStatus, plan, portEntry, probeAnswer, safeOffReport } from '../../src/schema/application.ts'
import { FakeApplication, runningStatus, samplePlan } from './fake-application.ts'

const request = {
  sequence: 'reform', person: 'Ida', parts: [{ position: 'P01', part: 'C1', profile: 'can-450v' }],
}
let app: FakeApplication
let api: Api

beforeEach(async () => {
  app = await FakeApplication.make()
  api = buildApi(app, { software: '0.1.0' })
})
afterEach(async () => {
  await api.close()
  await app.close()
})

const get = async (url: string, headers: Record<string, string> = {}) =>
  await api.inject({ method: 'GET', url: `/api/v1${url}`, headers: { host: '127.0.0.1:8080', ...headers } })
const post = async (url: string, payload: object | string, headers: Record<string, string> = {}) =>
  await api.inject({
    method: 'POST', url: `/api/v1${url}`, payload, headers: { host: 'localhost', ...headers }
  })

describe('what the API shows', () => {
  it('shows the status of a bench that runs and of one that rests', async () => {
    expect(benchStatus.parse((await get('/status')).json()).run).toBeNull()
    app.shownStatus = runningStatus('R1')
    expect(benchStatus.parse((await get('/status')).json()).run!.positions[0]!.leakageA).toBe(2.1e-4)
  })

  it('shows runs, events, results, channels and series in the shapes that its document promises', async () => {
    runHeadShape.array().length(1).parse((await get('/runs')).json())
    runShape.parse((await get('/runs/R1')).json())
    const events = eventShape.array().length(8).parse((await get('/runs/R1/events')).json())
    eventShape.array().length(1).parse((await get(`/runs/R1/events?fromSeq=${events[7]!.seq}`)).json())
    resultShape.array().length(2).parse((await get('/runs/R1/results')).json())
    channelShape.array().length(5).parse((await get('/runs/R1/channels')).json())
    const series = seriesShape.parse((await get('/runs/R1/series?channel=P01.current&points=40')).json())
    expect(series.buckets.length).toBeGreaterThanOrEqual(10)
    expect(series.buckets.length).toBeLessThanOrEqual(40)
    expect(series.buckets.reduce((sum, bucket) => sum + bucket.count, 0)).toBe(721)
  })

  it.each([
    '/runs/R9', '/runs/R9/events', '/runs/R9/results', '/runs/R9/channels', '/runs/R9/series?channel=0', '/runs/R9/record',
    '/runs/R1/series?channel=P99.current', '/parts/C99/record', '/nothing', '/runs/R9/readings',
  ])('answers 404 with the one error shape for %s', async url => {
    const answer = await get(url)
    expect(answer.statusCode).toBe(404)
    expect(errorBody.parse(answer.json()).code).toBe('NOT_FOUND')
  })

  it.each([
    ['/runs/R1/series?channel=0&points=0', 'points'], ['/runs/R1/series?channel=0&points=99999', 'points'],
    ['/runs/R1/series', 'channel'], ['/runs?limit=x', 'limit'], ['/runs/R1/record?format=doc', 'format'],
    ['/runs?surprise=1', ''],
  ])('answers 400 and names what is wrong in %s', async (url, path) => {
    const answer = await get(url)
    expect(answer.statusCode).toBe(400)
    const error = errorBody.parse(answer.json())
    expect(error.code).toBe('USAGE')
    expect(error.message).toContain(path)
  })

  it('lists ports, and probes the one that is named', async () => {
    portEntry.array().length(1).parse((await get('/ports')).json())
    const post = async (payload: object) => await api.inject({
      method: 'POST', url: '/api/v1/ports/probe', payload
    })
    expect(probeAnswer.parse((await post({ url: 'tcp://127.0.0.1:5025' })).json()).identity).toBe('A,B,1,2')
    expect((await post({})).statusCode).toBe(400)
  })

  it('gives the record as page, table and JSON, of a run and of a part', async () => {
    const page = await get('/runs/R1/record')
    expect(page.headers['content-type']).toContain('text/html')
    expect(page.body).toContain('Test record of run R1')
    expect((await get('/runs/R1/record?format=csv')).body).toContain('chain_head')
    expect(
      (await get('/runs/R1/record?format=json&verify=true')).json()
    ).toMatchObject({ chain: { holds: true } })
    expect((await get('/parts/C2/record')).body).toContain('Test record of part C2')
  })

  it('gives every reading of a run, or of one channel', async () => {
    const all = (await get('/runs/R1/readings')).body.trimEnd().split('\r\n')
    expect(all).toHaveLength(1 + 5 * 721)
    const one = (await get('/runs/R1/readings?channel=bus.voltage')).body.trimEnd().split('\r\n')
    expect(one).toHaveLength(1 + 721)
    expect(one[1]).toBe('R1,bus.voltage,voltage,V,5000,0,0,good')
  })

  it('describes itself: every route, its body and its answer', async () => {
    const document = (await get('/openapi.json')).json<{ openapi: string; paths: Record<string, object> }>()
    expect(document.openapi).toMatch(/^3\./)
    expect(Object.keys(document.paths).sort()).toEqual([
      '/acknowledge', '/feed', '/instruments', '/instruments/check', '/lots/compare', '/lots/gauge', '/lots/match', '/lots/sheet', '/lots/sources', '/parts/{id}/record', '/plan', '/ports', '/ports/probe', '/powering', '/powering/go-on', '/powering/plan',
      '/presence', '/runs',
      '/runs/{id}', '/runs/{id}/channels', '/runs/{id}/close', '/runs/{id}/continue', '/runs/{id}/events', '/runs/{id}/readings', '/runs/{id}/record',
      '/runs/{id}/results', '/runs/{id}/series', '/screening', '/screening/deed', '/screening/plan', '/sequences', '/status', '/stop',
      '/units/early-failures', '/units/parts', '/units/rack', '/units/record',
    ].map(path => `/api/v1${path}`))
    expect(JSON.stringify(document.paths['/api/v1/plan'])).toContain('cautionsConfirmed')
    expect(JSON.stringify(document.paths['/api/v1/status'])).toContain('durableUntilMs')
  })
})

describe('what the API does', () => {
  it('plans without starting', async () => {
    expect(plan.parse((await post('/plan', request)).json())).toEqual(samplePlan)
    expect(app.calls.map(call => call.name)).toEqual(['plan'])
  })

  it('starts a run with the defaults of the request filled in, and answers 202', async () => {
    const answer = await post('/runs', request)
    expect(answer.statusCode).toBe(202)
    expect(runShape.parse(answer.json()).id).toBe('R2')
    expect(app.calls[0]!.argument).toMatchObject({
      use: 'unattended', cautionsConfirmed: false, parameters: {}
    })
  })

  it('starts nothing when the request is wrong, and says what is', async () => {
    const answer = await post(
      '/runs', { ...request, parts: [{ position: 'P01', part: '<b>', profile: 'x' }] }
    )
    expect(answer.statusCode).toBe(400)
    expect(errorBody.parse(answer.json()).message).toContain('parts[0].part')
    expect((await post('/runs', '{nonsense', { 'content-type': 'application/json' })).statusCode).toBe(400)
    expect((await post('/runs', 'sequence=reform', { 'content-type': 'text/plain' })).statusCode).toBe(400)
    expect(app.calls).toEqual([])
  })

  it.each([['REFUSED', 409], ['TRIPPED', 409], ['LINK_TIMEOUT', 504], ['STORE', 500]] as const)(
    'answers %s with status %i and the error as it is', async (code, status) => {
      app.startFails = new BenchError(code, 'for a reason', { instrument: 'supply' })
      const answer = await post('/runs', request)
      expect(answer.statusCode).toBe(status)
      expect(answer.json()).toEqual(JSON.parse(JSON.stringify(app.startFails)))
    })

  it.each([
    ['{"a":1,"__proto__":{}}', 'neither `__proto__`'], ['{"constructor":{"prototype":{}}}', 'neither `__proto__`'],
    ['{"a":', 'not valid JSON'], ['', 'cannot be empty'],
  ])('says what is wrong with %j', async (payload, why) => {
    const answer = await api.inject({
      method: 'POST', url: '/api/v1/plan', headers: { 'host': '127.0.0.1', 'content-type': 'application/json' }, payload,
    })
    expect([answer.statusCode, answer.json<{ code: string }>().code]).toEqual([400, 'USAGE'])
    expect(answer.json<{ message: string }>().message).toContain(why)
    expect(app.calls).toEqual([])
  })

  it('answers a fault of its own with 500 and the same shape', async () => {
    app.startFails = new TypeError('oops')
    const answer = await post('/runs', request)
    expect(answer.statusCode).toBe(500)
    expect(errorBody.parse(answer.json()).code).toBe('HOST')
  })

  it('refuses a body beyond its limit', async () => {
    const answer = await post('/plan', { ...request, parameters: { text: 'x'.repeat(600_000) } })
    expect(answer.statusCode).toBe(413)
    expect(errorBody.parse(answer.json()).code).toBe('USAGE')
    expect(app.calls).toEqual([])
  })

  it('checks all instruments, or those named', async () => {
    expect((await get('/instruments')).json()).toHaveLength(2)
    expect(
      (await post('/instruments/check', { names: ['meter'] })).json()
    ).toMatchObject([{ matches: false }])
    expect((await post('/instruments/check', { names: ['kettle'] })).statusCode).toBe(404)
  })

  it('acknowledges only with a reason and a name', async () => {
    expect((await post('/acknowledge', { reason: 'loose clip' })).statusCode).toBe(400)
    expect(app.calls).toEqual([])
    expect(
      (await post('/acknowledge', { reason: 'loose clip', person: 'Ida' })).json()
    ).toEqual({ acknowledged: true })
    expect(app.calls).toEqual([{ name: 'acknowledge', argument: { reason: 'loose clip', person: 'Ida' } }])
  })

  it('takes presence from a person with a name, and from nobody else', async () => {
    expect((await post('/presence', { person: '' })).statusCode).toBe(400)
    expect(app.calls).toEqual([])
    expect((await post('/presence', { person: 'Ida' })).json()).toEqual({ present: true })
    expect(app.calls).toEqual([{ name: 'confirmPresence', argument: 'Ida' }])
  })
})

describe('who may ask', () => {
  it.each([
    ['no body', undefined, {}], ['nonsense', '{oops', { 'content-type': 'application/json' }],
    [
      'a form', 'a=b', { 'content-type': 'application/x-www-form-urlencoded' }
    ], ['a foreign host', '', { host: 'example.org' }],
    ['an empty reason', '{"reason":""}', { 'content-type': 'application/json' }],
  ])('stops with %s', async (_, payload, headers) => {
    const strict = buildApi(app, { view: { from: 'elsewhere', tokenHash: hashOfToken('secret'), origin: null } })
    const answer = await strict.inject({
      method: 'POST', url: '/api/v1/stop', headers, ...(payload ? { payload } : {})
    })
    expect(safeOffReport.parse(answer.json()).reason).toBe('a person asked for it')
    expect(app.calls).toEqual([{ name: 'stop', argument: 'a person asked for it' }])
    await strict.close()
  })

  it('stops with the reason given', async () => {
    expect((await post('/stop', { reason: 'smoke' })).json()).toMatchObject({ reason: 'smoke' })
  })

  it('answers no request by a foreign name, and none from a page of another site', async () => {
    expect((await get('/status', { host: 'bench.example.org' })).statusCode).toBe(403)
    expect((await post('/runs', request, { origin: 'http://example.org' })).statusCode).toBe(403)
    expect((await post('/runs', request, { origin: 'null' })).statusCode).toBe(403)
    expect(app.calls).toEqual([])
    expect((await get('/status', { host: '127.0.0.1:80', origin: 'http://127.0.0.1' })).statusCode).toBe(403)
    expect(
      (await get('/status', { host: '127.0.0.1:81', origin: 'http://127.0.0.1:81' })).statusCode
    ).toBe(200)
  })
})
