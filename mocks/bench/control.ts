/**
 * The back door of a simulated bench, for tests and the demo: reveal the truth, break things, turn the key.
 * One JSON object a line in, one out; docs/simulated-bench-time.md lists the requests.
 */
import { createServer, type AddressInfo } from 'node:net'
import type { FaultKind, FaultSpec } from '../scpi-device/faults.ts'
import { listening, type Served } from './links.ts'
import type { FixtureFault, SharedFault, SimBench } from './sim-bench.ts'

export type ControlRequest =
  | { do: 'truth' } | { do: 'audit' } | { do: 'state' }
  | { do: 'presence'; on: boolean } | { do: 'cover'; closed: boolean }
  | { do: 'fault'; instrument: string; fault: FaultSpec }
  | { do: 'mend'; instrument: string; kind?: FaultKind }
  | { do: 'fixture-fault'; fault: FixtureFault }
  | { do: 'shared-fault'; fault: SharedFault }
  | { do: 'effects'; instrument: string; what?: string }
  | { do: 'last'; instrument: string; what: string }
  | { do: 'received'; instrument: string }
  | { do: 'power-cycle'; instrument: string }

/** Carries out one request and returns what it answers. Throws on one it does not know. */
export function control(bench: SimBench, request: ControlRequest): unknown {
  switch (request.do) {
    case 'truth': return bench.truth()
    case 'audit': return bench.audit()
    case 'state': return stateOf(bench)
    case 'presence': bench.switches.present = request.on; return true
    case 'cover': bench.switches.coverClosed = request.closed; return true
    case 'fault': bench.instrument(request.instrument).device.faults.set(request.fault); return true
    case 'mend': bench.instrument(request.instrument).device.faults.clear(request.kind); return true
    case 'fixture-fault': bench.fixtureFault(request.fault); return true
    case 'shared-fault': bench.sharedFault(request.fault); return true
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

/** Serves `control` on loopback. Answers `{"ok":…}` or `{"error":"…"}`, in the order asked. */
export async function serveControl(bench: SimBench, port = 0): Promise<Served> {
  const server = createServer({ noDelay: true }, socket => {
    let partial = ''
    socket.setEncoding('utf8')
    socket.on('error', () => {})
    socket.on('data', text => {
      const lines = (partial + String(text)).split('\n')
      partial = lines.pop()!
      for (const line of lines) socket.write(`${JSON.stringify(answer(bench, line))}\n`)
    })
  })
  await listening(server, port)
  return { url: `tcp://127.0.0.1:${(server.address() as AddressInfo).port}`, close: () => server.close() }
}

function answer(bench: SimBench, line: string): object {
  try {
    return { ok: control(bench, JSON.parse(line) as ControlRequest) }
  } catch (error) {
    return { error: error instanceof Error ? error.message : String(error) }
  }
}
