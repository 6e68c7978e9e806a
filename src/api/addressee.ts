/**
 * Whom a request is for. The note of a daemon that was killed leads to whoever took its port since: what was
 * meant for the one must not be done by the other, least of all a stop.
 */
import type { FastifyReply, FastifyRequest } from 'fastify'
import { daemonHeader } from '../base/daemon-file.ts'
import { BenchError } from '../base/errors.ts'

/** Misdirected Request (RFC 9110, 15.5.20). */
const misdirected = 421

/** Says `id` in each answer, and answers nothing that names another. */
export function onlyFor(id: string) {
  return async (request: FastifyRequest, reply: FastifyReply): Promise<void> => {
    void reply.header(daemonHeader, id)
    const asked = request.headers[daemonHeader]
    if (asked === undefined || asked === id) return
    const error = new BenchError('DAEMON_GONE', 'this is another daemon than the one that was asked')
    await reply.code(misdirected).send(error.toJSON())
  }
}
