/** A daemon on a stand with one simulated unit, in virtual time; a person goes on with what waits, where asked. */
import { VirtualClock } from '../src/base/clock.ts'
import type { Daemon } from '../src/app/daemon.ts'
import type { Store } from '../src/schema/store.ts'
import { openInlineStore } from '../src/store/inline.ts'
import { StandBench } from '../mocks/bench/stand-bench.ts'
import type { ErrorModel } from '../mocks/instruments/accuracy.ts'
import type { SimulatedUnit } from '../mocks/units/amplifier.ts'
import { virtualDaemon, type VirtualDaemon } from './virtual-daemon.ts'

export interface StandDaemon extends VirtualDaemon {
  readonly clock: VirtualClock
  readonly sim: StandBench
  readonly store: Store
}

export interface StandDaemonOptions {
  readonly seed?: number
  readonly store?: Store
  readonly errors?: ErrorModel
  /** Ways in which the bench may be used; all that a stand may be when left out. */
  readonly use?: readonly string[]
  /** A folder of a person's own profiles. */
  readonly profiles?: string | null
}

export async function standDaemon(
  unit: SimulatedUnit,
  { seed = 5, store = openInlineStore(':memory:'), errors = 'inside', profiles = null, use }: StandDaemonOptions = {},
): Promise<StandDaemon> {
  const clock = new VirtualClock()
  const stand = new StandBench({ clock, seed, unit, errors })
  stand.switches.present = true
  const sim = {
    names: stand.names, benchFile: () => ({ ...stand.benchFile(), ...use === undefined ? {} : { use } }),
    instrument: (name: string) => stand.instruments[name as never] as (typeof stand.instruments)['watts'],
  }
  return { clock, store, ...await virtualDaemon(clock, sim, store, profiles), sim: stand }
}

/** At every hold point: presses the button, so that presence is seen, and goes on after `afterMs`. */
export function goesOn({ clock, sim }: StandDaemon, daemon: Daemon, afterMs = 5000): () => void {
  let asked = ''
  return daemon.subscribe(() => {
    const status = daemon.powering.status()
    const hold = status?.hold
    const key = hold ? `${status.run} ${hold.id}` : ''
    if (!hold || key === asked) return
    asked = key
    clock.after(afterMs, () => {
      sim.switches.present = true
      sim.obey(hold.id)
      void daemon.powering.goOn(hold.id, 'Ida').catch(() => {})
    })
  })
}

/** Somebody presses the button again and again, as attended use asks, until the returned function is called. */
export function presses({ clock, sim: { switches } }: StandDaemon, everyMs = 240_000): () => void {
  let cancel = clock.after(everyMs, press)
  function press(): void {
    switches.present = false
    cancel = clock.after(pressMs, () => {
      switches.present = true
      cancel = clock.after(everyMs, press)
    })
  }
  return () => cancel()
}
const pressMs = 1500
