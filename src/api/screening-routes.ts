/** Routes of screening: looking is for everyone who may look; beginning and deeds are done at the bench. */
import { z } from 'zod'
import type { Application } from '../schema/application.ts'
import { deedAsked, screenPlan, screenRequest, screenStatus } from '../schema/screening.ts'
import type { Routes } from './build.ts'
import { answers, runShape } from './shapes.ts'

export function screeningRoutes(routes: Routes, { screening }: Pick<Application, 'screening'>): void {
  routes.get('/screening', {
    schema: {
      summary: 'The session that goes on: what is asked, what was told last; null without one',
      response: answers(200, screenStatus.nullable()),
    },
  }, async (_request, reply) =>
    // A bare null would be sent as an empty body.
    await reply.type('application/json; charset=utf-8').send(JSON.stringify(screening.status())))

  routes.post('/screening/plan', {
    schema: {
      summary: 'What would be done to a parts list at the jig; touches nothing', body: screenRequest,
      response: answers(200, screenPlan),
    },
  }, async request => await screening.plan(request.body))

  routes.post('/screening', {
    schema: { summary: 'Begin a screening session', body: screenRequest, response: answers(202, runShape) },
  }, async (request, reply) => await reply.code(202 as 200).send(await screening.begin(request.body)))

  routes.post('/screening/deed', {
    schema: {
      summary: 'What a person does in the session', body: deedAsked,
      response: answers(200, z.strictObject({ done: z.literal(true) })),
    },
  }, request => {
    screening.do(request.body.does, request.body.at)
    return { done: true }
  })
}
