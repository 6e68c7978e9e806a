import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { buildApi, type Api } from '../../src/api/build.ts'
import { errorBody } from '../../src/api/shapes.ts'
import { lotSheetShape } from '../../src/schema/lot-sheet.ts'
import { compareAnswer, matchAnswer } from '../../src/schema/lots.ts'
import { criterion, line, result, runOf } from '../report/lot-fixture.ts'
import { FakeApplication } from './fake-application.ts'

let app: FakeApplication
let api: Api
beforeEach(async () => {
  app = await FakeApplication.make()
  api = buildApi(app)
  for (const [id, from] of [['A1', 100], ['B1', 130]] as const) {
    const names = Array.from({ length: 12 }, (_, i) => `${id}-${i}`)
    await app.store.createRun(runOf(id, [], [line(names, 'npn')]).run, [])
    for (const [i, name] of names.entries()) await app.store.saveResult(id, result(name, [criterion(from + i * i / 10)]))
  }
})
afterEach(async () => {
  await api.close()
  await app.close()
})
const ask = async (url: string, payload: object) => await api.inject({ method: 'POST', url: `/api/v1${url}`, payload, headers: { host: 'localhost' } })

describe('lots over HTTP', () => {
  it('gives matched sets in the shape that the document promises', async () => {
    const answer = matchAnswer.parse((await ask('/lots/match', { runs: ['A1', 'B1'], by: [{ quantity: 'gain' }], size: 4 })).json())
    expect([answer.sets.length, answer.optimal]).toEqual([6, true])
  })
  it('gives a comparison likewise', async () => {
    const { quantities } = compareAnswer.parse((await ask('/lots/compare', { runs: ['A1', 'B1'] })).json())
    expect(quantities[0]!.differences[0]).toMatchObject({ first: 'A1', second: 'B1', differs: true })
  })
  it('gives a sheet as JSON of the shape that is promised, as a page, and as a table', async () => {
    const of = async (format: string) => await ask('/lots/sheet', { runs: ['A1', 'B1'], format })
    const sheet = lotSheetShape.parse((await of('json')).json())
    expect([sheet.parts, sheet.runs.length, sheet.quantities[0]!.n]).toEqual([24, 2, 24])
    const page = await of('html')
    expect([page.headers['content-type'], page.body.slice(0, 15)]).toEqual(['text/html; charset=utf-8', '<!doctype html>'])
    expect((await of('csv')).body).toContain('gain')
  })
  it.each([
    ['/lots/match', { runs: ['A1'], by: [] }, 400], ['/lots/match', { runs: ['A1'], by: [{ quantity: 'gain', within: -1 }] }, 400],
    ['/lots/match', { runs: ['none'], by: [{ quantity: 'gain' }] }, 404], ['/lots/match', { runs: ['A1'], by: [{ quantity: 'vbe' }] }, 409],
    ['/lots/gauge', { run: 'A1' }, 409], ['/lots/gauge', { run: 'none' }, 404],
    ['/lots/sheet', { runs: ['none'] }, 404], ['/lots/sheet', { runs: ['A1'], format: 'pdf' }, 400],
    ['/lots/compare', { runs: ['A1'], by: 'size' }, 400], ['/lots/compare', { runs: ['A1'], by: 'kind' }, 409],
  ])('refuses %s %j with %i', async (url, body, status) => {
    const refused = await ask(url, body)
    expect(refused.statusCode).toBe(status)
    expect(errorBody.parse(refused.json()).message).not.toBe('')
  })
})
