import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Ajv2020, type ValidateFunction } from 'ajv/dist/2020.js'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { RealClock } from '../../src/base/clock.ts'
import { packageFile } from '../../src/base/paths.ts'
import { realContext } from '../../src/cli/context.ts'
import { runCli } from '../../src/cli/run-cli.ts'

/** Another program's reading of the schemas, as an editor has one: these are not judged by what made them. */
const compile = (file: string): ValidateFunction =>
  new Ajv2020({ strict: true, strictTypes: false, allErrors: true })
    .compile(JSON.parse(readFileSync(join(folder, file), 'utf8')) as object)

let folder: string
let said: string[]
const run = async (...argv: string[]): Promise<number> => await runCli(argv, {
  ...realContext('ida'), clock: new RealClock(), env: {},
  out: { write: (text: string) => said.push(text) }, err: { write: (text: string) => said.push(text) },
})

beforeEach(async () => {
  folder = join(mkdtempSync(join(tmpdir(), 'schema-')), 'made', 'by it')
  said = []
  expect(await run('schema', '--out', folder)).toBe(0)
})
afterEach(() => { rmSync(join(folder, '..', '..'), { recursive: true }) })

type Plain = Record<string, unknown>
const shipped = (kind: string): [string, Plain][] => readdirSync(packageFile('profiles', kind))
  .map(name => [name, parse(readFileSync(packageFile('profiles', kind, name), 'utf8')) as Plain])

describe('the schemas for editors', () => {
  it.each([
    ['benches', 'bench.schema.json'], ['instruments', 'instrument-profile.schema.json'],
    ['parts', 'part-profile.schema.json'], ['policies', 'parts-policy.schema.json'], ['units', 'unit-profile.schema.json'],
  ])('take every shipped file of %s, and none with a key too many or one too few', (kind, file) => {
    const validate = compile(file)
    const files = shipped(kind)
    expect(files.length).toBeGreaterThan(0)
    for (const [name, value] of files) {
      expect(validate(value), `${name}: ${JSON.stringify(validate.errors)}`).toBe(true)
      expect(validate({ ...value, surprise: 1 }), `${name} with a strange key`).toBe(false)
      const [first] = Object.keys(value)
      expect(
        validate(Object.fromEntries(Object.entries(value).slice(1))), `${name} without ${first}`
      ).toBe(false)
    }
  })

  it('take a rack list, and refuse one with a condition nobody knows', () => {
    const validate = compile('rack-list.schema.json')
    const part = { position: 'P01', part: 'C1', profile: 'al-450v-47u-general' }
    expect(validate([part, { ...part, condition: 'weeping', note: 'from the left side' }])).toBe(true)
    expect(validate([])).toBe(false)
    expect(validate([{ ...part, condition: 'shiny' }])).toBe(false)
  })

  it('refuse what a person is most likely to write: a value with its unit', () => {
    const [, part] = shipped('parts')[0]!
    const validate = compile('part-profile.schema.json')
    expect(validate({ ...part, capacitanceF: '100 uF' })).toBe(false)
    expect(validate.errors!.map(({ instancePath }) => instancePath)).toContain('/capacitanceF')
  })

  it('say how a file names its schema, and are told as JSON too', async () => {
    expect(said.join('')).toContain(`# yaml-language-server: $schema=${join(folder, 'bench.schema.json')}`)
    said = []
    expect(await run('schema', '--out', folder, '--json')).toBe(0)
    expect((JSON.parse(said.join('')) as unknown[]).length).toBe(7)
  })

  it('end with 2 where they cannot be written, and without a folder', async () => {
    expect(await run('schema', '--out', join(folder, 'bench.schema.json', 'deeper'))).toBe(2)
    expect(await run('schema')).toBe(2)
  })

  it('leave a shipped file readable that names its schema in its first line', () => {
    const text = readFileSync(
      packageFile('profiles', 'parts', readdirSync(packageFile('profiles', 'parts'))[0]!), 'utf8'
    )
    expect(parse(`# yaml-language-server: $schema=part-profile.schema.json\n${text}`)).toEqual(parse(text))
  })
})
