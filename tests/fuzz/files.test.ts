/** What people write: bench files, profiles, rack lists, parameters. Read whole or refused in words; never run. */
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterAll, describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { BenchError } from '../../src/base/errors.ts'
import { packageFile } from '../../src/base/paths.ts'
import { checkBench, ProfileFolder } from '../../src/app/files.ts'
import { compose } from '../../src/app/compose.ts'
import { completePlan } from '../../src/app/own-plan.ts'
import { readRackList } from '../../src/cli/rack-list.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import type { PlanInput } from '../../src/engine/sequence.ts'
import { plan as planShape } from '../../src/schema/application.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { classesOfRole, instrumentProfile, type InstrumentProfile } from '../../src/schema/instrument-profile.ts'
import type { OwnSequence } from '../../src/schema/own-sequence.ts'
import { partProfile } from '../../src/schema/part-profile.ts'
import { invalidFile, parseText, type Parsed } from '../../src/schema/read-file.ts'
import { roleNames } from '../../src/schema/roles.ts'
import { startRequest } from '../../src/schema/run.ts'
import { shippedSequences } from '../../src/sequences/index.ts'
import { partOf, pavilionFile } from '../safety/pavilion.ts'
import { benchErrorOr, holds } from './holds.ts'
import { altered, alteredJson, anyJson, nasty, yamlPieces } from './texts.ts'

const shipped = (kind: string): string[] => readdirSync(packageFile('profiles', kind))
  .map(name => readFileSync(packageFile('profiles', kind, name), 'utf8'))
const texts = (kind: string): fc.Arbitrary<string> => fc.oneof(
  { arbitrary: altered(shipped(kind), yamlPieces), weight: 6 },
  { arbitrary: nasty(300), weight: 1 }, { arbitrary: anyJson.map(value => JSON.stringify(value) ?? ''), weight: 1 },
)
const port = {
  name: 'thing', query: async () => { throw new BenchError('LINK_DOWN', 'nobody') }, write: async () => { throw new BenchError('LINK_DOWN', 'nobody') },
}
const isPolluted = (): boolean => Object.keys(Object.prototype).length > 0 || ({} as { a?: unknown }).a !== undefined

/** Problems can be told in words; nothing leaks into every object. */
function wellRefused(parsed: Parsed<unknown>): void {
  expect(isPolluted()).toBe(false)
  if (parsed.ok) return
  expect(parsed.problems.length).toBeGreaterThan(0)
  expect(invalidFile('x', parsed.problems).message.length).toBeLessThan(100_000)
}

describe('files that people write', () => {
  it('bench files are read or refused, and what is read makes a bench or is refused', async () => {
    const folder = new ProfileFolder(null)
    const clock = new VirtualClock()
    // The small bench more often than the rack: it takes a tenth of the time.
    const small = altered([readFileSync(packageFile('profiles', 'benches', 'one-part.yaml'), 'utf8')], yamlPieces)
    await holds('bench files', fc.oneof({ arbitrary: small, weight: 8 }, { arbitrary: texts('benches'), weight: 2 }), text => {
      const parsed = parseText(benchFile, text, 'bench.yaml')
      wellRefused(parsed)
      if (!parsed.ok) return
      const bench = benchErrorOr(() => checkBench(parsed.value, 'bench.yaml', folder))
      if (bench instanceof Error) return
      benchErrorOr(() => compose(bench, { clock, linkClock: clock, open: () => { throw new Error('opened') }, keeperPort: () => port }))
    })
  })

  it('instrument profiles are read or refused, and what is read makes drivers', async () => {
    await holds('instrument profiles', texts('instruments'), text => {
      const parsed = parseText(instrumentProfile, text, 'profile.yaml')
      wellRefused(parsed)
      if (!parsed.ok) return
      const profile = parsed.value as InstrumentProfile
      benchErrorOr(() => sessionOptionsOf(profile))
      for (const role of roleNames.filter(name => classesOfRole[name].includes(profile.class))) {
        benchErrorOr(() => createDriver(role, profile, port, new VirtualClock(), { relay: 1 }))
      }
    })
  })

  it('part profiles are read or refused', async () => {
    await holds('part profiles', texts('parts'), text => wellRefused(parseText(partProfile, text, 'part.yaml')))
  })

  const racks = mkdtempSync(join(tmpdir(), 'fuzz-racks-'))
  afterAll(() => rmSync(racks, { recursive: true }))
  it('rack lists are read or refused, in every form', async () => {
    const csv = 'position,part,profile,condition,note\nP01,C1,al-450v-47u-general,sound,"from ""the"" rack"\nP02,C2,al-450v-47u-general,,\n'
    const yaml = '- position: P01\n  part: C1\n  profile: al-450v-47u-general\n- {position: P02, part: C2, profile: x, note: y}\n'
    const inputs = fc.tuple(fc.constantFrom('csv', 'yaml', 'json'),
      fc.oneof(altered([csv, csv.replaceAll(',', ';'), yaml, '[{"position":"P01","part":"C1","profile":"x"}]'], fc.oneof(yamlPieces, nasty(10))), nasty(200)))
    await holds('rack lists', inputs, ([kind, text]) => {
      const path = join(racks, `rack.${kind}`)
      writeFileSync(path, text)
      const rack = benchErrorOr(() => readRackList(path))
      if (rack instanceof Error) return
      for (const { part } of rack.parts) expect(part).toMatch(/^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/)
    })
  })
})

function planInput(parameters: unknown, count: number, use: 'unattended' | 'attended' | 'touch-safe'): PlanInput<unknown> {
  const bench = pavilionFile()
  const profile = partOf()
  const parts = bench.fixture.positions.slice(0, count).map(({ name }, i) => ({
    loaded: { position: name, part: `T-${i + 1}`, profile: profile.name, note: '', condition: 'sound' as const }, profile,
  }))
  return {
    bench, parts, sweepS: 1.2, parameters, request: startRequest.parse({ sequence: 'x', person: 'night watch', use }), formedAgoS: new Map(),
    supply: { voltageMaxV: 600, currentMaxA: 0.85, voltageStepV: 0.02, currentStepA: 1e-4, currentErrorA: 0, outputCapacitanceF: 1e-5 },
  }
}

const parameterValue = fc.oneof(fc.double(), fc.integer(), fc.constantFrom(0, -1, 1e-300, 1e300, 5e-324, 60, 450, 0.5, true, false, 'x', null), nasty(10))
const uses = fc.constantFrom('unattended' as const, 'attended' as const, 'touch-safe' as const)

describe('parameters of a request', () => {
  it('are refused, or give a plan whose every number is one', async () => {
    const known = [...new Set(shippedSequences.flatMap(({ parameters }) => Object.keys((parameters as { shape?: object }).shape ?? {})))]
    const inputs = fc.record({
      sequence: fc.constantFrom(...shippedSequences), count: fc.nat(10), use: uses,
      parameters: fc.oneof(fc.dictionary(fc.constantFrom(...known), parameterValue, { maxKeys: 3 }), fc.dictionary(fc.constantFrom(...known),
        fc.oneof(fc.double({ min: 0, max: 1000, noNaN: true }), fc.nat(500)), { maxKeys: 4 }), anyJson),
    })
    await holds('parameters', inputs, ({ sequence, count, parameters, use }) => {
      const parsed = sequence.parameters.safeParse(parameters)
      if (!parsed.success) return
      const plan = benchErrorOr(() => sequence.plan(planInput(parsed.data, count, use)))
      if (!(plan instanceof Error)) planShape.parse(plan)
    })
  })

  it('of a person\'s own sequence: whatever its plan says is refused or is a plan', async () => {
    const steps = fc.array(fc.record({ name: nasty(10), busV: fc.oneof(parameterValue, fc.nat(500)), minS: fc.oneof(parameterValue, fc.nat(500)), maxS: fc.oneof(parameterValue, fc.nat(500)) }), { maxLength: 4 })
    const said = fc.oneof(anyJson, alteredJson(fc.record({ targetV: fc.nat(500), steps })), fc.record({ targetV: parameterValue, steps, warnings: fc.array(nasty(10), { maxLength: 2 }) }))
    await holds('own parameters', fc.record({ said, energises: fc.boolean(), count: fc.nat(5), use: uses }), ({ said: value, energises, count, use }) => {
      const own = {
        name: 'own', summary: 'x', parameters: { safeParse: () => ({}) }, energises, plan: () => value, run: async () => {},
      } as unknown as OwnSequence<unknown>
      const plan = benchErrorOr(() => completePlan(own, planInput({}, count, use)))
      if (!(plan instanceof Error)) planShape.parse(plan)
    })
  })
})
