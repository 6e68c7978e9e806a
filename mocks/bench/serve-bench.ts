/** A simulated rack as a process sees it from outside: sockets, pseudo terminals, time and control. */
import { RealClock, type Clock } from '../../src/base/clock.ts'
import { control, serveControl, type ControlRequest } from './control.ts'
import { instrumentNames, type InstrumentName } from './layout.ts'
import { LedTime, TimeServer } from './led-time.ts'
import type { Scenario } from './scenario.ts'
import { serveInstruments, type LinkOptions } from './serve-instruments.ts'
import { SimBench, type BenchFaults } from './sim-bench.ts'

export interface ServeOptions extends LinkOptions {
  readonly seed: number
  readonly scenario: Scenario
  readonly faults?: BenchFaults
  /** Real time with real delays, and no time server. */
  readonly realtime?: boolean
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
  const links = await serveInstruments(
    instrumentNames.map(name => bench.instrument(name)), options, serialBauds)
  const server = time && new TimeServer(time)
  const timeUrl = server && await server.listen()
  const door = await serveControl(request => control(bench, request as ControlRequest))
  return {
    bench, benchFile: bench.benchFile(links.urls, timeUrl ?? undefined), timeUrl, controlUrl: door.url,
    close: () => { server?.close(); links.close(); door.close() },
  }
}
