/** Ways to reach a simulated instrument: inside the process, over TCP, over a pseudo terminal. */
import { createServer, type AddressInfo, type Server, type Socket } from 'node:net'
import type { Instrument } from '../instruments/instrument.ts'
import type { Reply } from '../scpi-device/device.ts'

/** The device side of a memory link (the shape that src/transport/memory.ts takes). */
export interface MemoryEnd {
  onBytes(chunk: Uint8Array, reply: Reply): void
  onClose(): void
  onClear(): void
}

/** Losing or clearing the link drops half lines and answers under way; the instrument itself goes on. */
export function memoryEnd({ device }: Instrument): MemoryEnd {
  return {
    onBytes: (chunk, reply) => device.receive(chunk, reply),
    onClose: () => device.dropInput(),
    onClear: () => device.dropInput(),
  }
}

export interface Served { readonly url: string; close(): void }

export interface TcpOptions {
  readonly port?: number
  /**
   * `one`: a second client connects and waits unanswered until the first is gone, as small instruments do.
   */
  readonly clients?: 'one' | 'many'
}

/** Serves the instrument on loopback; port 0 or none lets the host choose. */
export async function serveTcp(
  { device }: Instrument, { port = 0, clients = 'one' }: TcpOptions = {},
): Promise<Served> {
  const sockets: Socket[] = []
  const talk = (socket: Socket): void => {
    const reply: Reply = bytes => { if (socket.writable) socket.write(bytes) }
    socket.on('data', chunk => device.receive(chunk, reply))
  }
  const server = createServer({ noDelay: true }, socket => {
    sockets.push(socket)
    socket.on('error', () => {})
    socket.on('close', () => {
      const wasFirst = sockets[0] === socket
      sockets.splice(sockets.indexOf(socket), 1)
      if (clients === 'many' || !wasFirst) return
      device.dropInput()
      if (sockets[0]) talk(sockets[0])
    })
    if (clients === 'many' || sockets.length === 1) talk(socket)
  })
  device.onDisconnect = () => { for (const socket of [...sockets]) socket.destroy() }
  await listening(server, port)
  return {
    url: `tcp://127.0.0.1:${(server.address() as AddressInfo).port}`,
    close: () => { server.close(); for (const socket of sockets) socket.destroy() },
  }
}

export function listening(server: Server, port: number): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', reject)
    server.listen(port, '127.0.0.1', () => { server.off('error', reject); resolve() })
  })
}
