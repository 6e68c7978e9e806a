/**
 * Whether each instrument may stand where the fixture puts it: what its profile declares against the worst single
 * fault. On the bus that fault is a supply that runs to its maximum; at the sense resistors it is their clamps'
 * voltage, whatever happens on the bus. Pure; SI units.
 */
import type { BenchFile, FixtureSpec } from '../schema/bench.ts'
import type { Refusal } from '../schema/application.ts'
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
}

/** What stands where, volts. */
interface Stress { busV: number; senseV: number; betweenSenseV: number; returnV: number }

const volts = (v: number): string => `${Number(v.toPrecision(4))} V`
const amps = (a: number): string => `${Number(a.toPrecision(3))} A`

/** Every declared rating that is missing or below its stress. Roles that the bench lacks are not judged here. */
export function gearRefusals(input: GearInput): Refusal[] {
  const { bench: { fixture }, supplyMaxV, targetV } = input
  const returnV = fixture.returnToEarthV
  const stress: Stress = {
    busV: Math.max(targetV, supplyMaxV), senseV: fixture.senseClampV,
    // One clamp conducts while its part charges, another the other way while its part bleeds.
    betweenSenseV: 2 * fixture.senseClampV, returnV,
  }
  return [
    ...isolation(input, stress), ...earthed(input, stress), ...ranges(input.gear, stress),
    ...contacts(input, stress), ...hotSwitching(input.gear, fixture),
  ]
}

const named = (gear: Gear, role: RoleName): string => `${role} (${gear.get(role)!.profile})`

function atLeast(what: string, have: number | undefined, need: number, show: (n: number) => string, wayOut: string): Refusal[] {
  if (have !== undefined && have >= need) return []
  return [{ what, have: have === undefined ? 'not declared' : show(have), need: `at least ${show(need)}`, wayOut }]
}

/** Volts to earth and between channels. */
function isolation({ gear, bench, targetV }: GearInput, { busV, senseV, betweenSenseV, returnV }: Stress): Refusal[] {
  const hasSensors = bench.fixture.positions.some(({ thermometer }) => thermometer !== undefined)
  const bus = 'use one rated for what the supply can give, or a supply that gives less'
  const sense = 'use one rated for it, or a lower clamp voltage'
  const sensor = 'use a thermometer rated for it: a sensor whose insulation fails stands at the bus'
  const rows: [RoleName, toEarthV: number, betweenV: number | null, wayOut: string][] = [
    ['supply', busV, null, bus], ['bus-meter', busV, null, bus], ['cutoff', busV, null, bus],
    ['positions', busV, busV, bus], ['bleed', busV, busV, bus],
    ['scanner', senseV, betweenSenseV, sense], ['sense-meter', senseV, null, sense],
    ...(hasSensors ? [['thermometer', targetV, targetV, sensor] as [RoleName, number, number, string]] : []),
  ]
  return rows.flatMap(([role, toEarthV, betweenV, wayOut]) => {
    const profile = gear.get(role)
    if (profile === undefined || !('isolation' in profile)) return []
    const { terminalsToEarthV, betweenChannelsV } = profile.isolation
    return [
      ...atLeast(`${named(gear, role)}: volts to earth`, terminalsToEarthV, toEarthV + returnV, volts, wayOut),
      ...betweenV === null ? []
        : atLeast(`${named(gear, role)}: volts between channels`, betweenChannelsV, betweenV, volts, wayOut),
    ]
  })
}

/** An earthed terminal belongs at the return and needs the return at earth; on the bus it would be a short. */
function earthed({ gear }: GearInput, { busV, returnV }: Stress): Refusal[] {
  const isEarthed = (role: RoleName): boolean => {
    const profile = gear.get(role)
    return profile !== undefined && 'isolation' in profile && profile.isolation.terminalsEarthed
  }
  const atReturn = (['supply', 'bus-meter', 'sense-meter', 'scanner'] as const).filter(role => returnV > 0 && isEarthed(role))
  const onBus = (['positions', 'cutoff', 'bleed'] as const).filter(isEarthed)
  return [
    ...atReturn.map(role => ({
      what: `${named(gear, role)}: earthed terminal where the sense resistors sit off earth`, have: `${volts(returnV)} at the return`,
      need: volts(0), wayOut: 'tie the return to earth, or use one whose terminals float',
    })),
    ...onBus.map(role => ({
      what: `${named(gear, role)}: earthed terminal on the bus`, have: `${volts(0)} to earth`, need: `at least ${volts(busV)}`,
      wayOut: 'use one whose terminals float',
    })),
  ]
}

/** A meter must stand what it may be given, in its highest range. */
function ranges(gear: Gear, { busV, senseV }: Stress): Refusal[] {
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

/** The bench file may claim of its relays no more than their profile; a cutoff must break what the supply gives. */
function contacts({ gear, bench: { fixture }, supplyLimitA }: GearInput, { busV }: Stress): Refusal[] {
  const rows: [RoleName, Partial<Contacts>, string][] = [
    ['positions', { makeV: busV, makeA: fixture.relayMakeA, breakV: fixture.relayBreakV, breakA: fixture.relayBreakA },
      'use relays rated for it, or correct relayMakeA, relayBreakV and relayBreakA in the bench file'],
    ['cutoff', { makeV: busV, makeA: supplyLimitA, breakV: busV, breakA: supplyLimitA },
      'use a cutoff whose DC ratings hold what the supply can give'],
  ]
  const list = rows.flatMap(([role, needs, wayOut]) => {
    const profile = gear.get(role)
    if (profile === undefined || !('contacts' in profile)) return []
    return (Object.entries(needs) as [keyof Contacts, number][]).flatMap(([key, need]) => atLeast(
      `${named(gear, role)}: DC ${key === 'makeV' || key === 'makeA' ? 'make' : 'break'} rating`,
      profile.contacts[key], need, key.endsWith('V') ? volts : amps, wayOut))
  })
  const board = gear.get('positions')
  if (board?.class !== 'relay-board' || board.changeover) return list
  return [...list, { what: `${named(gear, 'positions')}: contacts`, have: 'one throw', need: 'two: bus and bleeder',
    wayOut: 'use changeover relays: released, a part must be on its bleeder' }]
}

/** The sense resistors are never without voltage while a part is on the bus, so a scanner moves under it. */
function hotSwitching(gear: Gear, { senseClampV, senseOhm }: FixtureSpec): Refusal[] {
  const scanner = gear.get('scanner')
  if (scanner?.class !== 'scanner') return []
  const wayOut = 'use a scanner rated to switch it, or a lower clamp voltage'
  const what = `${named(gear, 'scanner')}: switching while a part is shorted`
  return [
    ...atLeast(what, scanner.hotSwitchV, senseClampV, volts, wayOut),
    ...atLeast(what, scanner.hotSwitchA, senseClampV / senseOhm, amps, wayOut),
  ]
}

/** A run that uses up more than this share of a contact's rated life is said. */
const lifeShareMost = 1 / 1000
/** Of one contact on the position board in one run: connect, formal reading, and the bridge before and after. */
const relayClosuresMost = 4

export interface Wear { scannerClosures: number; warnings: string[] }

/**
 * Closures of one contact in a run. Each sweep closes each scanner contact once; the fast cadence all the way makes
 * this the most there can be. `longestS`, `sweepS`: seconds.
 */
export function wear(gear: Gear, bench: BenchFile, longestS: number, sweepS: number): Wear {
  const scanner = gear.get('scanner')
  const everyS = Math.max(bench.cadence.sweepMs / 1000, sweepS)
  const scannerClosures = scanner ? Math.ceil(longestS / everyS) : 0
  const lives: [RoleName, number, number, string][] = []
  if (scanner?.class === 'scanner') lives.push(['scanner', scannerClosures, scanner.life, 'a longer cadence.sweepMs spares it'])
  for (const role of ['positions', 'cutoff'] as const) {
    const profile = gear.get(role)
    if (profile && 'contacts' in profile) lives.push([role, relayClosuresMost, profile.contacts.life, 'have spares at hand'])
  }
  const warnings = lives.filter(([, closures, life]) => closures > life * lifeShareMost).map(([role, closures, life, advice]) =>
    `${named(gear, role)}: up to ${closures} closures of a contact in this run, one part in ${Math.floor(life / closures)} `
    + `of its rated life of ${life.toExponential(0)}; ${advice}.`)
  return { scannerClosures, warnings }
}
