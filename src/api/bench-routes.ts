/** Routes of the bench as a whole: how it stands, what it can do, stop. */
import type { Readable } from 'node:stream'
import type { FastifyInstance } from 'fastify'
import { z } from 'zod'
import type { Clock } from '../base/clock.ts'
import type { Application } from '../schema/application.ts'
import {
  benchStatus, continueRequest, plan, portEntry, probeAnswer, safeOffReport, startRequest
} from '../schema/application.ts'
import type { Routes } from './build.ts'
import { apiLimits } from './limits.ts'
import { stopRoutePath } from './paths.ts'
import {
  acknowledgeBody, answers, idParams, instrumentShape, presenceBody, runShape, sequenceShape, stopBody,
} from './shapes.ts'

export function benchRoutes(routes: Routes, app: Application): void {
  routes.get('/status', {
    schema: { summary: 'How the bench stands', response: answers(200, benchStatus) },
  }, () => app.status())

  routes.get('/sequences', {
    schema: { summary: 'What the bench can do', response: answers(200, z.array(sequenceShape)) },
  }, () => app.sequences())

  routes.get('/instruments', {
    schema: {
      summary: 'Ask every instrument who it is, and what its profile can ask without changing anything',
      response: answers(200, z.array(instrumentShape)),
    },
  }, async () => await app.checkInstruments())

  routes.post('/instruments/check', {
    schema: {
      summary: 'Ask the named instruments who they are',
      body: z.strictObject({ names: z.array(z.string().min(1).max(64)).min(1).max(100) }),
      response: answers(200, z.array(instrumentShape)),
    },
  }, async request => await app.checkInstruments(request.body.names))

  routes.get('/ports', {
    schema: { summary: 'Ports of this computer; none is opened', response: answers(200, z.array(portEntry)) },
  }, async () => await app.listPorts())

  routes.post('/ports/probe', {
    schema: {
      summary: 'Open one port and ask *IDN?, nothing else; opening can reset some boards',
      body: z.strictObject({ url: z.string().min(1).max(500) }), response: answers(200, probeAnswer),
    },
  }, async request => await app.probe(request.body.url))

  routes.post('/plan', {
    schema: {
      summary: 'What would be done; touches nothing', body: startRequest, response: answers(200, plan)
    },
  }, async request => await app.plan(request.body))

  routes.post('/runs', {
    schema: { summary: 'Start a run', body: startRequest, response: answers(202, runShape) },
  }, async (request, reply) => await reply.code(202 as 200).send(await app.start(request.body)))

  continueRoutes(routes, app)

  routes.post('/acknowledge', {
    schema: {
      summary: 'Release a latched trip', body: acknowledgeBody,
      response: answers(200, z.strictObject({ acknowledged: z.literal(true) })),
    },
  }, async request => {
    await app.acknowledge(request.body.reason, request.body.person)
    return { acknowledged: true }
  })

  routes.post('/presence', {
    schema: {
      summary: 'Say that somebody is at the bench, in attended use', body: presenceBody,
      response: answers(200, z.strictObject({ present: z.literal(true) })),
    },
  }, async request => {
    await app.confirmPresence(request.body.person)
    return { present: true }
  })
}

/** A run that did not reach its end. */
function continueRoutes(routes: Routes, app: Application): void {
  routes.post('/runs/:id/continue', {
    schema: {
      summary: 'Start the newest run again, where it did not reach its end, as a new run that names it',
      params: idParams, body: continueRequest, response: answers(202, runShape),
    },
  }, async (request, reply) =>
    await reply.code(202 as 200).send(await app.continueRun(request.params.id, request.body)))

  routes.post('/runs/:id/close', {
    schema: {
      summary: 'Say that a run that did not reach its end will not be continued', params: idParams,
      body: acknowledgeBody, response: answers(200, z.strictObject({ closed: z.literal(true) })),
    },
  }, async request => {
    await app.closeRun(request.params.id, request.body.reason, request.body.person)
    return { closed: true }
  })
}

/**
 * In a scope of its own: a body that makes no sense, is too long or does not come must not keep anybody from
 * stopping.
 */
export function stopRoute(scope: FastifyInstance, app: Application, clock: Clock): void {
  scope.removeAllContentTypeParsers()
  // A content type that cannot be read would be refused before any parser is asked.
  scope.addHook('onRequest', async request => { delete request.raw.headers['content-type'] })
  scope.addContentTypeParser('*', (_request, body, done) =>
    beginningOf(body, clock, text => done(null, text)))
  scope.post(stopRoutePath, {
    schema: { summary: 'Make the bench safe; always allowed. Body: {"reason": text}', response: answers(200,
      safeOffReport) },
  }, async request => await app.stop(reasonOf(request.body)))
}

/** What came of a body within its bounds; never waits longer, and never fails. */
function beginningOf(body: Readable, clock: Clock, then: (text: string) => void): void {
  const chunks: Buffer[] = []
  let bytes = 0
  let ended = false
  const cancel = clock.after(apiLimits.stopBodyMs, end)
  function end(): void {
    if (ended) return
    ended = true
    cancel()
    then(Buffer.concat(chunks).toString('utf8'))
  }
  body.on('data', (chunk: Buffer) => {
    if (ended) return
    chunks.push(chunk)
    bytes += chunk.length
    if (bytes > apiLimits.stopBodyBytes) end()
  })
  body.on('end', end)
  body.on('error', end)
}

function reasonOf(body: unknown): string {
  try {
    return stopBody.parse(JSON.parse(String(body))).reason
  } catch {
    return stopBody.parse({}).reason
  }
}
