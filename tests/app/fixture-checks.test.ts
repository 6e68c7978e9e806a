import { describe, expect, it } from 'vitest'
import { checkBench, loadBench, ProfileFolder } from '../../src/app/files.ts'
import { packageFile } from '../../src/base/paths.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { benchFile } from '../../src/schema/bench.ts'
import type { BenchFile } from '../../src/schema/bench.ts'
import { changeoverKeys } from '../../src/schema/fixture.ts'

const folder = new ProfileFolder(null)
const load = (name: string): BenchFile => structuredClone(loadBench(packageFile('profiles', `benches/${name}.yaml`), folder).file)

function problemsOf(bench: unknown): string[] {
  try {
    checkBench(benchFile.parse(bench), 'bench.yaml', folder)
    return []
  } catch (error) {
    return (error as BenchError).context.problems!.map(({ path, expected, got }) => `${path}: ${expected}, ${got}`)
  }
}

describe('what a bench file must say of its fixture', () => {
  it('the shipped benches say it', () => {
    expect(load('one-part').fixture.kind).toBe('single')
    expect(load('saltmarsh-pavilion').fixture.kind).toBe('rack')
  })

  it.each(changeoverKeys)('a rack without %s is refused, naming it', key => {
    const bench = load('saltmarsh-pavilion')
    delete bench.fixture[key]
    expect(problemsOf(bench)).toEqual([`fixture.${key}: a rack has it, none`])
  })

  it.each(['positions', 'bus-meter', 'scanner'] as const)('a rack without the role %s is refused, naming it', role => {
    const bench = load('saltmarsh-pavilion')
    delete bench.roles[role]
    expect(problemsOf(bench).join('\n')).toContain(`roles.${role}:`)
  })

  it('a rack names the relay and the scanner channel of each position', () => {
    const bench = load('saltmarsh-pavilion')
    delete bench.fixture.positions[2]!.relay
    delete bench.fixture.positions[3]!.sense
    expect(problemsOf(bench)).toEqual([
      'fixture.positions[2].relay: a rack has it, none', 'fixture.positions[3].sense: a fixture with a scanner has it, none',
    ])
  })

  it('a part that is wired to the bus for good has no bleeder and no relays', () => {
    const bench = load('one-part')
    bench.fixture.bleederOhm = 1e5
    expect(problemsOf(bench)).toEqual(['fixture.bleederOhm: none on a single fixture without a `positions` role, 100000'])
  })

  it.each(['constructor', '__proto__', 'toString'])('a role names an instrument of the file, not %s', name => {
    const bench = load('saltmarsh-pavilion')
    bench.roles.supply = name
    const known = Object.keys(bench.instruments).join(', ')
    expect(problemsOf(bench)).toContain(`roles.supply: one of ${known}, ${name}`)
  })

  it('a single fixture has one position', () => {
    const bench = load('one-part')
    bench.fixture.positions.push({ name: 'P02' })
    expect(problemsOf(bench)).toEqual(['fixture.positions: one position for a single fixture, 2'])
  })
})
