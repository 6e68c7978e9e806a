/** The back door of a simulated jig: hands, truth, faults. docs/simulated-bench-time.md has the requests. */
import { controlInstrument, type InstrumentRequest } from './control.ts'
import type { Drawer } from './drawer.ts'
import type { Hands } from './hands.ts'
import type { JigBench } from './jig-bench.ts'
import type { MixUp } from './screener.ts'

export type JigRequest = InstrumentRequest
  | { do: 'truth' } | { do: 'audit' } | { do: 'state' }
  | { do: 'put'; part: string } | { do: 'take' } | { do: 'follow'; url: string }
  | { do: 'open' } | { do: 'close' } | { do: 'press' }
  | { do: 'lay'; position: string; part: string } | { do: 'clear' }

export interface JigTable {
  readonly bench: JigBench
  readonly drawer: Drawer
  readonly hands: Hands
  follow(daemonUrl: string): Promise<void>
  /** Of the person who follows, or followed last. */
  mixUp(): MixUp | null
}

/** Carries out one request and returns what it answers. Throws on one it does not know. */
export function controlJig(table: JigTable, request: JigRequest): unknown {
  const { bench, drawer, hands } = table
  switch (request.do) {
    case 'truth': return drawer.truth()
    case 'audit': {
      const exposed = bench.cover ? { exposed: bench.cover.exposed } : {}
      return { wrongs: bench.wrongs, most: bench.most, mixUp: table.mixUp(), ...exposed }
    }
    case 'state': return stateOf(table)
    case 'put': {
      const part = drawer.find(request.part)
      if (!part) throw new Error(`there is no part ${request.part} on the table`)
      hands.put(part)
      return true
    }
    case 'take': hands.take(); return true
    case 'lay': {
      const part = drawer.find(request.part)
      if (!part) throw new Error(`there is no part ${request.part} on the table`)
      trayOf(bench).lay(request.position, part)
      return true
    }
    case 'clear': trayOf(bench).clear(); return true
    case 'open': return coverOf(bench).tryOpen()
    case 'close': coverOf(bench).close(); return true
    case 'press': coverOf(bench).press(pressMs); return true
    case 'follow': return table.follow(request.url).then(() => true)
    default: return controlInstrument(bench, request)
  }
}

const pressMs = 300

function trayOf({ tray }: JigBench): NonNullable<JigBench['tray']> {
  if (!tray) throw new Error('this jig has no tray')
  return tray
}

function coverOf({ cover }: JigBench): NonNullable<JigBench['cover']> {
  if (!cover) throw new Error('this jig has no cover')
  return cover
}

function stateOf({ bench, drawer }: JigTable): object {
  const names = [...drawer.parts.keys(), ...drawer.standards.map(({ id }) => id)]
  const { part, driven } = bench
  return {
    atMs: bench.clock.monotonicMs(), driven,
    part: part === null ? null : names.find(name => drawer.find(name) === part) ?? null,
  }
}
