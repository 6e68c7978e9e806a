/** Style as a test: who may import whom, and the sizes of things. */
import { readdirSync, readFileSync } from 'node:fs'
import { dirname, join, relative, resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import { packageRoot } from '../src/base/paths.ts'

const may: Record<string, readonly string[]> = {
  base: [], schema: ['base'], transport: ['base'], scpi: ['base', 'transport'], drivers: ['base', 'schema', 'scpi'],
  safety: ['base', 'schema'], keeper: ['base', 'schema', 'transport', 'scpi', 'safety'], engine: ['base', 'schema', 'safety'],
  analysis: ['base'], marks: ['base'], parts: ['base', 'schema', 'marks'],
  sequences: ['base', 'schema', 'safety', 'engine', 'analysis'], store: ['base', 'schema'],
  screening: ['base', 'schema', 'analysis', 'sequences'],
  sound: ['base', 'schema', 'analysis'], claims: ['base', 'schema', 'analysis', 'marks'],
  proving: ['base', 'schema', 'analysis'],
  powering: ['base', 'schema', 'safety', 'engine', 'analysis', 'sequences', 'proving'],
  verify: ['base', 'schema', 'analysis', 'safety', 'engine', 'claims', 'proving', 'powering'],
  'burn-in': ['base', 'schema', 'safety', 'engine', 'analysis', 'sequences', 'proving', 'powering'],
  report: ['base', 'schema', 'analysis', 'claims'], api: ['base', 'schema', 'report'],
  app: ['base', 'schema', 'transport', 'scpi', 'drivers', 'safety', 'keeper', 'engine', 'analysis', 'sequences', 'store', 'report', 'marks', 'parts', 'claims', 'screening', 'proving', 'powering', 'burn-in', 'verify'],
  cli: ['base', 'schema', 'report', 'marks', 'parts', 'claims', 'sound', 'keeper', 'app', 'api'],
}

function filesUnder(folder: string): string[] {
  return readdirSync(join(packageRoot, folder), { recursive: true, encoding: 'utf8' })
    .filter(name => name.endsWith('.ts')).map(name => join(folder, name))
}

/** Everything that runs, tests left out. */
const program = ['src', 'mocks', 'nights', 'rounds'].flatMap(filesUnder)

const textOf = (file: string): string => readFileSync(join(packageRoot, file), 'utf8')

/** What the files of `folder` import of ours that `allowed` does not name. */
const strange = (folder: string, allowed: RegExp): string[] => filesUnder(folder).flatMap(file =>
  importsOf(file).filter(to => !allowed.test(to)).map(to => `${file} imports ${to}`))

const importsOf = (file: string): string[] =>
  [...textOf(file).matchAll(/(?:from|import)\s*\(?\s*'(\.[^']+)'/g)]
    .map(([, to]) => relative(packageRoot, resolve(packageRoot, dirname(file), to!)))

const layerOf = (file: string): string | undefined => /^src\/([a-z-]+)\//.exec(file)?.[1]

describe('the code base', () => {
  it('imports one way only', () => {
    const wrong = filesUnder('src').flatMap(file => importsOf(file).filter(to => {
      const from = layerOf(file)
      const target = layerOf(to)
      if (/^(mocks|benchmarks|nights|rounds)/.test(to)) return true
      return from !== undefined && target !== undefined && target !== from && !may[from]!.includes(target)
    }).map(to => `${file} imports ${to}`))
    expect(wrong).toEqual([])
  })
  it('lets simulated instruments share nothing with what they test but the clock, randomness and errors', () => {
    expect(strange('mocks', /^(mocks|src\/base)\//)).toEqual([])
  })
  it('lets the campaign of nights import the program and the simulated bench alone', () => {
    expect(strange('nights', /^(nights|src|mocks)\//)).toEqual([])
  })
  it('lets rounds of real processes import the program alone', () => {
    expect(strange('rounds', /^(rounds|src)\//)).toEqual([])
  })
  it('keeps files at 400 lines or fewer', () => {
    const long = program.map(file => [file, textOf(file).split('\n').length] as const)
    expect(long.filter(([, lines]) => lines > 401)).toEqual([])
  })
  it('keeps lines at 110 characters or fewer', () => {
    const wide = ['src', 'mocks'].flatMap(filesUnder).flatMap(file => textOf(file).split('\n')
      .flatMap((line, i) => [...line].length > 110 ? [`${file}:${i + 1}`] : []))
    expect(wide).toEqual([])
  })
  it('leaves nothing marked as unfinished', () => {
    expect(program.filter(file => /\b(TODO|FIXME|XXX)\b/.test(textOf(file)))).toEqual([])
  })
  it('gives each markdown file one title', () => {
    for (const file of ['README.md', 'DEVELOPERS.md', 'CHANGELOG.md', ...readdirSync(join(packageRoot, 'docs')).map(name => `docs/${name}`)]) {
      const outsideCode = textOf(file).replace(/```[\s\S]*?```/g, '')
      expect(outsideCode.match(/^# /gm)?.length, file).toBe(1)
    }
  })
})
