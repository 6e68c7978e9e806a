/**
 * What the server layer refuses before any route sees it, in the one error shape: bytes that are no request,
 * headers too long, a request that does not come, an address that is none.
 */
import { STATUS_CODES } from 'node:http'
import type { Socket } from 'node:net'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { BenchError } from '../base/errors.ts'
import { apiLimits } from './limits.ts'

/** Answers on the bare socket and ends it: there is no request that could be answered. */
export function answerOnSocket(error: NodeJS.ErrnoException, socket: Socket): void {
  if (error.code === 'ECONNRESET' || socket.destroyed) return
  const { status, what } = refusalOf(error.code)
  if (socket.writable) {
    const body = JSON.stringify(new BenchError('USAGE', what).toJSON())
    socket.write([
      `HTTP/1.1 ${status} ${STATUS_CODES[status]}`, 'Content-Type: application/json; charset=utf-8',
      `Content-Length: ${Buffer.byteLength(body)}`, 'Connection: close', '', body,
    ].join('\r\n'))
  }
  socket.destroy(error)
}

function refusalOf(code: string | undefined): { status: number; what: string } {
  switch (code) {
    case 'HPE_HEADER_OVERFLOW':
      return { status: 431, what: `address and headers are longer than ${apiLimits.headerBytes} bytes` }
    case 'ERR_HTTP_REQUEST_TIMEOUT':
      return { status: 408, what: 'the request did not come whole in its time' }
    default:
      return { status: 400, what: 'this is no HTTP request' }
  }
}

/** An address that cannot be read, or a name in it that is longer than any. */
export function answerBadAddress(
  error: Error & { statusCode?: number }, _request: FastifyRequest, reply: FastifyReply,
): void {
  const told = new BenchError('USAGE', error.message.slice(0, 300))
  void reply.code(error.statusCode ?? 400).send(told.toJSON())
}
