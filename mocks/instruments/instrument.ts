/** What every simulated instrument is: a SCPI device with an address, a profile name and a seed. */
import type { Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { ErrorModel } from './accuracy.ts'
import { ScpiDevice, type DeviceOptions, type Reply } from '../scpi-device/device.ts'

export interface InstrumentSetup {
  /** Name in the bench file. */
  readonly name: string
  readonly clock: Clock
  /** Everything hidden about this specimen comes from here. */
  readonly seed: number | string
  /** Serial number in its identity; from the name when left out. */
  readonly serial?: string
  /** On a serial link: byte timing. */
  readonly baud?: number
  /** Answers at once, settles at once: for benches that own time. */
  readonly instant?: boolean
  /** Mains frequency for integration times, Hz. */
  readonly mainsHz?: number
  /** How its fixed errors are drawn; `inside` when left out. */
  readonly errors?: ErrorModel
  /** Its readings scatter this many times as much as they should; 1 when left out. */
  readonly noiseFactor?: number
}

export interface Instrument {
  readonly name: string
  /** Instrument profile that describes it. */
  readonly profile: string
  readonly identity: string
  readonly device: ScpiDevice
  receive(bytes: Uint8Array, reply: Reply): void
}

export type OwnOptions = Omit<DeviceOptions, 'name' | 'clock' | 'identity' | 'baud' | 'instant'>

export abstract class SimInstrument implements Instrument {
  readonly name: string
  readonly profile: string
  readonly identity: string
  readonly device: ScpiDevice
  protected readonly clock: Clock
  protected readonly random: SeededRandom
  protected readonly instant: boolean

  /** `options` is made after the fields of this class are there, so that commands can use them. */
  constructor(profile: string, setup: InstrumentSetup, options: OwnOptions) {
    this.name = setup.name
    this.profile = profile
    this.clock = setup.clock
    this.random = new SeededRandom(setup.seed).fork(setup.name)
    this.instant = setup.instant ?? false
    this.identity = identityOf(profile, setup)
    this.device = new ScpiDevice({
      ...options, name: setup.name, clock: setup.clock, identity: this.identity, instant: this.instant,
      ...(setup.baud === undefined ? {} : { baud: setup.baud }),
    })
  }

  receive(bytes: Uint8Array, reply: Reply): void { this.device.receive(bytes, reply) }

  protected effect(what: string, value: number): void {
    this.device.effects.add(this.clock.monotonicMs(), what, value)
  }
}

/** `maker,model,serial,firmware` of a simulated instrument. */
export function identityOf(profile: string, setup: Pick<InstrumentSetup, 'name' | 'serial'>): string {
  const serial = setup.serial ?? `SIM-${setup.name.toUpperCase()}`
  return `SIMULATED,${profile.toUpperCase()},${serial},1.0`
}
