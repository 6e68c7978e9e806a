/** Units for the tests of `src/verify`: shipped profiles with as few claims as a test needs. */
import type { UnitFault } from '../../mocks/units/faults.ts'
import { makeUnit, type MakeUnitOptions, type UnitKind } from '../../mocks/units/make-unit.ts'
import { monitorAmplifier, pavilionAmplifier } from '../../mocks/units/scenario.ts'
import type { Proof } from '../../nights/verify-stand.ts'
import { ProfileFolder } from '../../src/app/files.ts'
import { unitProfile, type UnitProfile } from '../../src/schema/unit-profile.ts'

export type Shipped = 'amplifier' | 'monitor'
const unitOf = { amplifier: pavilionAmplifier, monitor: monitorAmplifier } as const
export const shippedUnit = (which: Shipped): UnitProfile => new ProfileFolder(null).unit(`saltmarsh-pavilion-${which}`).profile

/** A short warm-up: what these tests look at does not wait for it. */
const parameters = { warmS: 60, spectra: false }

export const pavilion = (
  seed: number, { claims, faults = [], which = 'amplifier' }: { claims?: UnitProfile['claims']; faults?: readonly UnitFault[]; which?: Shipped } = {},
): Proof => ({
  unit: unitOf[which](seed, faults).made.world, seed, parameters,
  profile: { ...shippedUnit(which), ...claims && { claims } },
})

/** A unit of this kind with the profile that it prints, but these claims. */
export function drawn(kind: UnitKind, seed: number, claims: UnitProfile['claims'], options: MakeUnitOptions = {}): Proof {
  const made = makeUnit(kind, seed, options)
  return { unit: made.world, seed, parameters, profile: { ...unitProfile.parse(made.printed.profile), claims } }
}
