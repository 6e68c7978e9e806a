/**
 * Whether each instrument may stand where a unit puts it: what its profile declares against mains, and
 * against what an output can give. Nothing that is not rated for mains may touch the mains side. Pure; SI
 * units, volts RMS unless a name says otherwise.
 */
import type { Refusal } from '../schema/refusals.ts'
import type { RoleName } from '../schema/roles.ts'
import type { Gear } from './gear.ts'

export interface UnitGearInput {
  readonly gear: Gear
  /** Nominal volts of the stand, and the share by which they may be more. */
  readonly mainsV: number
  readonly mainsTolerance: number
  /** What the unit takes at most, from its profile. */
  readonly currentMaxA: number
  /** Roles that read at the mains side beside the power meter: across its primary, say. */
  readonly mainsSide?: readonly RoleName[]
  readonly outputs: readonly UnitOutput[]
}

export interface UnitOutput {
  readonly name: string
  readonly ratedW: number
  readonly loadOhm: number
  /** Volts at the output for one volt at the digitizer. */
  readonly divider: number
}

/** Inrush over the most that a unit takes in use (common practice; a large toroid has more). */
const inrushShare = 10
/** What an output may give past its rated volts before it clips (common practice). */
const overdrive = 1.5

/** Every declared rating that is missing or too small; what only a person can weigh is a warning. */
export function unitGear(input: UnitGearInput): { refusals: Refusal[]; warnings: string[] } {
  return {
    refusals: [
      ...ratedForMains(input), ...contacts(input), ...meterRanges(input), ...atOutputs(input),
    ],
    warnings: shortBehindSeries(input),
  }
}

const volts = (v: number): string => `${Number(v.toPrecision(4))} V`
const amps = (a: number): string => `${Number(a.toPrecision(3))} A`
const highV = ({ mainsV, mainsTolerance }: UnitGearInput): number => mainsV * (1 + mainsTolerance)

/** The profile that serves a role, and how messages call it; null where the bench has none. */
function served(gear: Gear, role: RoleName) {
  const profile = gear.get(role)
  return profile === undefined ? null : { profile, name: `${role} (${profile.profile})` }
}

function atLeast(
  what: string, have: number | undefined, need: number, show: (n: number) => string, wayOut: string,
): Refusal[] {
  if (have !== undefined && have >= need) return []
  const got = have === undefined ? 'not declared' : show(have)
  return [{ what, have: got, need: `at least ${show(need)}`, wayOut }]
}

/** The switch, the power meter, and whatever else is said to touch the mains side. */
function ratedForMains(input: UnitGearInput): Refusal[] {
  const roles = new Set<RoleName>(['mains-switch', 'power-meter', ...input.mainsSide ?? []])
  const wayOut = 'use one whose terminals are rated for mains, and enter what is printed beside them'
  return [...roles].flatMap(role => {
    const at = served(input.gear, role)
    if (at === null) return []
    const isolation = 'isolation' in at.profile ? at.profile.isolation : undefined
    const mains = isolation?.mains
    if (!mains) {
      // What is plugged in is category II, the lowest there is (from memory; no text was read).
      return [{
        what: `${at.name}: rated for mains`, have: 'not declared', wayOut,
        need: `a measurement category for at least ${volts(highV(input))} to earth`,
      }]
    }
    const earthed = isolation.terminalsEarthed ? [{
      what: `${at.name}: earthed terminal at the mains`, have: 'tied to earth inside', wayOut,
      need: 'terminals that float',
    }] : []
    const what = `${at.name}: volts to earth at mains`
    return [...atLeast(what, mains.toEarthV, highV(input), volts, wayOut), ...earthed]
  })
}

function contacts(input: UnitGearInput): Refusal[] {
  const at = served(input.gear, 'mains-switch')
  if (at?.profile.class !== 'mains-contactor') return []
  const { poles, breaksAllPoles, acContacts: { ratedV, makeA, breakA } } = at.profile
  const wayOut = 'use a contactor whose AC ratings hold what the unit takes'
  const allPoles = poles >= 2 && breaksAllPoles ? [] : [{
    what: `${at.name}: poles that it breaks`, have: breaksAllPoles ? String(poles) : 'not all',
    need: 'all, live and neutral', wayOut: 'use one that breaks all poles',
  }]
  return [
    ...allPoles,
    ...atLeast(`${at.name}: volts of its contacts`, ratedV, highV(input), volts, wayOut),
    ...atLeast(`${at.name}: amperes it may make`, makeA, inrushShare * input.currentMaxA, amps, wayOut),
    ...atLeast(`${at.name}: amperes it may break`, breakA, input.currentMaxA, amps, wayOut),
  ]
}

/** A meter must show a limit that is passed, and not end below it. */
function meterRanges(input: UnitGearInput): Refusal[] {
  const at = served(input.gear, 'power-meter')
  if (at?.profile.class !== 'power-meter') return []
  const { voltageRanges, currentRanges } = at.profile
  const wayOut = 'use a meter with a higher range'
  const [mostV, mostA] = [voltageRanges.at(-1)!.rangeV, currentRanges.at(-1)!.rangeA]
  return [
    ...atLeast(`${at.name}: highest range of volts`, mostV, highV(input), volts, wayOut),
    ...atLeast(`${at.name}: highest range of amperes`, mostA, input.currentMaxA, amps, wayOut),
  ]
}

/** Peak volts of an output that is driven past its figure, at what hangs on it. */
function atOutputs({ gear, outputs }: UnitGearInput): Refusal[] {
  const peakV = ({ ratedW, loadOhm }: UnitOutput): number => overdrive * Math.sqrt(2 * ratedW * loadOhm)
  const wayOut = 'use one rated for what the output can give'
  return outputs.flatMap(output => (['load', 'digitizer'] as const).flatMap(role => {
    const at = served(gear, role)
    if (at === null || !('isolation' in at.profile)) return []
    const needV = role === 'load' ? peakV(output) : peakV(output) / output.divider
    const what = `${at.name} on output ${output.name}: peak volts to earth`
    const found = atLeast(what, at.profile.isolation.terminalsToEarthV, needV, volts, wayOut)
    const commonV = at.profile.class === 'digitizer' ? at.profile.input.commonModeMaxV ?? Infinity : Infinity
    return commonV >= needV ? found : [...found, ...atLeast(
      `${at.name} on output ${output.name}: peak volts of both ends`, commonV, needV, volts, wayOut)]
  }))
}

/** A resistance in line limits a first fault, and may not bear it for ever. */
function shortBehindSeries(input: UnitGearInput): string[] {
  const at = served(input.gear, 'mains-switch')
  if (at?.profile.class !== 'mains-contactor') return []
  return at.profile.ways.flatMap(({ name, seriesOhm, seriesW, share }) => {
    const shortW = seriesOhm > 0 ? (highV(input) * share) ** 2 / seriesOhm : 0
    if (seriesW === undefined || shortW <= seriesW) return []
    return [`${at.name}: a short behind way ${name} puts ${Math.round(shortW)} W on a resistance of `
      + `${seriesW} W: it bears that only until a trip opens it.`]
  })
}
