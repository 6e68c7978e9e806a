import { readdirSync } from 'node:fs'
import { basename, join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { classesOfRole, instrumentProfile } from '../../src/schema/instrument-profile.ts'
import { partProfile } from '../../src/schema/part-profile.ts'
import { loadFile, parseWith } from '../../src/schema/read-file.ts'
import { roleNames } from '../../src/schema/roles.ts'

const folderOf = (kind: string): string => join(import.meta.dirname, '../../profiles', kind)
const filesIn = (kind: string): string[] =>
  readdirSync(folderOf(kind)).map(file => join(folderOf(kind), file))
const supply = (): Record<string, unknown> & { commands: Record<string, unknown> } =>
  JSON.parse(
    JSON.stringify(loadFile(join(folderOf('instruments'), 'dc-supply-600v-a.yaml'), instrumentProfile))
  )

function refusal(value: unknown) {
  const parsed = parseWith(instrumentProfile, value, { file: 'p.yaml' })
  if (parsed.ok) throw new Error('expected a refusal')
  return parsed.problems
}

describe('the profiles that are shipped', () => {
  it.each(
    filesIn('instruments').map(file => [basename(file), file])
  )('%s is valid and named as its file', (name, file) => {
    expect(`${loadFile(file, instrumentProfile).profile}.yaml`).toBe(name)
  })

  it.each(
    filesIn('parts').map(file => [basename(file), file])
  )('%s is valid and named as its file', (name, file) => {
    expect(`${loadFile(file, partProfile).name}.yaml`).toBe(name)
  })

  it('offer at least one class for every role', () => {
    const classes = new Set(filesIn('instruments').map(file => loadFile(file, instrumentProfile).class))
    for (const role of roleNames) expect(classesOfRole[role].some(c => classes.has(c)), role).toBe(true)
  })

  it('speak two dialects of supply, meter and bridge; two supplies reach 450 V, and one gives 60 V at most', () => {
    const profiles = filesIn('instruments').map(file => loadFile(file, instrumentProfile))
    for (const name of ['dc-supply', 'multimeter', 'lcr-bridge']) {
      expect(profiles.filter(p => p.class === name).length, name).toBeGreaterThanOrEqual(2)
    }
    const supplies = profiles.filter(p => p.class === 'dc-supply').map(p => p.voltageMaxV)
    expect(supplies.filter(v => v >= 450).length).toBeGreaterThanOrEqual(2)
    expect(Math.min(...supplies)).toBe(60)
  })

  it('name their safe command in every class that can apply or cut energy', () => {
    for (const file of filesIn('instruments')) {
      const p = loadFile(file, instrumentProfile)
      if (p.class === 'dc-supply' || p.class === 'source-measure' || p.class === 'relay-board' || p.class === 'hold-in-relay') {
        expect(p.safeOff.commands.length, p.profile).toBeGreaterThan(0)
        expect(p.safeOff.verify, p.profile).toBeDefined()
      }
    }
  })

  it('keep every command within the input buffer they declare', () => {
    for (const file of filesIn('instruments')) {
      const p = loadFile(file, instrumentProfile)
      const commandsIn = (value: unknown): string[] => typeof value === 'string' ? [value]
        : typeof value === 'object' && value !== null ? Object.values(value).flatMap(commandsIn) : []
      const ohms = p.class === 'multimeter' ? p.resistance?.commands : undefined
      const lines = [...p.prepare, ...commandsIn(p.commands), ...commandsIn(ohms)]
      for (const line of lines) expect(
        line.length + 12, `${p.profile} ${line}`
      ).toBeLessThanOrEqual(p.link.inputBufferBytes)
    }
  })
})

describe('an instrument profile', () => {
  it('refuses a missing placeholder, a foreign one, and a query without question mark', () => {
    const profile = supply()
    Object.assign(profile.commands, { setVoltage: 'VOLT 5', setCurrent: 'CURR {volts}', askOutput: 'OUTP' })
    const problems = refusal(profile)
    expect(problems.map(p => p.path)).toEqual(
      ['commands.setVoltage', 'commands.setCurrent', 'commands.askOutput']
    )
    expect(problems[0]!.expected).toContain('{value}')
    expect(problems[2]!.expected).toContain('?')
  })

  it('refuses two commands in one line and a terminator inside a command', () => {
    for (const bad of ['VOLT {value};OUTP 1', 'VOLT {value}\n', 'VOLT {value}\r']) {
      const profile = supply()
      profile.commands.setVoltage = bad
      expect(refusal(profile)[0]!.path).toBe('commands.setVoltage')
    }
  })

  it('refuses a supply whose trips cannot be seen, and takes a status bit in place of the query', () => {
    const blind = supply()
    delete blind.commands.askOverVoltageTripped
    expect(parseWith(instrumentProfile, blind, { file: 'p' }).ok).toBe(true)
    delete blind.status
    expect(refusal(blind)[0]!.path).toBe('commands.askOverVoltageTripped')
  })

  it('refuses a supply that does not say what its terminals stand to earth', () => {
    const profile = supply()
    delete profile.isolation
    expect(refusal(profile)[0]).toMatchObject({ path: 'isolation', got: 'nothing' })
  })

  it('refuses an unknown class with the list of known ones', () => {
    expect(refusal({ class: 'dc-suply' })[0]!.expected).toContain('"dc-supply"')
  })

  it('tells the nearest key of its own class only', () => {
    const problems = refusal({ ...supply(), voltagMaxV: 3 })
    expect(problems[0]!.expected).toContain('did you mean voltageMaxV?')
  })
})
