/** From a request to a plan: what is asked for, looked up and checked, with nothing touched. */
import type { Clock } from '../base/clock.ts'
import { BenchError, hasCode, type Problem } from '../base/errors.ts'
import type { AnySequence } from '../engine/sequence.ts'
import { withGear } from '../safety/gear.ts'
import type { Gear } from '../safety/gear.ts'
import { inServiceOf } from '../report/service.ts'
import type { Plan } from '../schema/application.ts'
import type { CalibrationTold } from '../schema/calibration.ts'
import { nearest, problemsOf } from '../schema/problems.ts'
import { invalidFile } from '../schema/read-file.ts'
import type { Roles, Supply } from '../schema/roles.ts'
import type { LoadedPart, StartRequest } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { calibrationTold } from './calibration.ts'
import type { ComposedBench } from './compose.ts'
import type { LoadedBench, ProfileFolder } from './files.ts'
import { everyPosition, type NightInput } from './night-maker.ts'
import { positionFaults } from './position-faults.ts'

type OneSequence = AnySequence & { readonly origin?: unknown }

export interface PrepareDeps {
  clock: Clock; bench: LoadedBench; composed: ComposedBench; store: Store
  profiles: ProfileFolder; sequences: readonly OneSequence[]
}

export interface Prepared {
  sequence: OneSequence; parameters: unknown; plan: Plan
  parts: NightInput['parts']
}

/** The sequence after which a part has to rest. */
const formingSequence = 'reform'

/**
 * Rejects USAGE for a sequence or parameters that do not exist, REFUSED where the bench lacks a
 * role. What the plan itself refuses stands in it; instruments are held against every plan that
 * energises, whosever it is.
 */
export async function prepare(deps: PrepareDeps, request: StartRequest): Promise<Prepared> {
  const { bench, composed, profiles } = deps
  const { sequence, parameters } = asked(deps, request)
  const loaded = withProfiles(request.parts, profiles)
  const parts = sequence.everyPosition === true
    ? everyPosition(bench, loaded) : await withFaults(deps, loaded)
  const supply = supplyOf(composed)
  const plan = sequence.plan({
    bench: bench.file, supply, parts, parameters, request,
    sweepS: sweepS(composed.roles, parts.length), formedAgoS: await formedAgoS(deps, request),
  })
  const held = sequence.energises
    ? withGear(plan, { bench: bench.file, gear: gearOf(bench), supplyMaxV: supply.voltageMaxV }) : plan
  const dated = withCalibration(held, calibrationTold(bench, deps.clock.wallMs()))
  return { sequence, parameters, parts, plan: withoutFaulty(withService(dated, loaded), sequence, parts) }
}

const withCalibration = (plan: Plan, calibration: CalibrationTold): Plan =>
  ({ ...plan, calibration, warnings: [...plan.warnings, ...calibration.pastDue] })

/** What is too much for a part in the unit it is for had better be known before the night. */
const withService = (plan: Plan, parts: Prepared['parts']): Plan => ({
  ...plan, warnings: [...plan.warnings, ...parts.flatMap(({ loaded, profile }) => {
    const { cautions = [] } = inServiceOf(profile, loaded) ?? {}
    return cautions.map(text => `${loaded.position} ${loaded.part}: ${text}`)
  })],
})

/** A position that bench-check found wanting: nothing that it shows of its part can be believed. */
async function withFaults(
  { store, bench }: PrepareDeps, parts: Prepared['parts'],
): Promise<Prepared['parts']> {
  const faults = await positionFaults(store, bench.file.bench)
  return parts.map(part => {
    const fault = faults.get(part.loaded.position)
    return fault === undefined ? part : { ...part, fault }
  })
}

const mendIt =
  'mend it, and let that check of bench-check pass there: with a test part on it, or empty, as it was then'

/** Shipped sequences leave the part off; of a person's own nobody knows, so that is refused. */
function withoutFaulty(plan: Plan, { origin }: OneSequence, parts: Prepared['parts']): Plan {
  const faulty = parts.filter(({ fault }) => fault !== undefined)
  if (faulty.length === 0) return plan
  if (!origin) return {
    ...plan, warnings: [...plan.warnings, ...faulty.map(({ fault, loaded: { position } }) =>
      `${position} stays off bridge and bus: ${fault}. To use it, ${mendIt}`)],
  }
  return {
    ...plan, refusals: [...plan.refusals, ...faulty.map(({ fault, loaded: { position } }) =>
      ({ what: 'position', have: fault!, need: 'a bench-check that passed', wayOut: mendIt, position }))],
  }
}

/** A bench that only screens has none: REFUSED. */
function supplyOf({ roles: { supply } }: ComposedBench): Supply['ratings'] {
  if (supply) return supply.ratings
  throw new BenchError('REFUSED', 'this bench has no supply', {
    expected: 'the role `supply` in the bench file', got: 'none',
  })
}

/** Throws FILE_INVALID with every part whose profile cannot be had. */
function withProfiles(parts: readonly LoadedPart[], profiles: ProfileFolder): Prepared['parts'] {
  const problems: Problem[] = []
  const found = parts.flatMap((loaded, i) => {
    try {
      return [{ loaded, profile: profiles.part(loaded.profile).profile }]
    } catch (error) {
      if (!hasCode(error, 'FILE_UNREADABLE', 'FILE_INVALID')) throw error
      const near = nearest(loaded.profile, profiles.partNames())
      const expected = near === undefined || near === loaded.profile ? 'a part profile'
        : `a part profile: did you mean ${near}?`
      const got = near === loaded.profile ? error.message : JSON.stringify(loaded.profile)
      problems.push({ file: 'parts', path: `parts[${i}].profile`, expected, got })
      return []
    }
  })
  if (problems.length > 0) throw invalidFile('parts', problems)
  return found
}

function asked(
  { composed, sequences }: PrepareDeps, request: StartRequest,
): Pick<Prepared, 'sequence' | 'parameters'> {
  const sequence = sequences.find(({ name }) => name === request.sequence)
  if (!sequence) {
    const known = sequences.map(({ name }) => name).join(', ')
    throw new BenchError('USAGE', 'sequence', { expected: known, got: request.sequence })
  }
  const parsed = sequence.parameters.safeParse(request.parameters)
  if (!parsed.success) {
    const wrong = problemsOf(sequence.parameters, request.parameters, parsed.error.issues)
      .map(({ path, expected, got }) => `  ${path.map(String).join('.')}: expected ${expected}, got ${got}`)
    const head = `parameters of ${sequence.name} (nightbench sequences ${sequence.name} lists them):`
    throw new BenchError('USAGE', [head, ...wrong].join('\n'))
  }
  const missing = sequence.roles.filter(role => composed.roles[role] === undefined)
  if (missing.length > 0) {
    throw new BenchError('REFUSED', `${sequence.name} needs roles this bench lacks`,
      { expected: missing.join(', '), got: 'none' })
  }
  return { sequence, parameters: parsed.data as unknown }
}

/** Select, settle and read once a position, with 10 ms for the links. */
function sweepS({ scanner, 'sense-meter': meter }: Roles, count: number): number {
  return count * ((scanner?.settleMs ?? 0) + (meter?.readingMs ?? 0) + 10) / 1000
}

export const gearOf = ({ roles, profiles }: LoadedBench): Gear =>
  new Map([...roles].map(([role, { instrument }]) => [role, profiles.get(instrument)!.profile]))

/** Seconds since the last forming of each part ended, where one is on record that read what it leaks. */
async function formedAgoS(
  { clock, store }: PrepareDeps, { parts }: StartRequest,
): Promise<Map<string, number>> {
  const ago = new Map<string, number>()
  await Promise.all([...new Set(parts.map(({ part }) => part))].map(async part => {
    const formed = (await store.partHistory(part))
      .find(({ run, result: { criteria } }) => run.sequence === formingSequence && run.endedWallMs !== null
        && criteria.some(({ name }) => name === 'leakage'))
    if (formed) ago.set(part, (clock.wallMs() - formed.run.endedWallMs!) / 1000)
  }))
  return ago
}
