/**
 * The HTTP API: one application object seen through routes, with the OpenAPI document made from the same
 * schemas.
 */
import fastifySwagger from '@fastify/swagger'
import type { IncomingMessage } from 'node:http'
import type { Socket } from 'node:net'
import Fastify, { LogController, type FastifyBaseLogger, type FastifyInstance } from 'fastify'
import { jsonSchemaTransform, type ZodTypeProvider } from 'fastify-type-provider-zod'
import type { z } from 'zod'
import { RealClock, type Clock } from '../base/clock.ts'
import { asBenchError, BenchError, catalogue } from '../base/errors.ts'
import type { Log } from '../base/log.ts'
import type { Application } from '../schema/application.ts'
import { parseWith } from '../schema/read-file.ts'
import { onlyFor } from './addressee.ts'
import { benchRoutes, stopRoute } from './bench-routes.ts'
import { feedRoute } from './feed.ts'
import { guard, type View } from './guard.ts'
import { apiLimits } from './limits.ts'
import { lotRoutes } from './lot-routes.ts'
import { apiPrefix, isStop, stopPath } from './paths.ts'
import { answerBadAddress, answerOnSocket } from './refusals.ts'
import { poweringRoutes } from './powering-routes.ts'
import { runRoutes } from './run-routes.ts'
import { screeningRoutes } from './screening-routes.ts'
import { stopBody } from './shapes.ts'
import { unitRoutes } from './unit-routes.ts'
import { watchForStops } from './stop-sight.ts'

export interface ApiOptions {
  /** Shown in the OpenAPI document. */
  software?: string
  /** Who this daemon is, as its note says: requests for another one are not answered. */
  id?: string
  log?: Log
  /** Whose view this is; `here` when left out, which answers only to the loopback address. */
  view?: View
  /** Certificate and key, PEM. */
  tls?: Tls | null
  /** Real time of the watching person, whatever time the bench keeps. */
  clock?: Clock
}

export interface Tls { readonly cert: string; readonly key: string }
export type Api = FastifyInstance
/** A fastify instance that knows the zod schemas of its routes. */
export type Routes = ReturnType<typeof typed>

/** Builds the API without listening; `inject` serves tests in process. */
export function buildApi(app: Application, options: ApiOptions = {}): Api {
  const api = server(app, options)
  api.setValidatorCompiler(
    ({ schema, httpPart }) => value => judge(schema as z.ZodType, value, httpPart ?? 'request')
  )
  // What the application gives is trusted; a screen must not go dark over a number that is not one.
  api.setSerializerCompiler(() => value => JSON.stringify(value))
  readJson(api)
  answerErrors(api)
  if (options.id !== undefined) api.addHook('onRequest', onlyFor(options.id))
  api.addHook('onRequest', guard(options.view ?? { from: 'here' }))
  void api.register(fastifySwagger, {
    openapi: {
      openapi: '3.1.0',
      info: {
        title: 'Nightbench', version: options.software ?? '0',
        description: 'Times ending in Ms are milliseconds, values are in SI units, '
          + 'null where there is no number.',
      },
    },
    transform: jsonSchemaTransform,
  })
  void api.register(async scope => {
    const routes = typed(scope)
    benchRoutes(routes, app)
    runRoutes(routes, app)
    screeningRoutes(routes, app)
    poweringRoutes(routes, app)
    lotRoutes(routes, app)
    unitRoutes(routes, app)
    const clock = options.clock ?? new RealClock()
    await scope.register(async inner => stopRoute(inner, app, clock))
    feedRoute(routes, app, clock)
    scope.get('/openapi.json', { schema: { hide: true } }, () => api.swagger())
  }, { prefix: apiPrefix })
  return api
}

/**
 * Listens on the loopback address unless told otherwise; returns the URL. LINK_BUSY when the port is taken.
 */
export async function listen(api: Api, at: { host?: string; port: number }): Promise<string> {
  try {
    return await api.listen({ host: at.host ?? '127.0.0.1', port: at.port })
  } catch (error) {
    const taken = (error as NodeJS.ErrnoException).code === 'EADDRINUSE'
    throw taken ? new BenchError('LINK_BUSY', `port ${at.port} is taken`, {}, error) : asBenchError(error)
  }
}

function server(app: Application, { log, tls }: ApiOptions): Api {
  const limits = {
    maxHeaderSize: apiLimits.headerBytes, headersTimeout: apiLimits.headersMs,
    connectionsCheckingInterval: 1000,
    // The guard says who asks for what name, and a stop needs none.
    requireHostHeader: false,
  }
  const shared = {
    bodyLimit: apiLimits.bodyBytes, requestTimeout: apiLimits.requestMs,
    keepAliveTimeout: apiLimits.keepAliveMs,
    forceCloseConnections: true, routerOptions: { maxParamLength: 100 },
    frameworkErrors: answerBadAddress, return503OnClosing: false,
    rewriteUrl: (request: IncomingMessage) => isStop(request) ? stopPath : request.url ?? '/',
    clientErrorHandler: stopsFirst(app, log, socket => namedStop(socket)),
    logController: new LogController({ disableRequestLogging: true }),
    ...(log ? { loggerInstance: log as FastifyBaseLogger } : {}),
  }
  const api = tls
    ? Fastify({ ...shared, https: { ...limits, ...tls, minVersion: 'TLSv1.2' } }) as unknown as Api
    : Fastify({ ...shared, http: limits })
  const namedStop = watchForStops(api.server, Boolean(tls))
  api.server.maxConnections = apiLimits.connections
  // An expectation that nobody knows is passed over: it must not keep a stop away.
  api.server.on('checkExpectation', (request, response) => api.server.emit('request', request, response))
  return api
}

/** A stop whose head cannot be read stops all the same, and is then told what was wrong with it. */
function stopsFirst(
  app: Application, log: Log | undefined, namedStop: (socket: Socket) => boolean,
): typeof answerOnSocket {
  return (error, socket) => {
    if (!namedStop(socket)) { answerOnSocket(error, socket); return }
    const answer = (): void => answerOnSocket(error, socket)
    app.stop(stopBody.parse({}).reason).then(answer, (err: unknown) => {
      log?.error({ err }, 'a stop failed')
      answer()
    })
  }
}

const typed = (scope: FastifyInstance) => scope.withTypeProvider<ZodTypeProvider>()

function judge(schema: z.ZodType, value: unknown, part: string): { value: unknown } | { error: Error } {
  const parsed = parseWith(schema, value ?? {}, { file: part })
  if (parsed.ok) return { value: parsed.value }
  const first = parsed.problems[0]!
  const more = parsed.problems.length > 1 ? ` (and ${parsed.problems.length - 1} more)` : ''
  return { error: new BenchError('USAGE', `the request does not fit${more}`, {
    path: first.path, expected: first.expected, got: first.got, problems: parsed.problems,
  }) }
}

/** JSON as the server layer reads it, and the true reason where it refuses what is JSON. */
function readJson(api: Api): void {
  const usual = api.getDefaultJsonParser('error', 'error')
  api.addContentTypeParser('application/json', { parseAs: 'string' }, (request, body: string, done) => {
    // It calls back at once.
    void usual(request, body, (error, value) => done(error && isJson(body) ? forbiddenKey() : error, value))
  })
}

const forbiddenKey = (): BenchError => new BenchError('USAGE', 'the request has a key that none may have', {
  expected: 'neither `__proto__` nor a `constructor` with a `prototype`', got: 'one of them',
})

function isJson(text: string): boolean {
  try { JSON.parse(text); return true } catch { return false }
}

/** Every answer that is not a success has the one error shape. */
function answerErrors(api: Api): void {
  api.setErrorHandler((error, request, reply) => {
    const told = told4xx(error) ?? asBenchError(error)
    const status = catalogue[told.code].http
    if (status >= 500) request.log.error({ err: told }, 'a request failed')
    void reply.code(told === error || status >= 500 ? status : statusOf(error)).send(told.toJSON())
  })
  api.setNotFoundHandler((request, reply) => {
    const error = new BenchError(
      'NOT_FOUND', `there is no ${request.method} ${request.url.split('?')[0]!.slice(0, 200)}`
    )
    void reply.code(404).send(error.toJSON())
  })
}

/** What fastify itself refuses: a body too long, JSON that is none, a content type nobody reads. */
function told4xx(error: unknown): BenchError | undefined {
  if (error instanceof BenchError) return error
  const status = statusOf(error)
  return status < 500 ? new BenchError('USAGE', (error as Error).message, {}, error) : undefined
}

function statusOf(error: unknown): number { return (error as { statusCode?: number }).statusCode ?? 500 }
