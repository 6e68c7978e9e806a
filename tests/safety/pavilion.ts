/** The demo's bench as plans see it: its file, and the profiles of its instruments by role. A fresh copy each time. */
import { join } from 'node:path'
import { loadBench, ProfileFolder } from '../../src/app/files.ts'
import type { Gear } from '../../src/safety/gear.ts'
import type { BenchFile } from '../../src/schema/bench.ts'
import type { InstrumentClass, ProfileOf } from '../../src/schema/instrument-profile.ts'
import type { PartProfile } from '../../src/schema/part-profile.ts'
import type { RoleName } from '../../src/schema/roles.ts'

const folder = new ProfileFolder(null)
const loaded = loadBench(join(import.meta.dirname, '../../profiles/benches/saltmarsh-pavilion.yaml'), folder)

export const pavilionFile = (): BenchFile => structuredClone(loaded.file)

export const pavilionGear = (): Gear => new Map([...loaded.roles]
  .map(([role, { instrument }]) => [role, structuredClone(loaded.profiles.get(instrument)!.profile)]))

export const partOf = (name = 'al-450v-47u-general'): PartProfile => structuredClone(folder.part(name).profile)

/** The profile of a role, known to be of a class, to be changed in place. */
export function gearOf<C extends InstrumentClass>(gear: Gear, role: RoleName, ofClass: C): ProfileOf<C> {
  const profile = gear.get(role)
  if (profile?.class !== ofClass) throw new Error(`${role} is no ${ofClass}`)
  return profile as ProfileOf<C>
}
