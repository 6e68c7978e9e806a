import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, type Api } from '../../src/api/build.ts'
import { errorBody, resultShape, runShape } from '../../src/api/shapes.ts'
import { BenchError } from '../../src/base/errors.ts'
import { poweringPlan, poweringStatus, type PoweringStatus } from '../../src/schema/powering.ts'
import { FakeApplication, unitBody } from './fake-application.ts'

let app: FakeApplication
let api: Api
beforeEach(async () => {
  app = await FakeApplication.make()
  api = buildApi(app)
})
afterEach(async () => {
  await api.close()
  await app.close()
})
const ask = async (method: 'GET' | 'POST', url: string, payload?: object) =>
  await api.inject({ method, url: `/api/v1${url}`, ...(payload ? { payload } : {}), headers: { host: 'localhost' } })

const waiting: PoweringStatus = {
  run: 'U1', sequence: 'first-power', unit: 'an-amplifier', specimen: 'unit-1', stage: 'waiting', way: null, counted: null,
  hold: { id: 'stage.whole', text: 'cover closed', mainsOn: false }, startedWallMs: 0, elapsedS: 3, remainingS: 1380,
  quantities: [{ name: 'mains.current', value: null, u: null, unit: 'A' }], ending: null,
}

describe('whole units over HTTP', () => {
  it('shows nothing, and then how a run stands', async () => {
    expect((await ask('GET', '/powering')).json()).toBeNull()
    app.powering.shown = waiting
    expect(poweringStatus.parse((await ask('GET', '/powering')).json())).toEqual(waiting)
  })
  it('plans and begins with what was asked for, defaults filled in', async () => {
    expect(poweringPlan.parse((await ask('POST', '/powering/plan', unitBody)).json()).steps).toHaveLength(2)
    const begun = await ask('POST', '/powering', unitBody)
    expect(begun.statusCode).toBe(202)
    expect(runShape.parse(begun.json())).toMatchObject({ id: 'U1', sequence: 'first-power' })
    expect(app.calls.map(({ argument }) => argument)).toEqual([0, 1].map(() =>
      ({ ...unitBody, use: 'attended', parameters: {}, wiring: { probes: {}, outputs: {}, thermometers: {} } })))
  })
  it('passes on who says to go on, and refusals back in the one error shape', async () => {
    const step = { id: 'stage.whole', person: 'Ida' }
    expect((await ask('POST', '/powering/go-on', step)).json()).toEqual({ done: true })
    expect(app.calls.at(-1)).toEqual({ name: 'powering.goOn', argument: step })
    app.powering.fails = new BenchError('REFUSED', 'nothing waits')
    const refused = await ask('POST', '/powering/go-on', step)
    expect(refused.statusCode).toBe(409)
    expect(errorBody.parse(refused.json()).message).toContain('nothing waits')
  })
  it.each([
    ['/powering', { ...unitBody, sequence: 'reform' }], ['/powering', { ...unitBody, unpowered: undefined }],
    ['/powering/plan', { ...unitBody, specimen: '../x' }], ['/powering/go-on', { id: 'stage.whole' }],
    ['/powering', { ...unitBody, use: 'touch-safe' }],
  ])('refuses what does not fit: %s %j', async (url, body) => {
    const answer = await ask('POST', url, body)
    expect(answer.statusCode).toBe(400)
    expect(errorBody.parse(answer.json()).code).toBe('USAGE')
    expect(app.calls).toEqual([])
  })
  it('has a shape for findings, whose numbers may be missing', () => {
    const figure = { quantity: 'thd', channel: 'left', value: 1e-3, unit: '1', u: 1e-5, conditions: { frequencyHz: 1000 }, notes: [] }
    resultShape.parse({
      position: 'unit', part: 'unit-1', profile: 'an-amplifier', grade: 'cannot tell', provisional: false, disposition: 'retest', pConform: null, reason: '',
      criteria: [], figures: {}, unit: {
        figures: [figure], left: ['nothing'], curves: [{
          name: 'response', channel: 'left', under: '1 W', x: { label: 'frequency', unit: 'Hz', scale: 'log', values: [1, null] },
          y: { label: 'level', unit: 'dB', scale: 'linear', values: [0, 1] },
        }],
        claims: [{ words: 'THD at most 1 %', claim: { quantity: 'thd', most: 0.01, conditions: {} }, end: 'cannot be told', margin: null, pConform: null, figures: [figure], reason: '' }],
      },
    })
  })
})
