/**
 * Who may ask. Stopping is always allowed: a stop nobody should have sent costs a night, a stop refused
 * may cost more.
 */
import { createHash, timingSafeEqual } from 'node:crypto'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { BenchError } from '../base/errors.ts'

const stopPath = '/api/v1/stop'

/**
 * With a token, every request but `stop` must carry it. Without one, only requests that name a loopback
 * host are
 * answered, and only from pages of that host: so no web page that a browser on this computer shows can
 * reach the bench.
 */
export function guard(token: string | undefined) {
  return async (request: FastifyRequest, reply: FastifyReply): Promise<void> => {
    if (request.method === 'POST' && request.url.split('?')[0] === stopPath) return
    const refusal = token === undefined ? localRefusal(request) : tokenRefusal(request, token)
    if (refusal === null) return
    const error = new BenchError('REFUSED', refusal.what)
    await reply.code(refusal.status).send(error.toJSON())
  }
}

/** A name or address of this computer's own loopback. */
export const isLoopback = (host: string): boolean =>
  host === 'localhost' || host === '::1' || host === '[::1]' || /^127(\.\d{1,3}){3}$/.test(host)

interface Refused { status: 401 | 403; what: string }

function tokenRefusal(request: FastifyRequest, token: string): Refused | null {
  const given = /^Bearer (.+)$/.exec(request.headers.authorization ?? '')?.[1] ?? ''
  return timingSafeEqual(digest(given), digest(token)) ? null : {
    status: 401, what: 'this request needs the token'
  }
}

function localRefusal(request: FastifyRequest): Refused | null {
  if (!isLoopback(nameOf(request.headers.host))) return {
    status: 403, what: 'this bench answers only to its own computer'
  }
  const { origin } = request.headers
  if (origin === undefined) return null
  const own = URL.canParse(origin) && new URL(origin).host === request.headers.host
  return own ? null : { status: 403, what: 'this bench does not answer to pages of other sites' }
}

const nameOf = (host: string | undefined): string => (host ?? '').replace(/:\d+$/, '')

const digest = (text: string): Buffer => createHash('sha256').update(text).digest()
