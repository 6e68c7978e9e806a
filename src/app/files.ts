/**
 * Loads the bench file and everything it names, and checks what no single file can show. All problems at
 * once.
 */
import { createHash } from 'node:crypto'
import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { BenchError } from '../base/errors.ts'
import { packageFile } from '../base/paths.ts'
import { unitFaults } from '../claims/unit-file.ts'
import { benchFile } from '../schema/bench.ts'
import type { BenchFile } from '../schema/bench.ts'
import { classesOfRole, instrumentProfile, lacksFor } from '../schema/instrument-profile.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import { partProfile } from '../schema/part-profile.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import { invalidFile, loadFile } from '../schema/read-file.ts'
import type { Also, Problem } from '../schema/read-file.ts'
import type { RoleName } from '../schema/roles.ts'
import { unitProfile, type UnitProfile } from '../schema/unit-profile.ts'
import { coverProblems } from './cover-checks.ts'
import { changeover, jigProblems, lines } from './fixture-checks.ts'
import { trayProblems } from './tray-checks.ts'

export interface ProfileFile<T> { readonly profile: T; readonly hash: string; readonly path: string }

type ProfileKind = 'instruments' | 'parts' | 'units'

/** Finds profiles by name: a person's own folder first, then what ships. */
export class ProfileFolder {
  readonly #own: string | null
  constructor(ownFolder: string | null) { this.#own = ownFolder }

  instrument(name: string): ProfileFile<InstrumentProfile> {
    return this.#load('instruments', name, instrumentProfile)
  }
  part(name: string): ProfileFile<PartProfile> { return this.#load('parts', name, partProfile) }
  /** Named inside as its file is. */
  unit(name: string): ProfileFile<UnitProfile> {
    const found = this.#load<UnitProfile>('units', name, unitProfile, unitFaults)
    const { path, profile: { unit } } = found
    if (unit === name) return found
    throw invalidFile(path, [{ file: path, path: 'unit', expected: name, got: unit }])
  }

  /** Names of all instrument profiles, a person's own and the shipped ones, in order and once each. */
  instrumentNames(): string[] { return this.#names('instruments') }
  /** The same of part profiles. */
  partNames(): string[] { return this.#names('parts') }
  /** The same of unit profiles. */
  unitNames(): string[] { return this.#names('units') }

  #names(kind: ProfileKind): string[] {
    const names = this.#folders(kind).flatMap(
      folder => existsSync(folder) ? readdirSync(folder) : []
    )
    return [
      ...new Set(names.filter(name => name.endsWith('.yaml')).map(name => name.slice(0, -'.yaml'.length)))
    ].sort()
  }

  #folders(kind: ProfileKind): string[] {
    return [...(this.#own === null ? [] : [join(this.#own, kind)]), packageFile('profiles', kind)]
  }

  #load<T>(
    kind: ProfileKind, name: string, schema: Parameters<typeof loadFile>[1], also?: Also,
  ): ProfileFile<T> {
    if (!/^[A-Za-z0-9][A-Za-z0-9.-]*$/.test(name)) {
      throw new BenchError('FILE_INVALID', `profile name ${JSON.stringify(name)}`, {
        expected: 'letters, digits, dots and hyphens', got: name
      })
    }
    const folders = this.#folders(kind)
    const path = folders.map(folder => join(folder, `${name}.yaml`)).find(candidate => existsSync(candidate))
    if (path === undefined) {
      throw new BenchError('FILE_UNREADABLE', `no ${kind.slice(0, -1)} profile ${name}`, {
        expected: `${name}.yaml in ${folders.join(' or ')}`, got: 'none'
      })
    }
    // Judged first: what is no plain file of some size has no hash either.
    const profile = loadFile(path, schema, 'a profile', also) as T
    const hash = createHash('sha256').update(readFileSync(path)).digest('hex').slice(0, 16)
    return { profile, hash, path }
  }
}

export interface LoadedBench {
  readonly file: BenchFile
  readonly profiles: ReadonlyMap<string, ProfileFile<InstrumentProfile>>
  /** Instrument and, on a shared board, the relay or input that serve each role. */
  readonly roles: ReadonlyMap<RoleName, { instrument: string; relay?: number }>
}

/** What an instrument serves as. */
export const rolesOf = ({ roles }: LoadedBench, name: string): RoleName[] =>
  [...roles].filter(([, { instrument }]) => instrument === name).map(([role]) => role)

export function loadBench(path: string, folder: ProfileFolder): LoadedBench {
  return checkBench(loadFile(path, benchFile, 'a bench file'), path, folder)
}

/** `file`: where the bench came from, for messages. */
export function checkBench(bench: BenchFile, file: string, folder: ProfileFolder): LoadedBench {
  const problems: Problem[] = []
  const profiles = new Map<string, ProfileFile<InstrumentProfile>>()
  for (const [name, entry] of Object.entries(bench.instruments)) {
    try {
      profiles.set(name, folder.instrument(entry.profile))
    } catch (error) {
      problems.push({
        file, path: `instruments.${name}.profile`, expected: 'a valid profile', got: (error as Error).message
      })
    }
  }
  const roles = new Map<RoleName, { instrument: string; relay?: number }>()
  for (const [role, target] of Object.entries(bench.roles) as [RoleName, BenchFile['roles'][RoleName]][]) {
    if (target === undefined) continue
    const entry = typeof target === 'string' ? { instrument: target } : {
      instrument: target.instrument, ...(target.relay === undefined ? {} : { relay: target.relay })
    }
    roles.set(role, entry)
    problems.push(...roleProblems(role, entry.instrument, bench, profiles, file))
  }
  problems.push(...sharing(roles, profiles, file), ...lines(bench, file), ...changeover(bench, file),
    ...jigProblems(bench, file), ...coverProblems({ file: bench, profiles, roles }, file),
    ...trayProblems({ file: bench, profiles, roles }, file))
  if (problems.length > 0) throw invalidFile(file, problems)
  return { file: bench, profiles, roles }
}

function roleProblems(
  role: RoleName, name: string, bench: BenchFile,
  profiles: ReadonlyMap<string, ProfileFile<InstrumentProfile>>, file: string,
): Problem[] {
  const path = `roles.${role}`
  if (!Object.hasOwn(bench.instruments, name)) {
    return [{ file, path, expected: `one of ${Object.keys(bench.instruments).join(', ')}`, got: name }]
  }
  const profile = profiles.get(name)?.profile
  if (profile === undefined) return []
  if (!classesOfRole[role].includes(profile.class)) {
    return [{ file, path, expected: classesOfRole[role].join(' or '), got: `${name}, a ${profile.class}` }]
  }
  const lack = lacksFor(role, profile)
  if (lack === null) return []
  return [{ file, path, expected: `a profile with ${lack}`, got: `${name}: ${profile.profile}` }]
}

/** Only a relay board may serve several roles: its relays and inputs are separate things. */
function sharing(
  roles: ReadonlyMap<RoleName, { instrument: string }>,
  profiles: ReadonlyMap<string, ProfileFile<InstrumentProfile>>, file: string,
): Problem[] {
  const users = new Map<string, RoleName[]>()
  for (const [role, { instrument }] of roles) users.set(instrument, [...(users.get(instrument) ?? []), role])
  const list: Problem[] = []
  for (const [instrument, shared] of users) {
    if (shared.length < 2 || profiles.get(instrument)?.profile.class === 'relay-board') continue
    list.push({
      file, path: `roles.${shared[1]}`, expected: 'an instrument of its own',
      got: `${instrument}, which serves ${shared[0]} already`,
    })
  }
  return list
}
