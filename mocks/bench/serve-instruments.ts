/** Puts every instrument of a bench on a link of its own: TCP, or a pseudo terminal. */
import type { Instrument } from '../instruments/instrument.ts'
import { serveTcp, type Served } from './links.ts'
import { serveSerial } from './serial-link.ts'

export interface LinkOptions {
  /** Those with a baud on pseudo terminals, where the host has them. */
  readonly serial?: boolean
  /** First of fixed ports, one an instrument in order; the host chooses when left out. */
  readonly basePort?: number
}

export interface ServedInstruments {
  readonly urls: Readonly<Record<string, string>>
  close(): void
}

export async function serveInstruments(
  instruments: readonly Instrument[], { serial = false, basePort }: LinkOptions,
  bauds: Readonly<Record<string, number>>,
): Promise<ServedInstruments> {
  const served = new Map<string, Served>()
  for (const [index, instrument] of instruments.entries()) {
    const baud = serial ? bauds[instrument.name] : undefined
    const link = baud === undefined ? undefined : await serveSerial(instrument, baud)
    const port = basePort === undefined ? 0 : basePort + index
    served.set(instrument.name, link ?? await serveTcp(instrument, { port, clients: 'many' }))
  }
  return {
    urls: Object.fromEntries([...served].map(([name, { url }]) => [name, url])),
    close: () => { for (const link of served.values()) link.close() },
  }
}
