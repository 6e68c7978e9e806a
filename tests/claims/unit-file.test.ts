/** Unit profiles: all that is wrong at once, with its place; the shipped ones; claims as they are understood. */
import { readdirSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { stringify } from 'yaml'
import { packageFile } from '../../src/base/paths.ts'
import { ProfileFolder } from '../../src/app/files.ts'
import { claimsOf, judgeUnit, loadUnitProfile, parseUnitProfile } from '../../src/claims/unit-file.ts'
import { claimWords } from '../../src/claims/words.ts'
import { readClaim, ratingsOf } from '../../src/claims/read.ts'
import { figureUnits, type Figure } from '../../src/schema/figure.ts'
import { describeProblem } from '../../src/schema/read-file.ts'
import { unitProfile } from '../../src/schema/unit-profile.ts'

const files = readdirSync(packageFile('profiles', 'units'))
const amplifier = loadUnitProfile(packageFile('profiles', 'units', 'saltmarsh-pavilion-amplifier.yaml'))

type Plain = Record<string, unknown>
const plain: Plain = {
  version: 1, unit: 'plain', description: 'A plain unit',
  supply: { kind: 'mains', voltageV: 230, frequencyHz: 50, protection: 'earthed', fuse: 'T 1 A', currentMaxA: 1, powerIdleMaxW: 20, powerMaxW: 100, mayRunLow: true },
  channels: ['left', 'right'].map(name => ({ name, input: { impedanceOhm: 47e3, levelMaxV: 2 }, output: { kind: 'earthed', isValve: false, loadOhm: 8, ratedW: 25, dcMaxV: 0.05 } })),
  rails: [{ name: 'plus', nominalV: 30, pairedWith: 'minus' }, { name: 'minus', nominalV: -30, pairedWith: 'plus' }],
  stages: [{ name: 'whole', rails: ['plus', 'minus'], outputs: true }],
}
const told = (over: Plain): string[] => {
  const parsed = parseUnitProfile(stringify({ ...plain, ...over }), 'plain.yaml')
  return parsed.ok ? [] : parsed.problems.map(problem => describeProblem({ ...problem, file: '' }).trim())
}
const rail = (name: string, over: Plain = {}): Plain => ({ name, nominalV: 30, ...over })

describe('a unit profile', () => {
  it('that is sound has nothing wrong', () => { expect(told({})).toEqual([]) })
  it.each<[Plain, RegExp[]]>([
    [{ rails: [rail('plus', { pairedWith: 'minsu' }), rail('minus', { nominalV: -30 })] }, [/rails\[0\]\.pairedWith: expected another rail: minus, got "minsu"/]],
    [{ rails: [rail('plus', { pairedWith: 'plus' }), rail('minus')] }, [/rails\[0\]\.pairedWith: expected another rail: minus, got "plus"/]],
    [{ rails: [rail('plus', { pairedWith: 'minus' }), rail('minus')] }, [/rails\[0\]\.pairedWith: expected a rail of the other sign/]],
    [{ rails: [rail('plus'), rail('plus')], stages: [{ name: 'a' }, { name: 'a' }] }, [/rails\[1\]\.name: expected each name once, got "plus" twice/, /stages\[1\]\.name: expected each name once/]],
    [{ stages: [{ name: 'whole', rails: ['plus', 'heater'] }] }, [/stages\[0\]\.rails\[1\]: expected a rail of this unit: plus, minus, got "heater"/]],
    [{ idle: [{ name: 'i', minA: 0.1, maxA: 0.05, overOhm: 1 }], temperatures: [{ place: 'sink', maxC: 80 }, { place: 'sink', maxC: 90 }] }, [/temperatures\[1\]\.place: expected each name once/, /idle\[0\]\.minA: expected less than maxA, 0.05 A, got 0.1/]],
    [{ supply: { ...plain['supply'] as Plain, powerMaxW: 500, powerIdleMaxW: 600 } }, [/supply\.powerIdleMaxW: expected at most powerMaxW, 500 W, got 600/, /supply\.powerMaxW: expected at most voltageV × currentMaxA, 230 W, got 500/]],
    [{ supply: { kind: 'dc', voltageV: 24, currentMaxA: 2, currentIdleMaxA: 3 } }, [/supply\.currentIdleMaxA: expected at most currentMaxA, 2 A, got 3/]],
    [{ channels: [{ ...(plain['channels'] as Plain[])[0]!, output: { kind: 'grounded', isValve: false, loadOhm: 8, ratedW: 25, dcMaxV: 0.05 } }] }, [/channels\[0\]\.output\.kind: expected one of "earthed", "bridged", "floating", "line-transformer", got "grounded"/]],
    [{ claims: ['40 W music power', 'THD under 1 %, channel middle', 'gain 34 dB', '3 x 25 W at 1 % THD'] }, [
      /claims\[0\]: expected power of a sine that lasts.*got "music power" at column 6 of the claim/, /claims\[1\]: expected one of the unit's channels: left, right, got "channel middle" at column 16/,
      /claims\[2\]: expected at least, at most, or a tolerance/, /claims\[3\]: expected 2 x/,
    ]],
    [{ claims: [{ quantity: 'gain', least: 30, channel: 'middle', conditions: { curve: 'riaa' } }, { quantity: 'output power', least: 20, conditions: { distortionOf: 'thd' } }, { quantity: 'dc offset', least: -1 }] }, [
      /claims\[0\]\.conditions\.curve: expected a condition of gain: loadOhm, .*got the key "curve"/, /claims\[0\]\.channel: expected a channel of this unit: left, right, got "middle"/, /claims\[1\]\.conditions\.distortionOf: expected a distortion beside it/, /claims\[2\]: expected most, above 0/,
    ]],
    [{ claims: [{ quantity: 'noise', most: 1e-3, conditions: { bandLowHz: 20 } }, { quantity: 'gain', least: 3, most: 2 }, { quantity: 'thd' }] }, [/claims\[0\]\.conditions\.bandLowHz: expected a band from low to high/, /claims\[1\]\.least: expected less than most/, /claims\[2\]: expected least, most or both/]],
  ])('tells everything that is wrong, with its path: %j', (over, expected) => {
    const problems = told(over)
    expect(problems.length, problems.join('\n')).toBe(expected.length)
    for (const one of expected) expect(problems.join('\n')).toMatch(one)
  })
  it('tells what the schema finds and what compares fields at once, in lines of the file', () => {
    const parsed = parseUnitProfile(stringify({ ...plain, railsDownS: '2 min', rails: [rail('plus', { pairedWith: 'x' })], claims: ['hums'] }), 'plain.yaml')
    expect(parsed.ok).toBe(false)
    const paths = parsed.ok ? [] : parsed.problems.map(({ path }) => path)
    expect(paths).toEqual(['railsDownS', 'rails[0].pairedWith', 'stages[0].rails[1]', 'claims[0]'])
    if (!parsed.ok) for (const { line } of parsed.problems) expect(line).toBeGreaterThan(1)
  })
  it('whose channels cannot be read is not told off for claims that need them', () => {
    expect(told({ channels: 'two', claims: ['hum -60 dB below rated output', 'THD under 1 %, channel left', 'hums'] })).toEqual([
      expect.stringMatching(/channels: expected a list, got "two"/), expect.stringMatching(/claims\[2\]: expected words of a claim/),
    ])
  })
})

describe('the shipped units', () => {
  it('are found by name, and named as their file', () => {
    const folder = new ProfileFolder(null)
    expect(folder.unitNames()).toEqual(files.map(name => name.replace('.yaml', '')).sort())
    for (const name of folder.unitNames()) expect(folder.unit(name).profile.unit).toBe(name)
    expect(() => folder.unit('nobody')).toThrow(/no unit profile nobody/)
  })
  it.each(files)('%s: every claim is understood, and each reads back from its canonical words', file => {
    const profile = loadUnitProfile(packageFile('profiles', 'units', file))
    const stated = claimsOf(profile)
    expect(stated.map(({ words }) => words).length).toBe(profile.claims.length)
    for (const one of stated.flatMap(({ claims }) => claims)) {
      expect(readClaim(claimWords(one), ratingsOf(profile))).toMatchObject({ ok: true, claims: [one] })
    }
  })
  it('are schema and names apart from anything that the program adds', () => {
    for (const file of files) {
      const text = readFileSync(packageFile('profiles', 'units', file), 'utf8')
      expect(parseUnitProfile(text, file).ok).toBe(true)
      expect(parseUnitProfile(text.replace('version: 1', 'version: 2'), file).ok).toBe(false)
    }
  })
})

describe('claims of a profile', () => {
  it('have the load of the line, and what is rated', () => {
    const [power] = claimsOf(amplifier)
    expect(power!.claims).toEqual([{ quantity: 'output power', least: 40, conditions: { loadOhm: 250, distortion: 0.02, distortionOf: 'thd', bandLowHz: 80, bandHighHz: 12e3, driven: 'all' } }])
    expect(claimsOf(amplifier).find(({ words }) => words.startsWith('power bandwidth'))!.claims.map(({ conditions: { outputW } }) => outputW)).toEqual([20, 20])
    expect(claimsOf(amplifier).at(-1)).toEqual({ words: 'channel balance ± 1 dB, at 1 kHz', assumed: [], claims: [{ quantity: 'channel balance', least: -1, most: 1, conditions: { frequencyHz: 1000 } }] })
  })
  it('are judged one by one, in the order of the profile', () => {
    const figures: Figure[] = claimsOf(amplifier).flatMap(({ claims }) => claims).flatMap(({ quantity, least, most, conditions }) =>
      (quantity === 'channel balance' ? [null] : ['bandstand', 'tea-room']).map(channel => ({
        quantity, channel, unit: figureUnits[quantity], u: 1e-3 * Math.abs((least ?? most)!), notes: [], conditions,
        value: least !== undefined && most !== undefined ? (least + most) / 2 : least === undefined ? most! * 0.8 : least * 1.2,
      })))
    const verdicts = judgeUnit(amplifier, figures)
    expect(verdicts.map(({ end }) => end)).toEqual(Array.from({ length: 15 }, () => 'met'))
    expect(verdicts[0]!.words).toBe(amplifier.claims[0])
    expect(judgeUnit(amplifier, []).every(({ end }) => end === 'cannot be told')).toBe(true)
  })
  it('of a profile that nobody checked are not left out in silence', () => {
    expect(() => claimsOf(unitProfile.parse({ ...plain, claims: ['40 W music power'] }))).toThrow(/a claim of plain cannot be read/)
  })
})
