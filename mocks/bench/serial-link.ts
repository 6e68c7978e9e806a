/** An instrument on a pseudo terminal: a serial port without a cable. */
import type { Instrument } from '../instruments/instrument.ts'
import { openPty } from '../pty.ts'
import type { Served } from './links.ts'

/** Undefined where the host has no pseudo terminals; the instrument is then reached over TCP. */
export async function serveSerial({ device }: Instrument, baud: number): Promise<Served | undefined> {
  const pty = await openPty().catch(() => undefined)
  if (!pty) return undefined
  pty.onBytes(chunk => device.receive(chunk, bytes => pty.write(bytes)))
  device.onDisconnect = () => pty.close()
  return { url: `serial:${pty.path}?baud=${baud}`, close: () => pty.close() }
}
