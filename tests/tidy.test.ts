/** Style as a test: who may import whom, and the sizes of things. */
import { readdirSync, readFileSync } from 'node:fs'
import { dirname, join, relative, resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import { packageRoot } from '../src/base/paths.ts'

const may: Record<string, readonly string[]> = {
  base: [], schema: ['base'], transport: ['base'], scpi: ['base', 'transport'], drivers: ['base', 'schema', 'scpi'],
  safety: ['base', 'schema'], keeper: ['base', 'schema', 'transport', 'scpi', 'safety'], engine: ['base', 'schema', 'safety'],
  analysis: ['base'], sequences: ['base', 'schema', 'safety', 'engine', 'analysis'], store: ['base', 'schema'],
  report: ['base', 'schema', 'analysis'], api: ['base', 'schema', 'report'],
  app: ['base', 'schema', 'transport', 'scpi', 'drivers', 'safety', 'keeper', 'engine', 'analysis', 'sequences', 'store', 'report'],
  cli: ['base', 'schema', 'report', 'keeper', 'app', 'api'],
}

function filesUnder(folder: string): string[] {
  return readdirSync(join(packageRoot, folder), { recursive: true, encoding: 'utf8' })
    .filter(name => name.endsWith('.ts')).map(name => join(folder, name))
}

const importsOf = (file: string): string[] =>
  [...readFileSync(join(packageRoot, file), 'utf8').matchAll(/(?:from|import)\s*\(?\s*'(\.[^']+)'/g)]
    .map(([, to]) => relative(packageRoot, resolve(packageRoot, dirname(file), to!)))

const layerOf = (file: string): string | undefined => /^src\/([a-z]+)\//.exec(file)?.[1]

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
    const wrong = filesUnder('mocks').flatMap(file => importsOf(file).filter(to => to.startsWith('src/') && !to.startsWith('src/base/')).map(to => `${file} imports ${to}`))
    expect(wrong).toEqual([])
  })
  it('lets the campaign of nights import the program and the simulated bench alone', () => {
    const wrong = filesUnder('nights').flatMap(file => importsOf(file).filter(to => !/^(nights|src|mocks)\//.test(to)).map(to => `${file} imports ${to}`))
    expect(wrong).toEqual([])
  })
  it('lets rounds of real processes import the program alone', () => {
    const wrong = filesUnder('rounds').flatMap(file => importsOf(file).filter(to => !/^(rounds|src)\//.test(to)).map(to => `${file} imports ${to}`))
    expect(wrong).toEqual([])
  })
  it('keeps files at 400 lines or fewer', () => {
    const long = [...filesUnder('src'), ...filesUnder('mocks'), ...filesUnder('nights'), ...filesUnder('rounds')]
      .map(file => [file, readFileSync(join(packageRoot, file), 'utf8').split('\n').length] as const).filter(([, lines]) => lines > 401)
    expect(long).toEqual([])
  })
  it('leaves nothing marked as unfinished', () => {
    const marked = [...filesUnder('src'), ...filesUnder('mocks'), ...filesUnder('nights'), ...filesUnder('rounds')].filter(file => /\b(TODO|FIXME|XXX)\b/.test(readFileSync(join(packageRoot, file), 'utf8')))
    expect(marked).toEqual([])
  })
  it('gives each markdown file one title', () => {
    for (const file of ['README.md', 'DEVELOPERS.md', 'CHANGELOG.md', ...readdirSync(join(packageRoot, 'docs')).map(name => `docs/${name}`)]) {
      const outsideCode = readFileSync(join(packageRoot, file), 'utf8').replace(/```[\s\S]*?```/g, '')
      expect(outsideCode.match(/^# /gm)?.length, file).toBe(1)
    }
  })
})
