/** Routes of whole units: looking is for all who may look; beginning and going on are done at the bench. */
import { z } from 'zod'
import type { Application } from '../schema/application.ts'
import { goOnAsked, poweringPlan, poweringRequest, poweringStatus } from '../schema/powering.ts'
import type { Routes } from './build.ts'
import { answers, runShape } from './shapes.ts'

export function poweringRoutes(routes: Routes, { powering }: Pick<Application, 'powering'>): void {
  routes.get('/powering', {
    schema: {
      summary: 'The run of a unit that goes on: its stage, what waits for a person; null without one',
      response: answers(200, poweringStatus.nullable()),
    },
  }, async (_request, reply) =>
    // A bare null would be sent as an empty body.
    await reply.type('application/json; charset=utf-8').send(JSON.stringify(powering.status())))

  routes.post('/powering/plan', {
    schema: {
      summary: 'What would be done to a unit on the stand; touches nothing', body: poweringRequest,
      response: answers(200, poweringPlan),
    },
  }, async request => await powering.plan(request.body))

  routes.post('/powering', {
    schema: { summary: 'Begin a run of a unit', body: poweringRequest, response: answers(202, runShape) },
  }, async (request, reply) => await reply.code(202 as 200).send(await powering.begin(request.body)))

  routes.post('/powering/go-on', {
    schema: {
      summary: 'A person at the bench says to go on with the step that waits', body: goOnAsked,
      response: answers(200, z.strictObject({ done: z.literal(true) })),
    },
  }, async request => {
    await powering.goOn(request.body.id, request.body.person)
    return { done: true }
  })
}
