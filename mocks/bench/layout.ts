/** Which relay and channel does what on a simulated bench, and its bench file as a plain object. */
import { identityOf } from '../instruments/instrument.ts'
import { positionName, type Scenario } from './scenario.ts'

/** Instruments of the bench by name, with their profiles. */
export const benchInstruments = {
  psu: 'dc-supply-600v-a', 'bus-dmm': 'multimeter-5d-b', 'sense-dmm': 'multimeter-6d-a',
  bridge: 'lcr-bridge-a',
  scanner: 'scanner-a', relays: 'relay-board-a', cutoff: 'hold-in-relay-a', interlock: 'interlock-reader-a',
  beacon: 'beacon-a', thermometer: 'thermometer-a',
} as const
export type InstrumentName = keyof typeof benchInstruments
export const instrumentNames = Object.keys(benchInstruments) as InstrumentName[]

/** Relay that puts the watch resistors into all bleeder paths. */
export const watchRelay = 501
/** With more positions than this there are no relays left for formal reading and bridge. */
const fullPositionsMax = 160
const thermometersMax = 64

export interface PositionLines {
  name: string; relay: number; formalRelay?: number; bridgeRelay?: number; sense: number; thermometer?: number
}

/** Positions of a scenario: one a part, and one more for the known resistor. */
export function positionsOf(scenario: Scenario): PositionLines[] {
  const count = scenario.parts.length + 1
  return Array.from({ length: count }, (_, i) => ({
    name: positionName(i), relay: i + 1, sense: (Math.floor(i / 40) + 1) * 100 + i % 40 + 1,
    ...(count <= fullPositionsMax ? { formalRelay: 161 + i, bridgeRelay: 321 + i } : {}),
    ...(i < thermometersMax && i < count - 1 ? { thermometer: i + 1 } : {}),
  }))
}

export const fixtureFigures = {
  limitOhm: 100e3, formalOhm: 1e3, senseOhm: 1e3, senseClampV: 10, bleederOhm: 100e3, watchOhm: 10e6,
  busBleederOhm: 470e3,
} as const
/**
 * Limits of error: of the sense resistor as the bench file declares it, and of the other resistors (common
 * practice).
 */
export const fixtureTolerances = { sense: 0.001, others: 0.01 } as const

/** The bench file of a scenario: `urls` by instrument; `timeUrl` where the simulated bench owns time. */
export function benchFileOf(
  scenario: Scenario, urls: Readonly<Record<string, string>>, timeUrl?: string,
): object {
  if (scenario.single) return singleBenchFile(scenario, urls)
  const instruments = Object.fromEntries(instrumentNames.map(name => [name, {
    profile: benchInstruments[name], url: urls[name] ?? `memory:${name}`,
    identity: identityOf(benchInstruments[name], { name }),
  }]))
  return {
    bench: scenario.name, description: scenario.description, instruments, roles,
    fixture: {
      kind: 'rack', positions: positionsOf(scenario), ...fixtureFigures,
      limitW: 10, limitWorkingV: 750, senseTolerance: fixtureTolerances.sense, bleederW: 5, busBleederW: 3,
      diodeV: 0.7, leakageOhmMin: 1e11,
      ratedV: 600, relayMakeA: 0.5, relayBreakV: 600, relayBreakA: 0.05, dummyOhm: scenario.dummyOhm,
    },
    limits: limitsOf(scenario), ...(scenario.cadence ? { cadence: scenario.cadence } : {}),
    use: ['unattended', 'attended', 'touch-safe'],
    ...(timeUrl === undefined ? {} : { simulated: { timeUrl } }),
  }
}

/** A supply, a meter and some resistors. */
function singleBenchFile(scenario: Scenario, urls: Readonly<Record<string, string>>): object {
  const { limitOhm, senseOhm, senseClampV, busBleederOhm } = fixtureFigures
  const instruments = Object.fromEntries((['psu', 'sense-dmm'] as const).map(name => [name, {
    profile: benchInstruments[name], url: urls[name] ?? `memory:${name}`,
    identity: identityOf(benchInstruments[name], { name }),
  }]))
  return {
    bench: scenario.name, description: scenario.description, instruments,
    roles: { supply: 'psu', 'sense-meter': 'sense-dmm' },
    fixture: {
      kind: 'single', positions: [{ name: positionName(0) }], limitOhm, senseOhm, senseClampV, busBleederOhm,
      limitW: 10, limitWorkingV: 750, senseTolerance: 0.001, busBleederW: 3, diodeV: 0.7, ratedV: 600,
    },
    limits: limitsOf(scenario), ...(scenario.cadence ? { cadence: scenario.cadence } : {}),
    use: ['attended', 'touch-safe'],
  }
}

const roles = {
  supply: 'psu', 'bus-meter': 'bus-dmm', 'sense-meter': 'sense-dmm', bridge: 'bridge',
  thermometer: 'thermometer',
  scanner: 'scanner', positions: 'relays', cutoff: 'cutoff',
  bleed: { instrument: 'relays', relay: watchRelay },
  interlock: 'interlock', beacon: 'beacon',
} as const

function limitsOf({ rated, parts }: Scenario): object {
  const partJ = rated.capacitanceF * rated.voltageV ** 2 / 2
  return {
    voltageMaxV: 500, currentMaxA: 0.25, partEnergyMaxJ: roundUp(2 * partJ),
    rackEnergyMaxJ: roundUp(2 * partJ * parts.length),
    touchSafeV: 60, touchSafeJ: 0.35, ambientMinC: 15, ambientMaxC: 35,
  }
}

const roundUp = (value: number): number => Math.ceil(value * 10) / 10
