/** A simulated jig as a process sees it from outside, with a drawer of parts and somebody to put them in. */
import { RealClock, type Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { FaultSpec } from '../scpi-device/faults.ts'
import { serveControl } from './control.ts'
import { drawDrawer, type Drawer } from './drawer.ts'
import { Follower } from './follower.ts'
import { Hands } from './hands.ts'
import { JigBench, type JigInstrument } from './jig-bench.ts'
import { controlJig, type JigRequest } from './jig-control.ts'
import { LedTime, TimeServer } from './led-time.ts'
import { Screener } from './screener.ts'
import { serveInstruments, type LinkOptions } from './serve-instruments.ts'

export interface ServeJigOptions extends LinkOptions {
  readonly seed: number
  readonly faults?: Readonly<Record<string, readonly FaultSpec[]>>
  /** Real time with real delays, and no time server. */
  readonly realtime?: boolean
  /** With a cover that locks. */
  readonly covered?: boolean
  /** Positions of a tray behind a scanner; none when left out. */
  readonly tray?: number
  /** What the wall reads when bench time is zero. */
  readonly wallStartMs: number
}

export interface ServedJig {
  readonly bench: JigBench
  readonly drawer: Drawer
  readonly hands: Hands
  readonly benchFile: object
  /** null in real time. */
  readonly timeUrl: string | null
  readonly controlUrl: string
  /** Does what the session of this daemon asks for, from now on; resolves when its feed is heard. */
  follow(daemonUrl: string): Promise<void>
  close(): void
}

/** A relay board is the one that would hang on a serial line. */
export const jigBauds: Readonly<Partial<Record<JigInstrument, number>>> = { matrix: 115200 }

export async function serveJig(options: ServeJigOptions): Promise<ServedJig> {
  const { seed, faults = {}, covered = false, tray = 0 } = options
  const time = options.realtime ? null : new LedTime(options.wallStartMs)
  const clock: Clock = time ?? new RealClock()
  const bench = new JigBench({
    clock, seed, covered, tray, instant: time !== null, bauds: options.serial ? jigBauds : {},
  })
  for (const [name, specs] of Object.entries(faults)) {
    for (const spec of specs) bench.instrument(name).device.faults.set(spec)
  }
  const drawer = drawDrawer(seed)
  const random = new SeededRandom(seed).fork('hands')
  const hands = new Hands({ bench, clock, find: drawer.find, random })
  const links = await serveInstruments(
    bench.names.map(name => bench.instrument(name)), options, jigBauds)
  const server = time && new TimeServer(time)
  const timeUrl = server && await server.listen()
  let follower: Follower | null = null
  let person: Screener | null = null
  const follow = (url: string): Promise<void> => {
    follower?.close()
    const next = new Follower({ url, benchClock: clock, hear: seen => screener.hear(seen) })
    const screener = new Screener({ hands, clock, drawer, random, say: (deed, at) => next.say(deed, at) })
    follower = next
    person = screener
    return next.follow()
  }
  const table = { bench, drawer, hands, follow, mixUp: () => person?.mixUp ?? null }
  const door = await serveControl(request => controlJig(table, request as JigRequest))
  return {
    ...table, benchFile: bench.benchFile(links.urls, timeUrl ?? undefined), timeUrl, controlUrl: door.url,
    close: () => { follower?.close(); server?.close(); links.close(); door.close(); bench.close() },
  }
}
