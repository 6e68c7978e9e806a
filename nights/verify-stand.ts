/** One unit proven on a virtual stand, start to end, with how warm it was whenever a figure was told. */
import type { UnitProfile } from '../src/schema/unit-profile.ts'
import type { Figure } from '../src/schema/figure.ts'
import type { PartResult, RunState } from '../src/schema/run.ts'
import { unitRequest } from '../src/schema/stand.ts'
import { runPower } from '../src/powering/runner.ts'
import type { PowerHandles } from '../src/powering/runner.ts'
import { verifyParameters } from '../src/verify/parameters.ts'
import { verifyWork } from '../src/verify/work.ts'
import type { StandBenchOptions } from '../mocks/bench/stand-bench.ts'
import type { SimulatedUnit } from '../mocks/units/amplifier.ts'
import { powerOn, virtualStand, type VirtualStand } from './virtual-stand.ts'

export interface Proof {
  readonly unit: SimulatedUnit
  readonly profile: UnitProfile
  readonly seed: number
  readonly parameters?: object
  readonly bench?: Pick<StandBenchOptions, 'errors' | 'inLineOhm'>
  /** Before anything is armed. */
  readonly before?: (stand: VirtualStand, handles: PowerHandles) => void
}

export interface ProofEnd {
  readonly stand: VirtualStand
  readonly state: RunState
  readonly result: PartResult | null
  readonly isDead: boolean
  readonly texts: readonly string[]
  readonly latched: string | null
  /** Figures as they came, with the temperatures of all nodes of the unit by then. */
  readonly told: readonly { readonly figure: Figure; readonly celsius: Float64Array }[]
}

export async function proveOnStand(
  { unit, profile, seed, parameters = {}, bench = {}, before = () => {} }: Proof,
): Promise<ProofEnd> {
  const stand = await virtualStand(unit, seed, bench)
  const warmth: Float64Array[] = []
  const { handles, stopPulse } = await powerOn(stand, profile, requestFor(profile), item => {
    if (item.type === 'event' && item.event.kind === 'figure') warmth.push(unit.thermal.celsius.slice())
  })
  before(stand, handles)
  const asked = verifyParameters.parse(parameters)
  const { state, result, isDead } = await stand.clock.run(
    runPower(handles, (power, sweep) => verifyWork.run(power, sweep, asked)).finally(stopPulse))
  const figures = result?.unit?.figures ?? []
  const texts = (await stand.store.events('run-1')).map(({ kind, text }) => `${kind}: ${text}`)
  return {
    stand, state, result, isDead, texts, latched: handles.power.supervisor.latched?.text ?? null,
    told: figures.map((figure, i) => ({ figure, celsius: warmth[i]! })),
  }
}

const requestFor = (profile: UnitProfile) => unitRequest.parse({
  unit: profile.unit, specimen: 'specimen-1',
  unpowered: {
    by: 'a qualified person', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500,
    fuse: profile.supply.kind === 'mains' ? profile.supply.fuse : '', mainsPartsProven: true,
    railsNotShorted: true,
  },
})
