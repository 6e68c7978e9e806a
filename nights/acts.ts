/** What goes wrong in a bad night, in one line each, and the racks it happens to. */
import type { FixtureFault, SharedFault } from '../mocks/bench/sim-bench.ts'
import type { InstrumentName } from '../mocks/bench/layout.ts'
import type { Scenario } from '../mocks/bench/scenario.ts'
import { positionName, verdicts } from '../mocks/bench/scenario.ts'
import type { MakeOptions, PartKind } from '../mocks/parts/make-part.ts'
import type { FaultSpec } from '../mocks/scpi-device/faults.ts'
import { quick } from './bad-night.ts'
import type { Act, Deed, NightStage } from './bad-night.ts'

/** Breaks an instrument from now on. */
export const breaks = (name: InstrumentName, spec: FaultSpec): Deed =>
  ({ sim }) => sim.instrument(name).device.faults.set(spec)
export const fixture = (position: string, kind: FixtureFault['kind']): Deed =>
  ({ sim }) => sim.fixtureFault({ position, kind })
export const shared = (kind: SharedFault['kind']): Deed => ({ sim }) => sim.sharedFault({ kind })
export const opensCover: Deed = ({ sim }) => { sim.switches.coverClosed = false }
/** A person stops the run. */
export const stops: Deed = ({ daemon }) => { void daemon.stop('enough for tonight') }
export const both = (...deeds: Deed[]): Deed => bench => { for (const deed of deeds) deed(bench) }

export const during = (stage: NightStage, afterMs: number, act: Deed): Act => ({ stage, afterMs, act })

/** A fallen bus is a fault after two sweeps at the usual cadence and 5 s; a quiet reading or two more until it is seen and off. */
export const busFellMs = 2 * 2500 + 5000 + 2500

/** The quick night with a soak long enough to have a middle. */
export const longSoak = { parameters: { ...quick, soakS: 300 } }

/** A rack of 450 V, 47 µF cans of the given kinds, P01 first. */
export function rackOf(kinds: readonly (PartKind | readonly [PartKind, MakeOptions])[], seed: number): Scenario {
  return {
    name: `rack-${kinds.length}`, description: 'cans for a bad night, simulated', seed,
    rated: { voltageV: 450, capacitanceF: 47e-6 }, partProfile: 'al-450v-47u-general', dummyOhm: 100e6, ambientC: 21,
    parts: kinds.map((each, index) => {
      const [kind, options] = typeof each === 'string' ? [each, {}] as const : each
      return { position: positionName(index), id: `R-${String(index + 1).padStart(2, '0')}`, kind, options, ...verdicts[kind] }
    }),
  }
}


/** Two sound cans. */
export const pair = (seed: number): Scenario => rackOf(['healthy', 'healthy'], seed)
