/** Routes of units: reading what is on record, for everyone who may look. */
import { z } from 'zod'
import type { Application } from '../schema/application.ts'
import { inService } from '../schema/service.ts'
import {
  earlyFailuresAnswer, earlyFailuresRequest, rackRequest, unitRecordRequest, unitRequest,
} from '../schema/unit.ts'
import type { Routes } from './build.ts'
import { answers, resultShape } from './shapes.ts'

const newest = z.strictObject({
  run: z.string(), sequence: z.string(), startedWallMs: z.number(), person: z.string(), result: resultShape,
  volts: z.number().nullable(), ratedV: z.number().nullable(),
})
const unitParts = z.strictObject({
  unit: z.string(),
  parts: z.array(z.strictObject({
    designator: z.string(), newest: newest.nullable(), stands: newest.nullable(),
    inService: inService.nullable(),
  })),
  runs: z.number().int(), wasAll: z.boolean(),
})
const proposedRack = z.strictObject({
  ratedV: z.number().nullable(),
  parts: z.array(z.strictObject({
    position: z.string(), part: z.string(), profile: z.string(), ratedV: z.number(), capacitanceF: z.number(),
  })),
  left: z.array(z.strictObject({ designator: z.string(), why: z.string() })),
})

export function unitRoutes(routes: Routes, { units }: Pick<Application, 'units'>): void {
  routes.post('/units/parts', {
    schema: {
      summary: 'The newest result of each part of a unit; changes nothing', body: unitRequest,
      response: answers(200, unitParts),
    },
  }, async request => await units.parts(request.body))

  routes.post('/units/record', {
    schema: {
      summary: 'The test record of one unit: its parts, first power, burn-in and figures; changes nothing',
      body: unitRecordRequest,
    },
  }, async (request, reply) => {
    const type = request.body.format === 'html' ? 'text/html' : 'application/json'
    return await reply.type(`${type}; charset=utf-8`).send(await units.record(request.body))
  })

  routes.post('/units/early-failures', {
    schema: {
      summary: 'What the hours of burn-in of all units of one profile show of failures',
      body: earlyFailuresRequest, response: answers(200, earlyFailuresAnswer),
    },
  }, async request => await units.earlyFailures(request.body.unit))

  routes.post('/units/rack', {
    schema: {
      summary: 'A rack list for parts that are to be formed, for this bench; changes nothing',
      body: rackRequest,
      response: answers(200, proposedRack),
    },
  }, request => units.rack(request.body))
}
