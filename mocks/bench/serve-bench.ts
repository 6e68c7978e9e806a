/** A simulated bench as a process sees it from outside: sockets, pseudo terminals, time and control. */
import { RealClock, type Clock } from '../../src/base/clock.ts'
import { serveControl } from './control.ts'
import { instrumentNames, type InstrumentName } from './layout.ts'
import { LedTime, TimeServer } from './led-time.ts'
import { serveTcp, type Served } from './links.ts'
import type { Scenario } from './scenario.ts'
import { serveSerial } from './serial-link.ts'
import { SimBench, type BenchFaults } from './sim-bench.ts'

export interface ServeOptions {
  readonly seed: number
  readonly scenario: Scenario
  readonly faults?: BenchFaults
  /** Real time with real delays, and no time server. */
  readonly realtime?: boolean
  /** Supply, relay board and cutoff on pseudo terminals where the host has them. */
  readonly serial?: boolean
  /** First of fixed ports, one an instrument in the order of layout.ts; the host chooses when left out. */
  readonly basePort?: number
  /** What the wall reads when bench time is zero; now when left out. */
  readonly wallStartMs: number
}

export interface ServedBench {
  readonly bench: SimBench
  readonly benchFile: object
  /** null in real time. */
  readonly timeUrl: string | null
  /** The control socket; asking it `truth` tells the truth. */
  readonly controlUrl: string
  close(): void
}

/** The instruments that a bench like this one would have on serial lines, and their baud. */
export const serialBauds: Readonly<Partial<Record<InstrumentName, number>>> = {
  psu: 19200, relays: 115200, cutoff: 9600,
}

export async function serveBench(options: ServeOptions): Promise<ServedBench> {
  const time = options.realtime ? null : new LedTime(options.wallStartMs)
  const clock: Clock = time ?? new RealClock()
  // A pseudo terminal passes bytes at once; in real time the instrument accounts for their baud.
  const bauds = options.serial ? serialBauds : {}
  const bench = new SimBench({
    seed: options.seed, scenario: options.scenario, clock, instant: time !== null, bauds,
    ...(options.faults ? { faults: options.faults } : {}),
  })
  const served: Served[] = []
  const urls: Record<string, string> = {}
  for (const [index, name] of instrumentNames.entries()) {
    const link = await serveInstrument(bench, name, options, index)
    served.push(link)
    urls[name] = link.url
  }
  const server = time && new TimeServer(time)
  const timeUrl = server && await server.listen()
  const door = await serveControl(bench)
  return {
    bench, benchFile: bench.benchFile(urls, timeUrl ?? undefined), timeUrl, controlUrl: door.url,
    close: () => { server?.close(); for (const link of [...served, door]) link.close() },
  }
}

async function serveInstrument(
  bench: SimBench, name: InstrumentName, options: ServeOptions, index: number,
): Promise<Served> {
  const instrument = bench.instruments[name]
  const baud = serialBauds[name]
  if (options.serial && baud !== undefined) {
    const serial = await serveSerial(instrument, baud)
    if (serial) return serial
  }
  const port = options.basePort === undefined ? 0 : options.basePort + index
  return serveTcp(instrument, { port, clients: 'many' })
}
