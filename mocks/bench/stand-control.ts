/** The back door of a simulated stand: truth, state, hands. docs/simulated-bench-time.md has the requests. */
import type { UnitScenario } from '../units/scenario.ts'
import type { SimInstrument } from '../instruments/instrument.ts'
import { controlInstrument, type InstrumentRequest } from './control.ts'
import type { StandBench, StandInstrument } from './stand-bench.ts'

export type StandRequest = InstrumentRequest
  | { do: 'truth' } | { do: 'state' }
  | { do: 'presence'; on: boolean } | { do: 'cover'; closed: boolean }
  | { do: 'probe'; name: string; on: boolean } | { do: 'obey'; hold: string }

export interface StandTable { readonly bench: StandBench; readonly scenario: UnitScenario }

/** Carries out one request and returns what it answers. Throws on one it does not know. */
export function controlStand({ bench, scenario }: StandTable, request: StandRequest): unknown {
  switch (request.do) {
    case 'truth': return {
      unit: scenario.name, truth: scenario.truth, description: scenario.description,
      claims: scenario.made.printed.claims,
    }
    case 'state': return {
      atMs: bench.clock.monotonicMs(), isOn: bench.isOn, highestV: bench.highestV(),
      probesOff: [...bench.off],
    }
    case 'presence': bench.switches.present = request.on; return true
    case 'cover': bench.switches.coverClosed = request.closed; return true
    case 'obey': bench.obey(request.hold); return true
    case 'probe': return probed(bench, request.name, request.on)
    default: return controlInstrument({ instrument: name => instrumentOf(bench, name) }, request)
  }
}

function probed(bench: StandBench, name: string, on: boolean): true {
  const known = bench.tips.map(tip => tip.name)
  if (!known.includes(name)) throw new Error(`there is no probe ${name}: ${known.join(', ')}`)
  if (on) bench.off.delete(name)
  else bench.off.add(name)
  return true
}

function instrumentOf({ instruments }: StandBench, name: string): SimInstrument {
  const found = (instruments as Readonly<Record<string, SimInstrument>>)[name as StandInstrument]
  if (!found) throw new Error(`there is no instrument ${name}`)
  return found
}
