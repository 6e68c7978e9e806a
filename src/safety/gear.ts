/**
 * Whether each instrument may stand where the fixture puts it: what its profile declares against the worst
 * single fault. On the bus that fault is a supply that runs to its maximum; at the sense resistors it is the
 * voltage of their clamps, whatever happens on the bus. Pure; SI units.
 */
import { busMsLeast, type BenchFile, type Use } from '../schema/bench.ts'
import type { Plan } from '../schema/application.ts'
import type { Refusal } from '../schema/refusals.ts'
import { aboveTouchSafe } from './envelope.ts'
import { busMsMost, watchdogSeconds } from './silence.ts'
import { changeoverOf } from '../schema/fixture.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { Contacts } from '../schema/profile-parts.ts'
import type { RoleName } from '../schema/roles.ts'

/** The profile of the instrument that serves each role. */
export type Gear = ReadonlyMap<RoleName, InstrumentProfile>

export interface GearInput {
  bench: BenchFile
  gear: Gear
  /** Highest voltage of the supply, whatever it was told. */
  supplyMaxV: number
  targetV: number
  supplyLimitA: number
  /** Energy of the largest part at target, joules. */
  partEnergyMaxJ: number
  use: Use
}

/** The plan of a sequence that energises, with what the instruments have to say to it. */
export function withGear(plan: Plan, input: Pick<GearInput, 'bench' | 'gear' | 'supplyMaxV'>): Plan {
  const { targetV, supplyLimitA, use, longestS, sweepS } = plan
  // What is not known may be any amount.
  const partEnergyMaxJ = plan.partEnergyMaxJ ?? Infinity
  const { scannerClosures, warnings } = wear(input.gear, input.bench, longestS, sweepS)
  return {
    ...plan, ...(scannerClosures === null ? {} : { scannerClosures }),
    refusals: [...plan.refusals, ...gearRefusals({ ...input, targetV, supplyLimitA, partEnergyMaxJ, use })],
    warnings: [...plan.warnings, ...warnings],
  }
}

/** What stands where, volts. */
interface Stress { busV: number; senseV: number; betweenSenseV: number; returnV: number }

/**
 * Every declared rating that is missing or below its stress. Roles that the bench lacks are not judged here.
 */
export function gearRefusals(input: GearInput): Refusal[] {
  const { bench: { fixture }, supplyMaxV, targetV } = input
  const stress: Stress = {
    busV: Math.max(targetV, supplyMaxV), senseV: fixture.senseClampV, returnV: fixture.returnToEarthV,
    // One clamp conducts while its part charges, another the other way while its part bleeds.
    betweenSenseV: 2 * fixture.senseClampV,
  }
  return [
    ...isolation(input, stress), ...earthed(input, stress), ...ranges(input, stress),
    ...contacts(input, stress), ...changeover(input), ...holdIn(input), ...hotSwitching(input),
    ...silence(input),
  ]
}

const volts = (v: number): string => `${Number(v.toPrecision(4))} V`
const amps = (a: number): string => `${Number(a.toPrecision(3))} A`
const named = (gear: Gear, role: RoleName): string => `${role} (${gear.get(role)!.profile})`

function atLeast(
  what: string, have: number | undefined, need: number, show: (n: number) => string, wayOut: string,
): Refusal[] {
  if (have !== undefined && have >= need) return []
  return [{
    what, have: have === undefined ? 'not declared' : show(have), need: `at least ${show(need)}`, wayOut,
  }]
}

const isolationOf = (gear: Gear, role: RoleName) => {
  const profile = gear.get(role)
  return profile !== undefined && 'isolation' in profile ? profile.isolation : undefined
}

type IsolationRow = [role: RoleName, toEarthV: number, betweenV: number | null, wayOut: string]

/** Volts to earth and between channels. */
function isolation({ gear, bench, targetV }: GearInput, stress: Stress): Refusal[] {
  const { busV, senseV, betweenSenseV, returnV } = stress
  const bus = 'use one rated for what the supply can give, or a supply that gives less'
  const sense = 'use one rated for it, or a lower clamp voltage'
  const sensor = 'use a thermometer rated for it: a sensor whose insulation fails stands at the bus'
  const hasSensors = bench.fixture.positions.some(({ thermometer }) => thermometer !== undefined)
  const rows: IsolationRow[] = [
    ['supply', busV, null, bus], ['bus-meter', busV, null, bus], ['cutoff', busV, null, bus],
    ['positions', busV, busV, bus], ['bleed', busV, busV, bus],
    ['scanner', senseV, betweenSenseV, sense], ['sense-meter', senseV, null, sense],
    ...(hasSensors ? [['thermometer', targetV, targetV, sensor] as IsolationRow] : []),
  ]
  return rows.flatMap(([role, toEarthV, betweenV, wayOut]) => {
    const declared = isolationOf(gear, role)
    if (declared === undefined) return []
    const name = named(gear, role)
    const { terminalsToEarthV, betweenChannelsV } = declared
    return [
      ...atLeast(`${name}: volts to earth`, terminalsToEarthV, toEarthV + returnV, volts, wayOut),
      ...betweenV === null ? []
        : atLeast(`${name}: volts between channels`, betweenChannelsV, betweenV, volts, wayOut),
    ]
  })
}

/**
 * An earthed terminal belongs at the return and needs the return at earth; on the bus it would be a short.
 */
function earthed({ gear }: GearInput, { busV, returnV }: Stress): Refusal[] {
  const isEarthed = (role: RoleName): boolean => isolationOf(gear, role)?.terminalsEarthed === true
  const atReturn = (['supply', 'bus-meter', 'sense-meter', 'scanner'] as const)
    .filter(role => returnV > 0 && isEarthed(role))
  const onBus = (['positions', 'cutoff', 'bleed'] as const).filter(isEarthed)
  return [
    ...atReturn.map(role => ({
      what: `${named(gear, role)}: earthed terminal where the sense resistors sit off earth`,
      have: `${volts(returnV)} at the return`, need: volts(0),
      wayOut: 'tie the return to earth, or use one whose terminals float',
    })),
    ...onBus.map(role => ({
      what: `${named(gear, role)}: earthed terminal on the bus`, have: `${volts(0)} to earth`,
      need: `at least ${volts(busV)}`, wayOut: 'use one whose terminals float',
    })),
  ]
}

/** A meter must stand what it may be given, in its highest range. */
function ranges({ gear }: GearInput, { busV, senseV }: Stress): Refusal[] {
  const rows: [RoleName, number, string][] = [
    ['bus-meter', busV, 'use a meter with a higher range, or a supply that gives less'],
    ['sense-meter', senseV, 'use a meter with a higher range, or a lower clamp voltage'],
  ]
  return rows.flatMap(([role, needV, wayOut]) => {
    const profile = gear.get(role)
    if (profile?.class !== 'multimeter') return []
    return atLeast(`${named(gear, role)}: highest range`, profile.ranges.at(-1)!.rangeV, needV, volts, wayOut)
  })
}

type Rating = 'makeV' | 'makeA' | 'breakV' | 'breakA'
const ratingWords: Record<Rating, string> = {
  makeV: 'volts it may make', makeA: 'amperes it may make', breakV: 'volts it may break',
  breakA: 'amperes it may break',
}

/**
 * The bench file may claim of its relays no more than their profile; a cutoff breaks what the supply gives.
 */
function contacts({ gear, bench: { fixture }, supplyLimitA }: GearInput, { busV }: Stress): Refusal[] {
  const changeover = changeoverOf(fixture)
  const claimed = 'use relays rated for it; '
    + 'relayMakeA, relayBreakV and relayBreakA of the bench file claim no more than they bear'
  const rows: [RoleName, Record<Rating, number>, string][] = [
    ...(changeover ? [['positions', {
      makeV: busV, makeA: changeover.relayMakeA, breakV: changeover.relayBreakV,
      breakA: changeover.relayBreakA,
    }, claimed] as [RoleName, Record<Rating, number>, string]] : []),
    ['cutoff', { makeV: busV, makeA: supplyLimitA, breakV: busV, breakA: supplyLimitA },
      'use a cutoff whose DC ratings hold what the supply can give'],
  ]
  return rows.flatMap(([role, needs, wayOut]) => {
    const declared = contactsOf(gear, role)
    if (declared === undefined) return []
    return (Object.keys(needs) as Rating[]).flatMap(rating =>
      atLeast(`${named(gear, role)}: ${ratingWords[rating]}`,
      declared[rating], needs[rating], rating.endsWith('V') ? volts : amps, wayOut))
  })
}

function contactsOf(gear: Gear, role: RoleName): Contacts | undefined {
  const profile = gear.get(role)
  return profile !== undefined && 'contacts' in profile ? profile.contacts : undefined
}

function changeover({ gear }: GearInput): Refusal[] {
  const board = gear.get('positions')
  if (board?.class !== 'relay-board' || board.changeover) return []
  return [{
    what: `${named(gear, 'positions')}: throws of a contact`, have: '1', need: '2, bus and bleeder',
    wayOut: 'use changeover relays: released, a part must be on its bleeder',
  }]
}

/** With nobody there, the cutoff must drop by itself when nobody refreshes it. */
function holdIn({ gear, bench: { limits }, targetV, partEnergyMaxJ, use }: GearInput): Refusal[] {
  const cutoff = gear.get('cutoff')
  if (cutoff === undefined || cutoff.class === 'hold-in-relay') return []
  if (use !== 'unattended' || !aboveTouchSafe(limits, targetV, partEnergyMaxJ)) return []
  return [{
    what: `${named(gear, 'cutoff')}: hold-in in unattended use`,
    have: `${volts(targetV)} without a hold-in timer`,
    need: `below ${volts(limits.touchSafeV)} and ${limits.touchSafeJ} J, or a hold-in relay`,
    wayOut: 'fit a hold-in relay, or use the bench attended',
  }]
}

/** The sense resistors are never without voltage while a part is on the bus, so a scanner moves under it. */
function hotSwitching({ gear, bench: { fixture } }: GearInput): Refusal[] {
  const scanner = gear.get('scanner')
  if (scanner?.class !== 'scanner') return []
  const { senseClampV, senseOhm } = fixture
  const wayOut = 'use a scanner rated to switch it, or a lower clamp voltage'
  const what = `${named(gear, 'scanner')}: switching while a part is shorted`
  return [
    ...atLeast(what, scanner.hotSwitchV, senseClampV, volts, wayOut),
    ...atLeast(what, scanner.hotSwitchA, senseClampV / senseOhm, amps, wayOut),
  ]
}

/**
 * The supply is asked in every round of the bus loop, and in nothing else: its own watchdog must wait for the
 * longest silence that the cadence of the bus lets pass, or it could not be armed.
 */
function silence({ gear, bench: { cadence } }: GearInput): Refusal[] {
  const supply = gear.get('supply')
  if (supply?.class !== 'dc-supply' || supply.watchdog === undefined) return []
  const { minS, maxS } = supply.watchdog
  const mostMs = busMsMost(maxS)
  const wayOut = mostMs < busMsLeast ? 'use a supply whose watchdog waits longer'
    : `read the bus oftener: cadence.busMs and cadence.busQuietMs at most ${mostMs}`
  return atLeast(`${named(gear, 'supply')}: silence its communication watchdog bears`, maxS,
    Math.max(watchdogSeconds(cadence), minS), s => `${s} s`, wayOut)
}

/** A run that uses up more than this share of a contact's rated life is said (modelling choice). */
const lifeShareMost = 1 / 1000
/**
 * Of one contact on the position board in one run: connect, formal reading, and the bridge before and after.
 */
const relayClosuresMost = 4

/** `scannerClosures`: null without a scanner. */
export interface Wear { scannerClosures: number | null; warnings: string[] }

/**
 * Closures of one contact in a run. Each sweep closes each scanner contact once; the fast cadence all the way
 * gives the most. Bursts while charge is counted are faster for seconds, and quiet hours slower.
 */
export function wear(gear: Gear, { cadence }: BenchFile, longestS: number, sweepS: number): Wear {
  const scanner = gear.get('scanner')
  const scannerClosures = scanner === undefined ? null
    : Math.ceil(longestS / Math.max(cadence.sweepMs / 1000, sweepS))
  const rows: [RoleName, number, number | undefined, string][] = [
    ['scanner', scannerClosures ?? 0, scanner?.class === 'scanner' ? scanner.life : undefined,
      'a longer cadence.sweepMs spares it'],
    ['positions', relayClosuresMost, contactsOf(gear, 'positions')?.life, 'have spares at hand'],
    ['cutoff', relayClosuresMost, contactsOf(gear, 'cutoff')?.life, 'have a spare at hand'],
  ]
  const warnings = rows.flatMap(([role, closures, life, advice]) => {
    if (life === undefined || closures <= life * lifeShareMost) return []
    return [`${named(gear, role)}: up to ${closures} closures of one contact in this run, `
      + `${(100 * closures / life).toPrecision(2)} % of its rated ${life.toExponential(0)}; ${advice}.`]
  })
  return { scannerClosures, warnings }
}
