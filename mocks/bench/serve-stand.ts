/** A simulated stand with one whole unit, as a process sees it from outside. */
import { RealClock, type Clock } from '../../src/base/clock.ts'
import type { FaultSpec } from '../scpi-device/faults.ts'
import { unitFaults, type UnitFault } from '../units/faults.ts'
import { monitorAmplifier, pavilionAmplifier, type UnitScenario } from '../units/scenario.ts'
import { serveControl } from './control.ts'
import { LedTime, TimeServer } from './led-time.ts'
import { serveInstruments, type LinkOptions } from './serve-instruments.ts'
import { StandBench } from './stand-bench.ts'
import { controlStand, type StandRequest } from './stand-control.ts'

export const standUnits = { amplifier: pavilionAmplifier, monitor: monitorAmplifier } as const
export type StandUnit = keyof typeof standUnits

export interface ServeStandOptions extends LinkOptions {
  readonly seed: number
  readonly unit: StandUnit
  /** What is wrong with the unit. */
  readonly wrong?: readonly UnitFault[]
  readonly faults?: Readonly<Record<string, readonly FaultSpec[]>>
  /** Real time with real delays, and no time server. */
  readonly realtime?: boolean
  /** With a profile whose claims are drawn around its true figures, which takes a while to work out. */
  readonly printed?: boolean
  /** Somebody holds the key at the bench. */
  readonly present?: boolean
  /** What the wall reads when bench time is zero. */
  readonly wallStartMs: number
}

export interface ServedStand {
  readonly bench: StandBench
  readonly scenario: UnitScenario
  readonly benchFile: object
  /** What a person found on this unit with the plug out, as a request of it asks for. */
  readonly sheet: object
  /** What it prints of itself; null where that was not asked for: then the profile that ships is meant. */
  readonly profile: object | null
  /** null in real time. */
  readonly timeUrl: string | null
  readonly controlUrl: string
  close(): void
}

/** A contactor's own controller is the one that would hang on a serial line. */
const standBauds = { contactor: 115_200 } as const

export async function serveStand(options: ServeStandOptions): Promise<ServedStand> {
  const { seed, unit, wrong = [], faults = {}, present = false, printed = false } = options
  const time = options.realtime ? null : new LedTime(options.wallStartMs)
  const clock: Clock = time ?? new RealClock()
  const scenario = standUnits[unit](seed, wrong)
  const bench = new StandBench({ clock, seed, unit: scenario.made.world, instant: time !== null })
  bench.switches.present = present
  for (const [name, specs] of Object.entries(faults)) {
    for (const fault of specs) controlStand({ bench, scenario }, { do: 'fault', instrument: name, fault })
  }
  const links = await serveInstruments(bench.names.map(name => bench.instruments[name]), options, standBauds)
  const profile = printed ? scenario.made.printed.profile : null
  const server = time && new TimeServer(time)
  const timeUrl = server && await server.listen()
  const door = await serveControl(request => controlStand({ bench, scenario }, request as StandRequest))
  return {
    bench, scenario, timeUrl, controlUrl: door.url, sheet: sheetOf(unit, profile),
    profile,
    benchFile: bench.benchFile(links.urls, timeUrl ?? undefined),
    close: () => { server?.close(); links.close(); door.close() },
  }
}

type Profile = Readonly<Record<string, unknown>>

/** Fuses as the profiles that ship print them. */
const fuses: Readonly<Record<StandUnit, string>> = { amplifier: 'T 2 A', monitor: 'T 1 A' }

const sheetOf = (unit: StandUnit, profile: Profile | null): object => ({
  unit: `saltmarsh-pavilion-${unit}`, specimen: `pavilion-${unit}-1`,
  unpowered: {
    by: 'whoever may do that work', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500,
    fuse: (profile?.['supply'] as { fuse: string } | undefined)?.fuse ?? fuses[unit],
    mainsPartsProven: true, railsNotShorted: true,
  },
})

/** Throws with what there is, where one is none. */
export function unitFaultsOf(text: string): UnitFault[] {
  return text.split(',').map(word => word.trim()).filter(Boolean).map(word => {
    const found = unitFaults.find(fault => fault === word)
    if (found) return found
    throw new Error(`a unit has no fault ${word}: ${unitFaults.join(', ')}`)
  })
}
