/** What keeps a unit from being given mains on this stand, before anything is touched. Pure. */
import type { Refusal } from '../schema/refusals.ts'
import type { StandSpec, UnpoweredChecks } from '../schema/stand.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import type { Digitizer, Load, MainsSwitch } from '../schema/unit-roles.ts'
import { isFull } from './limits.ts'
import { isLoad } from './loads.ts'
import type { Places } from './places.ts'

/** From the earth pin to the case, Ω (common practice). */
export const earthBondMostOhm = 0.1
/** From the mains to the case at 500 V, Ω: with an earthed case, and with none (from memory). */
export const insulationLeastOhm = { earthed: 2e6, 'double-insulated': 4e6 } as const
export const insulationTestV = 500
/** What a unit's nominal volts may be off the stand's, as a share (common practice). */
const tapTolerance = 0.06

export interface StandInput {
  readonly profile: UnitProfile
  readonly stand: StandSpec
  readonly places: Places
  readonly unpowered: UnpoweredChecks
  readonly gear: {
    readonly mainsSwitch: Pick<MainsSwitch, 'ways' | 'holdMs'>
    readonly load?: Pick<Load, 'continuousW' | 'stepsOhm'> | undefined
    readonly digitizer?: Pick<Digitizer, 'isDifferential'> | undefined
    readonly hasGenerator: boolean
    readonly hasThermometer: boolean
    readonly hasInterlock: boolean
  }
  /** Designators that are proven on record; null where nothing was asked. */
  readonly proven: ReadonlySet<string> | null
  /** Whether outputs are driven, and with how much of their rated power for long. */
  readonly drivenShare: number
  readonly isUnattended: boolean
}

export function standRefusals(input: StandInput): Refusal[] {
  return [
    ...mains(input), ...unpowered(input), ...parts(input), ...outputs(input), ...loads(input),
    ...nobodyThere(input),
  ]
}

const refuse = (what: string, have: string, need: string, wayOut: string): Refusal =>
  ({ what, have, need, wayOut })

function mains({ profile: { supply }, stand, gear: { mainsSwitch } }: StandInput): Refusal[] {
  const found: Refusal[] = []
  if (!mainsSwitch.ways.some(isFull)) {
    found.push(refuse('ways of the mains switch', 'none that is straight', 'one with no resistance in it',
      'enter it in the profile of the contactor'))
  }
  if (!(mainsSwitch.holdMs > 0)) {
    found.push(refuse('the mains switch', 'stays closed by itself', 'one that opens unless it is held',
      'use a contactor with a hold-in timer'))
  }
  if (supply.kind !== 'mains') {
    return [...found, refuse('supply of the unit', 'DC', 'mains', 'run it from a DC supply instead')]
  }
  if (Math.abs(supply.voltageV - stand.mainsV) > tapTolerance * supply.voltageV) {
    found.push(refuse('nominal mains volts', `${stand.mainsV} V on the stand`, `${supply.voltageV} V ± 6 %`,
      'set the tap of the unit, or feed the stand through a transformer'))
  }
  if (stand.mainsHz < supply.frequencyHz) {
    found.push(refuse('mains frequency', `${stand.mainsHz} Hz`, `${supply.frequencyHz} Hz`,
      'its transformer was made for a higher frequency and would saturate: ask a qualified person'))
  }
  return found
}

const ohms = (ohm: number): string => ohm >= 1e6 ? `${ohm / 1e6} MΩ` : `${ohm} Ω`

function unpowered({ profile: { supply }, unpowered: found }: StandInput): Refusal[] {
  if (supply.kind !== 'mains') return []
  const { protection } = supply
  const refusals: Refusal[] = []
  const held = (ok: boolean, ...words: Parameters<typeof refuse>): void => {
    if (!ok) refusals.push(refuse(...words))
  }
  held(plain(found.fuse) === plain(supply.fuse), 'the fuse that is in', found.fuse, supply.fuse,
    'fit the one that the unit prints')
  held(found.mainsPartsProven, 'parts across the mains and to earth', 'not proven',
    'of their class and proven', 'screen them, or replace them by new ones of their class')
  held(found.railsNotShorted, 'rails', 'not looked at for shorts', 'none a short',
    'measure each to its return with the plug out')
  if (protection === 'unknown') {
    return [...refusals, refuse('how its case keeps a person from the mains', 'unknown',
      'earthed or double-insulated', 'let a qualified person decide and enter it in the profile')]
  }
  const { earthBondOhm, insulationOhm, insulationV } = found
  if (protection === 'earthed') {
    held(earthBondOhm !== undefined && earthBondOhm <= earthBondMostOhm, 'earth bond',
      earthBondOhm === undefined ? 'not measured' : ohms(earthBondOhm), `at most ${ohms(earthBondMostOhm)}`,
      'mend the bond; a qualified person measures it')
  }
  const least = insulationLeastOhm[protection]
  held(insulationOhm !== undefined && insulationOhm >= least && (insulationV ?? 0) >= insulationTestV,
    'insulation from mains to case',
    insulationOhm === undefined ? 'not measured' : `${ohms(insulationOhm)} at ${insulationV ?? '?'} V`,
    `at least ${ohms(least)} at ${insulationTestV} V`, 'a qualified person measures it, and finds why')
  return refusals
}

const plain = (text: string): string => text.toUpperCase().replace(/\s+/g, '')

function parts({ profile, proven }: StandInput): Refusal[] {
  if (proven === null) return []
  return profile.stages.flatMap(({ name, parts: asked }) => {
    const missing = asked.filter(one => !proven.has(one))
    if (missing.length === 0) return []
    return [refuse(`parts of stage ${name}`, `${missing.join(' ')} not proven`, 'every part proven',
      'screen them under the name of this unit')]
  })
}

function outputs({ gear: { digitizer }, places, drivenShare }: StandInput): Refusal[] {
  if (!digitizer || drivenShare === 0) return []
  return places.outputs.flatMap(({ spec: { name, output }, output: at }) => {
    if (at.digitizer === undefined) return []
    const found: Refusal[] = []
    if (output.kind !== 'earthed' && !digitizer.isDifferential) {
      found.push(refuse(`output ${name}, ${output.kind}`, 'a digitizer whose return is earthed',
        'a differential or isolated input', 'use one, or an isolating transformer in front of it'))
    }
    const mostV = overdrive * Math.sqrt(output.ratedW * output.loadOhm)
    if (at.dividerMaxV === undefined || at.dividerMaxV < mostV) {
      found.push(refuse(`divider in front of the digitizer on ${name}`,
        at.dividerMaxV === undefined ? 'no rating' : `${at.dividerMaxV} V`, `at least ${mostV.toFixed(0)} V`,
        'fit one that stands the output at its most, and enter its rating'))
    }
    return found
  })
}

/** What an output may give past its rated volts before it clips (common practice). */
const overdrive = 1.5

function loads({ profile, gear: { load, hasGenerator }, drivenShare }: StandInput): Refusal[] {
  const valves = profile.channels.filter(({ output }) => output.isValve)
  const wanted = drivenShare > 0 ? profile.channels : valves
  if (wanted.length === 0) return []
  const found = drivenShare > 0 && !hasGenerator
    ? [refuse('drive', 'no generator on this bench', 'one', 'enter one in the bench file')] : []
  if (!load) {
    const why = drivenShare > 0 ? 'outputs that are driven' : 'valve stages, which never run unloaded'
    return [...found, refuse(`loads for ${why}`, 'none on this bench', 'one for each output',
      'enter a load bank in the bench file')]
  }
  return [...found, ...wanted.flatMap(({ name, output }) => {
    const one: Refusal[] = []
    if (!load.stepsOhm.some(ohm => isLoad(ohm, output.loadOhm))) {
      one.push(refuse(`load of ${name}`, `${load.stepsOhm.join(', ')} Ω`, `${output.loadOhm} Ω`,
        'use a load bank that has it'))
    }
    const needW = drivenShare * output.ratedW
    if (load.continuousW < needW) {
      one.push(refuse(`load of ${name} for ever`, `${load.continuousW} W`, `at least ${needW.toFixed(1)} W`,
        'use one that is rated for it, or drive with less'))
    }
    return one
  })]
}

function nobodyThere({ isUnattended, gear, places }: StandInput): Refusal[] {
  if (!isUnattended) return []
  const found: Refusal[] = []
  if (!gear.hasInterlock) {
    found.push(refuse('cover interlock', 'none', 'one in the coil of the mains switch',
      'enter it in the bench file, or stay with it (attended)'))
  }
  if (!gear.hasThermometer || places.temperatures.length === 0) {
    found.push(refuse('temperatures of the unit', 'none is read', 'at least one, where it gets warmest',
      'fix a sensor and enter it in the profile'))
  }
  if (places.rails.length === 0) {
    found.push(refuse('rails of the unit', 'none is read', 'every rail',
      'probe them: nobody can say that it is dead otherwise'))
  }
  return found
}
