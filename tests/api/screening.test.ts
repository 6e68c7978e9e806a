import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, type Api } from '../../src/api/build.ts'
import { errorBody, resultShape, runShape } from '../../src/api/shapes.ts'
import { BenchError } from '../../src/base/errors.ts'
import { criterionNames } from '../../src/schema/run.ts'
import { screenPlan, screenStatus } from '../../src/schema/screening.ts'
import { askingR1, FakeApplication, screenBody } from './fake-application.ts'

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

describe('screening over HTTP', () => {
  it('shows nothing, and then how a session stands', async () => {
    expect((await ask('GET', '/screening')).json()).toBeNull()
    app.screening.shown = askingR1
    expect(screenStatus.parse((await ask('GET', '/screening')).json())).toEqual(askingR1)
  })
  it('plans and begins with what was asked for, defaults filled in', async () => {
    expect(screenPlan.parse((await ask('POST', '/screening/plan', screenBody)).json()).groups).toHaveLength(1)
    const begun = await ask('POST', '/screening', screenBody)
    expect(begun.statusCode).toBe(202)
    expect(runShape.parse(begun.json())).toMatchObject({ id: 'S1', sequence: 'screen' })
    expect(app.calls.map(({ argument }) => argument)).toEqual([0, 1].map(() =>
      ({ ...screenBody, standards: [], standardsEvery: 50, compensate: false, insulation: true, absorption: false, mains: { voltageV: 240, frequencyHz: 50 }, ask: 'open' })))
  })
  it('passes deeds on, and refusals back in the one error shape', async () => {
    expect((await ask('POST', '/screening/deed', { does: 'second opinion' })).json()).toEqual({ done: true })
    app.screening.fails = new BenchError('REFUSED', 'nothing is in doubt')
    const refused = await ask('POST', '/screening/deed', { does: 'keep' })
    expect(refused.statusCode).toBe(409)
    expect(errorBody.parse(refused.json()).message).toContain('nothing is in doubt')
    expect((await ask('POST', '/screening', screenBody)).statusCode).toBe(409)
  })
  it.each([
    ['/screening/deed', { does: 'dance' }], ['/screening', { ...screenBody, parts: [] }], ['/screening', { ...screenBody, unit: '../x' }],
    ['/screening/plan', { ...screenBody, standards: [{ id: 'S1', quantity: 'resistance', value: 0, u: 1 }] }],
  ])('refuses what does not fit: %s %j', async (url, body) => {
    const answer = await ask('POST', url, body)
    expect(answer.statusCode).toBe(400)
    expect(errorBody.parse(answer.json()).code).toBe('USAGE')
    expect(app.calls).toEqual([])
  })
  it('has a shape for results of every criterion', () => {
    for (const name of criterionNames) {
      resultShape.parse({
        position: 'Q1', part: 'pavilion-Q1', profile: 'parts list', grade: 'accept', provisional: false, disposition: 'use', pConform: 1, reason: '',
        figures: {}, criteria: [{ name, value: 1, unit: '1', expandedU: 0, guardBand: 0, pConform: 1, grade: 'accept', source: '' }],
      })
    }
  })
})
