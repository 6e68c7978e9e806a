/**
 * Sees stops in what comes over a connection, before anybody understands it: a head may come in pieces, and
 * what its parser gives up on does not say how it began.
 */
import type { IncomingMessage, Server } from 'node:http'
import type { Socket } from 'node:net'
import { isStop, isStopLine } from './paths.ts'

/** More of a line than this says nothing new of what it asks. */
const lineBytes = 400
const newline = 0x0a

/**
 * One connection. Counts lines that ask for a stop, and stops that became requests: where there are more of
 * the first, one did not. A body that holds such a line counts too, which costs a stop that anybody may send.
 */
class Sight {
  #line = ''
  #named = 0
  #taken = 0

  take(chunk: Buffer): void {
    for (let from = 0; ;) {
      const end = chunk.indexOf(newline, from)
      const until = end < 0 ? chunk.length : end
      const room = lineBytes - this.#line.length
      this.#line += chunk.toString('latin1', from, Math.min(until, from + room))
      if (end < 0) return
      if (isStopLine(this.#line, true)) this.#named++
      this.#line = ''
      from = end + 1
    }
  }

  became(): void { this.#taken++ }

  get leftOver(): boolean { return this.#named + (isStopLine(this.#line, false) ? 1 : 0) > this.#taken }
}

/** Says of a connection of `server` whether it named a stop that no route has got. */
export function watchForStops(server: Server, isTls: boolean): (socket: Socket) => boolean {
  const sights = new WeakMap<Socket, Sight>()
  server.on(isTls ? 'secureConnection' : 'connection', (socket: Socket) => {
    const sight = new Sight()
    sights.set(socket, sight)
    // Before the parser, which may give up on these very bytes.
    socket.prependListener('data', (chunk: Buffer) => sight.take(chunk))
  })
  server.prependListener('request', (request: IncomingMessage) => {
    if (isStop(request)) sights.get(request.socket)?.became()
  })
  return socket => sights.get(socket)?.leftOver === true
}
