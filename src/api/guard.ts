/**
 * Who may ask, and for what. Stopping is always allowed: a stop nobody should have sent costs a night, a stop
 * refused may cost more.
 */
import type { FastifyReply, FastifyRequest } from 'fastify'
import { BenchError } from '../base/errors.ts'
import { isLoopback } from '../base/loopback.ts'
import { isToken } from '../base/token.ts'
import { apiPrefix, isStop } from './paths.ts'

/**
 * `here`: the loopback address of the bench host; whoever can log in there is taken to be at the bench.
 * `elsewhere`: looks and stops, with a token. `origin`: the one address whose pages may ask; null takes the
 * listener's own.
 */
export type View =
  | { readonly from: 'here' }
  | { readonly from: 'elsewhere'; readonly tokenHash: string; readonly origin: string | null }

/** What one may ask from elsewhere. Anything new is not on it until somebody has thought about it. */
const remoteRoutes: ReadonlySet<string> = new Set([
  'GET /status', 'GET /sequences', 'GET /ports', 'POST /plan', 'POST /stop', 'GET /feed',
  'GET /openapi.json', 'GET /runs', 'GET /runs/:id', 'GET /runs/:id/events', 'GET /runs/:id/results',
  'GET /runs/:id/channels', 'GET /screening', 'POST /screening/plan', 'GET /powering',
  'POST /powering/plan', 'POST /lots/match', 'POST /lots/compare', 'POST /lots/sheet', 'POST /lots/gauge',
  'GET /lots/sources', 'POST /units/parts', 'POST /units/rack', 'POST /units/record',
  'POST /units/early-failures', 'GET /runs/:id/series', 'GET /runs/:id/readings', 'GET /runs/:id/record',
  'GET /parts/:id/record',
].map(route => route.replace(' ', ` ${apiPrefix}`)))

/** Headers that a proxy adds. Where none was declared, one is taken for a hole, not for a helper. */
const proxyHeaders = ['forwarded', 'x-forwarded-for', 'x-forwarded-host', 'x-real-ip', 'via']

export function guard(view: View) {
  return async (request: FastifyRequest, reply: FastifyReply): Promise<void> => {
    void reply.headers(plainHeaders)
    if (isStop(request)) return
    const refusal = view.from === 'here' ? localRefusal(request) : remoteRefusal(request, view)
    if (refusal === null) return
    const error = new BenchError('REFUSED', refusal.what)
    await reply.code(refusal.status).send(error.toJSON())
  }
}

/** Nothing of ours is run, framed, guessed at or kept by a browser. */
const plainHeaders = {
  'content-security-policy': "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    + "frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
  'x-content-type-options': 'nosniff', 'referrer-policy': 'no-referrer',
  'cross-origin-resource-policy': 'same-origin', 'cache-control': 'no-store',
}

interface Refused { status: 401 | 403; what: string }
const forbidden = (what: string): Refused => ({ status: 403, what })

/**
 * The name in the request must be a loopback one, or a page could reach the bench by a name of its own that
 * leads here.
 */
function localRefusal(request: FastifyRequest): Refused | null {
  const { headers } = request
  if (!isLoopback(nameOf(headers.host)) || !isLoopback(request.socket.remoteAddress ?? '')) {
    return forbidden('this bench answers only to its own computer')
  }
  const proxy = proxyHeaders.find(name => headers[name] !== undefined)
  if (proxy !== undefined) {
    return forbidden(`this came through a proxy (${proxy}) that was not declared; see --behind-proxy`)
  }
  return pageRefusal(request, `http://${headers.host}`)
}

function remoteRefusal(request: FastifyRequest, view: View & { from: 'elsewhere' }): Refused | null {
  const given = /^Bearer ([\x21-\x7e]{1,200})$/.exec(request.headers.authorization ?? '')?.[1] ?? ''
  if (!isToken(given, view.tokenHash)) return { status: 401, what: 'this request needs the token' }
  const foreign = pageRefusal(request, view.origin ?? `https://${request.headers.host}`)
  if (foreign !== null) return foreign
  const { url } = request.routeOptions
  const method = request.method === 'HEAD' ? 'GET' : request.method
  // Where there is no such route, 404 is the answer.
  if (url === undefined || remoteRoutes.has(`${method} ${url}`)) return null
  return forbidden('from elsewhere one may look and stop; this is done at the bench')
}

/** A request that a page of another site made. What is no browser sends neither header. */
function pageRefusal({ headers }: FastifyRequest, own: string): Refused | null {
  const site = headers['sec-fetch-site']
  const isForeign = (headers.origin !== undefined && headers.origin !== own)
    || (site !== undefined && site !== 'same-origin' && site !== 'none')
  return isForeign ? forbidden('this bench does not answer to pages of other sites') : null
}

const nameOf = (host: string | undefined): string => (host ?? '').replace(/:\d+$/, '')
