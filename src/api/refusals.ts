/**
 * What the server layer refuses before any route sees it, in the one error shape: bytes that are no request,
 * headers too long, a request that does not come, an address that is none.
 */
import { STATUS_CODES } from 'node:http'
import type { Socket } from 'node:net'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { BenchError } from '../base/errors.ts'
import { apiLimits } from './limits.ts'

/** What the parser adds to its errors: the bytes it was reading. */
type Unread = NodeJS.ErrnoException & { rawPacket?: unknown }

/** Whether bytes that are no request begin as a stop does. Where only a chunk is wrong, its route has it. */
export function namesStop({ code, rawPacket }: Unread, prefix: string): boolean {
  if (code === 'HPE_INVALID_CHUNK_SIZE') return false
  const first = Buffer.isBuffer(rawPacket) ? rawPacket.toString('latin1', 0, 200) : ''
  const [method, target] = first.split(/[ \r\n]/)
  return method === 'POST' && target?.split('?')[0] === `${prefix}/stop`
}

/** Answers on the bare socket and ends it: there is no request that could be answered. */
export function answerOnSocket(error: Unread, socket: Socket): void {
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
