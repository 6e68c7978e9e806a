/** Makes the driver that serves a role from an instrument's profile and its port. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import {
  classesOfRole, lacksFor, type InstrumentProfile, type ProfileOf,
} from '../schema/instrument-profile.ts'
import type { RoleName, Roles } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { AcMeterDriver } from './ac-meter.ts'
import { BeaconDriver, RelayBeacon } from './beacon.ts'
import { BridgeDriver } from './bridge.ts'
import { HoldInCutoff, RelayCutoff } from './cutoff.ts'
import { DigitizerDriver } from './digitizer.ts'
import { GeneratorDriver } from './generator.ts'
import { BoardInterlock, InterlockDriver } from './interlock.ts'
import { LoadDriver } from './load.ts'
import { MainsSwitchDriver } from './mains-switch.ts'
import { OhmMeterDriver } from './ohm-meter.ts'
import { PowerMeterDriver } from './power-meter.ts'
import { RelayBoardDriver, type RelayProfile } from './relay-board.ts'
import { ScannerDriver } from './scanner.ts'
import { SourceDriver } from './source.ts'
import { SupplyDriver } from './supply.ts'
import { ThermometerDriver } from './thermometer.ts'
import { VoltmeterDriver } from './voltmeter.ts'

export interface DriverOptions {
  /**
   * Which relay or input of a shared board serves the role: the cutoff or bleed relay; the cover input, the
   * presence input being the next; the `live` lamp, the `fault` lamp being the next.
   */
  relay?: number
}

/**
 * The driver for `role`. Touches nothing. Throws FILE_INVALID when an instrument of this class cannot serve
 * the role, and OUT_OF_RANGE when the board has no such relay or input.
 */
export function createDriver<R extends RoleName>(
  role: R, profile: InstrumentProfile, port: ScpiPort, clock: Clock, options: DriverOptions = {},
): NonNullable<Roles[R]> {
  if (!classesOfRole[role].includes(profile.class)) throw unsuitable(role, profile, port)
  const lack = lacksFor(role, profile)
  if (lack !== null) throw unsuitable(role, profile, port, lack)
  // The table above pairs every role with the classes below, which implement its interface.
  return make(role, profile, port, clock, options.relay) as NonNullable<Roles[R]>
}

function make(
  role: RoleName, profile: InstrumentProfile, port: ScpiPort, clock: Clock, relay: number | undefined,
): Roles[RoleName] {
  switch (profile.class) {
    case 'dc-supply': return new SupplyDriver(profile, port, clock)
    case 'multimeter': return fromMeter(role, profile, port, clock)
    case 'source-measure': return new SourceDriver(profile, port, clock)
    case 'lcr-bridge': return new BridgeDriver(profile, port, clock)
    case 'scanner': return new ScannerDriver(profile, port, clock)
    case 'hold-in-relay': return new HoldInCutoff(profile, port, clock)
    case 'interlock-reader': return new InterlockDriver(profile, port, clock)
    case 'beacon': return new BeaconDriver(profile, port, clock)
    case 'thermometer': return new ThermometerDriver(profile, port, clock)
    case 'mains-contactor': return new MainsSwitchDriver(profile, port, clock)
    case 'power-meter': return new PowerMeterDriver(profile, port, clock)
    case 'signal-generator': return new GeneratorDriver(profile, port, clock)
    case 'digitizer': return new DigitizerDriver(profile, port, clock)
    case 'load-bank': return new LoadDriver(profile, port, clock)
    case 'relay-board': return fromBoard(role, profile, port, clock, relay)
  }
}

function fromMeter(
  role: RoleName, profile: ProfileOf<'multimeter'>, port: ScpiPort, clock: Clock,
): Roles[RoleName] {
  const { resistance, alternating } = profile
  if (role === 'ohm-meter' && resistance) return new OhmMeterDriver(profile, resistance, port, clock)
  if (role === 'ac-meter' && alternating) return new AcMeterDriver(profile, alternating, port, clock)
  return new VoltmeterDriver(profile, port, clock)
}

function fromBoard(
  role: RoleName, profile: RelayProfile, port: ScpiPort, clock: Clock, relay: number | undefined,
): Roles[RoleName] {
  if (role === 'positions' || role === 'jig') return new RelayBoardDriver(profile, port, clock)
  if (role === 'bleed') {
    return new RelayBoardDriver(profile, port, clock, relay === undefined ? undefined : [relay])
  }
  if (relay === undefined) {
    throw new BenchError('FILE_INVALID', `role ${role} on a relay board`, {
      instrument: port.name, expected: 'the relay or input that serves it', got: 'none',
    })
  }
  if (role === 'cutoff') return new RelayCutoff(profile, port, clock, relay)
  if (role === 'interlock') return new BoardInterlock(profile, port, clock, relay)
  return new RelayBeacon(profile, port, clock, relay)
}

function unsuitable(role: RoleName, profile: InstrumentProfile, port: ScpiPort, lack?: string): BenchError {
  return new BenchError('FILE_INVALID', `profile ${profile.profile} cannot serve role ${role}`, {
    instrument: port.name, expected: lack ?? classesOfRole[role].join(' or '),
    got: lack === undefined ? profile.class : 'none',
  })
}
