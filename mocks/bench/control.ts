/**
 * The back door of a simulated bench, for tests and the demo: reveal the truth, break things, turn the key.
 * One JSON object a line in, one out; docs/simulated-bench-time.md lists the requests.
 */
import { createServer, type AddressInfo } from 'node:net'
import type { FaultKind, FaultSpec } from '../scpi-device/faults.ts'
import type { SimInstrument } from '../instruments/instrument.ts'
import { listening, type Served } from './links.ts'
import type { FixtureFault, SharedFault, SimBench } from './sim-bench.ts'

/** What every bench can be asked of its instruments. */
export type InstrumentRequest =
  | { do: 'fault'; instrument: string; fault: FaultSpec }
  | { do: 'mend'; instrument: string; kind?: FaultKind }
  | { do: 'effects'; instrument: string; what?: string }
  | { do: 'last'; instrument: string; what: string }
  | { do: 'received'; instrument: string }
  | { do: 'power-cycle'; instrument: string }

export type ControlRequest = InstrumentRequest
  | { do: 'truth' } | { do: 'audit' } | { do: 'state' }
  | { do: 'presence'; on: boolean } | { do: 'cover'; closed: boolean }
  | { do: 'fixture-fault'; fault: FixtureFault }
  | { do: 'shared-fault'; fault: SharedFault }

/** Carries out one request and returns what it answers. Throws on one it does not know. */
export function control(bench: SimBench, request: ControlRequest): unknown {
  switch (request.do) {
    case 'truth': return bench.truth()
    case 'audit': return bench.audit()
    case 'state': return stateOf(bench)
    case 'presence': bench.switches.present = request.on; return true
    case 'cover': bench.switches.coverClosed = request.closed; return true
    case 'fixture-fault': bench.fixtureFault(request.fault); return true
    case 'shared-fault': bench.sharedFault(request.fault); return true
    default: return controlInstrument(bench, request)
  }
}

/** The same of a request about one instrument. */
export function controlInstrument(
  bench: { instrument(name: string): SimInstrument }, request: InstrumentRequest,
): unknown {
  switch (request.do) {
    case 'fault': bench.instrument(request.instrument).device.faults.set(request.fault); return true
    case 'mend': bench.instrument(request.instrument).device.faults.clear(request.kind); return true
    case 'effects': return bench.instrument(request.instrument).device.effects.list(request.what)
    case 'last': return bench.instrument(request.instrument).device.effects.last(request.what) ?? null
    case 'received': return bench.instrument(request.instrument).device.received.list()
    case 'power-cycle': bench.instrument(request.instrument).device.powerCycle(); return true
    default: throw new Error(`no such request: ${JSON.stringify(request)}`)
  }
}

function stateOf(bench: SimBench): object {
  const wiring = bench.now()
  const { psu, cutoff, relays, beacon } = bench.instruments
  return {
    /** What effects and received lines are stamped with: it began when the process did, bench time later. */
    atMs: bench.clock.monotonicMs(), nowMs: bench.nowMs,
    busV: wiring.busV(), supplyV: wiring.supplyOutputV(), supplyDriven: psu.core.driven,
    contactorClosed: cutoff.contact, relaysHeld: relays.coils.size, lamp: beacon.lamp,
    present: bench.switches.present, coverClosed: bench.switches.coverClosed,
    parts: bench.positions.map(
      ({ name }, i) => ({ position: name, partV: wiring.partV(i), path: wiring.path(i) })
    ),
  }
}

/**
 * Serves what answers requests on loopback: `{"ok":…}` or `{"error":"…"}`, in the order asked, also where an
 * answer takes its time.
 */
export async function serveControl(
  carryOut: (request: unknown) => unknown, port = 0,
): Promise<Served> {
  const server = createServer({ noDelay: true }, socket => {
    let partial = ''
    let before: Promise<void> = Promise.resolve()
    socket.setEncoding('utf8')
    socket.on('error', () => {})
    socket.on('data', text => {
      const lines = (partial + String(text)).split('\n')
      partial = lines.pop()!
      for (const line of lines) {
        before = before.then(async () => {
          const told = await answer(carryOut, line)
          if (socket.writable) socket.write(`${JSON.stringify(told)}\n`)
        })
      }
    })
  })
  await listening(server, port)
  return { url: `tcp://127.0.0.1:${(server.address() as AddressInfo).port}`, close: () => server.close() }
}

async function answer(carryOut: (request: unknown) => unknown, line: string): Promise<object> {
  try {
    return { ok: await carryOut(JSON.parse(line)) }
  } catch (error) {
    return { error: error instanceof Error ? error.message : String(error) }
  }
}
