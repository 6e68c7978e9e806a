/** The instrument profile: everything that differs between makes of one class, as data. */
import { z } from 'zod'
import {
  beacon, dcSupply, holdInRelay, interlockReader, lcrBridge, multimeter, relayBoard, scanner, thermometer,
} from './instrument-classes.ts'
import type { RoleName } from './roles.ts'
import { digitizer, signalGenerator } from './signal-classes.ts'
import { sourceMeasure } from './source-measure-class.ts'
import { loadBank, mainsContactor, powerMeter } from './unit-classes.ts'

export const instrumentProfile = z.discriminatedUnion('class', [
  dcSupply, multimeter, lcrBridge, scanner, relayBoard, holdInRelay, interlockReader, beacon, thermometer,
  sourceMeasure, mainsContactor, powerMeter, signalGenerator, digitizer, loadBank,
])

export type InstrumentProfile = z.infer<typeof instrumentProfile>
export type InstrumentClass = InstrumentProfile['class']
export type ProfileOf<C extends InstrumentClass> = Extract<InstrumentProfile, { class: C }>

/** Which classes can serve a role. A relay board serves some roles by one of its relays or inputs. */
export const classesOfRole: Readonly<Record<RoleName, readonly InstrumentClass[]>> = {
  supply: ['dc-supply'],
  'bus-meter': ['multimeter'],
  'sense-meter': ['multimeter'],
  bridge: ['lcr-bridge'],
  thermometer: ['thermometer'],
  scanner: ['scanner'],
  positions: ['relay-board'],
  cutoff: ['hold-in-relay', 'relay-board'],
  bleed: ['relay-board'],
  interlock: ['interlock-reader', 'relay-board'],
  beacon: ['beacon', 'relay-board'],
  'ohm-meter': ['multimeter'],
  source: ['source-measure'],
  'second-source': ['source-measure'],
  jig: ['relay-board'],
  'mains-switch': ['mains-contactor'],
  'power-meter': ['power-meter'],
  generator: ['signal-generator'],
  digitizer: ['digitizer'],
  'ac-meter': ['multimeter'],
  load: ['load-bank'],
}

/** What the profile of an instrument of a fitting class still lacks to serve `role`; null if nothing. */
export function lacksFor(role: RoleName, profile: InstrumentProfile): string | null {
  if (profile.class !== 'multimeter') return null
  if (role === 'ohm-meter' && profile.resistance === undefined) return 'a section `resistance`'
  return role === 'ac-meter' && profile.alternating === undefined ? 'a section `alternating`' : null
}
