/** Routes of lots: reading what is on record, for everyone who may look. */
import type { z } from 'zod'
import type { Application } from '../schema/application.ts'
import { compareAnswer, compareRequest, matchAnswer, matchRequest } from '../schema/lots.ts'
import type { Routes } from './build.ts'
import { errorBody } from './shapes.ts'

const answers = <S extends z.ZodType>(shape: S) =>
  ({ 200: shape, '4xx': errorBody, '5xx': errorBody }) as unknown as Record<200, z.ZodUnknown>

export function lotRoutes(routes: Routes, { lots }: Pick<Application, 'lots'>): void {
  routes.post('/lots/match', {
    schema: {
      summary: 'Matched sets from the parts of runs on record; changes nothing', body: matchRequest,
      response: answers(matchAnswer),
    },
  }, async request => await lots.match(request.body))

  routes.post('/lots/compare', {
    schema: {
      summary: 'Whether lots differ, by runs or by kind, value or line within them; changes nothing',
      body: compareRequest, response: answers(compareAnswer),
    },
  }, async request => await lots.compare(request.body))
}
