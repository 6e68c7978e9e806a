/** Routes of lots: reading what is on record, for everyone who may look. */
import { z } from 'zod'
import type { Application } from '../schema/application.ts'
import { gaugeAnswer, gaugeRequest } from '../schema/gauge.ts'
import { lotSheetShape } from '../schema/lot-sheet.ts'
import { compareAnswer, compareRequest, matchAnswer, matchRequest, sheetRequest } from '../schema/lots.ts'
import { sourceState } from '../schema/sampling.ts'
import type { Routes } from './build.ts'
import { answers } from './shapes.ts'

const sourceQuery = z.strictObject({ source: z.string().min(1).max(80).optional() })

const types = {
  json: 'application/json; charset=utf-8', html: 'text/html; charset=utf-8', csv: 'text/csv; charset=utf-8',
} as const

export function lotRoutes(routes: Routes, { lots }: Pick<Application, 'lots'>): void {
  routes.post('/lots/match', {
    schema: {
      summary: 'Matched sets from the parts of runs on record; changes nothing', body: matchRequest,
      response: answers(200, matchAnswer),
    },
  }, async request => await lots.match(request.body))

  routes.post('/lots/compare', {
    schema: {
      summary: 'Whether lots differ, by runs or by kind, value or line within them; changes nothing',
      body: compareRequest, response: answers(200, compareAnswer),
    },
  }, async request => await lots.compare(request.body))

  routes.post('/lots/sheet', {
    schema: {
      summary: 'What the parts of runs are worth together, as JSON, an HTML page or CSV; changes nothing',
      body: sheetRequest, response: answers(200, lotSheetShape),
    },
  }, async (request, reply) => {
    const text = await lots.sheet(request.body)
    return await reply.type(types[request.body.format]).serializer(String).send(text)
  })

  routes.post('/lots/gauge', {
    schema: {
      summary: 'What a study of the gauge comes to: repeatability, reproducibility, share of the tolerance',
      body: gaugeRequest, response: answers(200, gaugeAnswer),
    },
  }, async request => await lots.gauge(request.body))

  routes.get('/lots/sources', {
    schema: {
      summary: 'How lots that are sampled are inspected now, by their sources, and what became of them',
      querystring: sourceQuery, response: answers(200, z.array(sourceState)),
    },
  }, async request => await lots.sources(request.query.source))
}
