/** Unit profiles: what no schema can say of them, and the claims in them. Everything wrong at once. */
import { z } from 'zod'
import { BenchError } from '../base/errors.ts'
import { claim, claimEntry, type Claim, type ClaimVerdict } from '../schema/claims.ts'
import type { Conditions, Figure } from '../schema/figure.ts'
import type { Found, Path } from '../schema/problems.ts'
import { loadFile, parseText, type Parsed } from '../schema/read-file.ts'
import { unitProfile, type UnitProfile } from '../schema/unit-profile.ts'
import { judgeClaim } from './judge.ts'
import { conditionsOf } from './kinds.ts'
import { ratingsOf, readClaim, type Rating } from './read.ts'
import { claimWords } from './words.ts'

/** FILE_UNREADABLE, or FILE_INVALID with every problem, its path, line and column. */
export const loadUnitProfile = (path: string): UnitProfile =>
  loadFile(path, unitProfile, 'a unit profile', unitFaults)

/** The same of a text; `file` is its name for messages. Never throws. */
export const parseUnitProfile = (text: string, file: string): Parsed<UnitProfile> =>
  parseText(unitProfile, text, file, unitFaults)

/** An entry of a profile as it is understood. */
export interface StatedClaim {
  /** As printed, or the canonical words of one that is taken apart. */
  readonly words: string
  readonly claims: readonly Claim[]
  readonly assumed: readonly string[]
}

/** FILE_INVALID for a profile that was not read by this module, where a claim of it cannot be read. */
export function claimsOf(profile: UnitProfile): StatedClaim[] {
  const ratings = ratingsOf(profile)
  return profile.claims.map(entry => {
    if (typeof entry !== 'string') return { words: claimWords(entry), claims: [entry], assumed: [] }
    const read = readClaim(entry, ratings)
    if (!read.ok) throw unreadable(profile.unit, entry)
    return { words: entry, claims: read.claims, assumed: read.assumed }
  })
}

const unreadable = (unit: string, words: string): BenchError =>
  new BenchError('FILE_INVALID', `a claim of ${unit} cannot be read: ${shown(words)}`)

/** How every claim of a unit ends, in the order of its profile. */
export function judgeUnit(profile: UnitProfile, figures: readonly Figure[]): ClaimVerdict[] {
  const channels = profile.channels.map(({ name }) => name)
  return claimsOf(profile).flatMap(({ words, claims }) =>
    claims.map(one => judgeClaim({ words, claim: one }, figures, channels)))
}

type Loose = Readonly<Record<string, unknown>>
const isLoose = (value: unknown): value is Loose =>
  typeof value === 'object' && value !== null && !Array.isArray(value)

/** The groups of a list, with the place of each; whatever else stands in it is the schema's to tell. */
const groups = (value: unknown, key: string): { at: Path; of: Loose }[] => {
  const list = isLoose(value) ? value[key] : undefined
  if (!Array.isArray(list)) return []
  return list.flatMap((one: unknown, i) => isLoose(one) ? [{ at: [key, i], of: one }] : [])
}
const texts = (value: unknown): { text: string; at: number }[] => !Array.isArray(value) ? []
  : value.flatMap((one: unknown, at) => typeof one === 'string' ? [{ text: one, at }] : [])
const shown = (value: unknown): string => typeof value === 'string' ? JSON.stringify(value) : String(value)
const numbered = (value: unknown): number => typeof value === 'number' ? value : NaN

/** What compares two fields of a unit profile, and what its claims say. */
export const unitFaults = (value: unknown): Found[] => [
  ...twice(value), ...supplyFaults(value), ...railFaults(value), ...idleFaults(value), ...stageFaults(value),
  ...claimFaults(value),
]

const named = {
  channels: 'name', rails: 'name', idle: 'name', temperatures: 'place', stages: 'name',
} as const

function twice(value: unknown): Found[] {
  return Object.entries(named).flatMap(([key, field]) => {
    const seen = new Set<unknown>()
    return groups(value, key).flatMap(({ at, of }) => {
      const name = of[field]
      if (typeof name !== 'string' || !seen.has(name)) {
        seen.add(name)
        return []
      }
      return [{ path: [...at, field], expected: 'each name once', got: `${shown(name)} twice` }]
    })
  })
}

/** Watts that a supply cannot take with the amperes that trip. */
function supplyFaults(value: unknown): Found[] {
  const supply = isLoose(value) && isLoose(value['supply']) ? value['supply'] : {}
  const [most, idle] = [numbered(supply['powerMaxW']), numbered(supply['powerIdleMaxW'])]
  const apparent = numbered(supply['voltageV']) * numbered(supply['currentMaxA'])
  const [all, resting] = [numbered(supply['currentMaxA']), numbered(supply['currentIdleMaxA'])]
  const fault = (key: string, expected: string, got: number): Found =>
    ({ path: ['supply', key], expected, got: String(got) })
  return [
    ...idle > most ? [fault('powerIdleMaxW', `at most powerMaxW, ${most} W`, idle)] : [],
    ...most > apparent ? [fault('powerMaxW', `at most voltageV × currentMaxA, ${apparent} W`, most)] : [],
    ...resting > all ? [fault('currentIdleMaxA', `at most currentMaxA, ${all} A`, resting)] : [],
  ]
}

function railFaults(value: unknown): Found[] {
  const rails = groups(value, 'rails')
  return rails.flatMap(({ at, of: { name, pairedWith, nominalV } }) => {
    if (typeof pairedWith !== 'string') return []
    const other = rails.find(({ of }) => of['name'] === pairedWith && pairedWith !== name)
    const path = [...at, 'pairedWith']
    if (!other) return [{ path, expected: `another rail${among(rails, name)}`, got: shown(pairedWith) }]
    const isSame = Math.sign(numbered(nominalV)) === Math.sign(numbered(other.of['nominalV']))
    const expected = 'a rail of the other sign: they are held against each other'
    return isSame ? [{ path, expected, got: shown(pairedWith) }] : []
  })
}

/** The names that there are, but for one. */
function among(list: readonly { of: Loose }[], but?: unknown): string {
  const names = list.map(({ of }) => of['name']).filter(name => typeof name === 'string' && name !== but)
  return names.length === 0 ? '' : `: ${names.join(', ')}`
}

const idleFaults = (value: unknown): Found[] =>
  groups(value, 'idle').flatMap(({ at, of: { minA, maxA } }) => numbered(minA) >= numbered(maxA)
    ? [{ path: [...at, 'minA'], expected: `less than maxA, ${maxA} A`, got: String(minA) }] : [])

function stageFaults(value: unknown): Found[] {
  const rails = groups(value, 'rails')
  return groups(value, 'stages').flatMap(({ at, of }) => texts(of['rails']).flatMap(({ text, at: i }) =>
    rails.some(rail => rail.of['name'] === text) ? []
      : [{ path: [...at, 'rails', i], expected: `a rail of this unit${among(rails)}`, got: shown(text) }]))
}

const channelShapes = z.looseObject({ channels: unitProfile.shape.channels })

function claimFaults(value: unknown): Found[] {
  const list = isLoose(value) && Array.isArray(value['claims']) ? value['claims'] : []
  const { data } = channelShapes.safeParse(value)
  return list.flatMap((entry: unknown, i) => typeof entry === 'string'
    ? wordFaults(entry, ['claims', i], data ? ratingsOf(data) : null)
    : apartFaults(entry, ['claims', i], groups(value, 'channels')))
}

/** Null: the channels cannot be read, which is told by itself, and nothing can be said of them. */
function wordFaults(words: string, path: Path, ratings: readonly Rating[] | null): Found[] {
  if (!claimEntry.safeParse(words).success) return []
  const read = readClaim(words, ratings ?? [])
  if (read.ok) return []
  const told = read.problems.filter(({ got }) => ratings !== null || got !== 'none')
  return told.map(({ column, expected, got }) => ({
    path, expected, got: got === 'none' ? shown(words) : `${got} at column ${column} of the claim`,
  }))
}

function apartFaults(entry: unknown, path: Path, channels: readonly { of: Loose }[]): Found[] {
  const { data: read } = claim.safeParse(entry)
  if (!read) return []
  const { quantity, conditions, channel } = read
  const allowed = conditionsOf(quantity)
  const keys = Object.keys(conditions) as (keyof Conditions)[]
  const isNamed = conditions.distortionOf === undefined || conditions.distortion !== undefined
  const isKnown = channel === undefined || channels.some(({ of }) => of['name'] === channel)
  return [
    ...keys.filter(key => !allowed.includes(key)).map(key => ({
      path: [...path, 'conditions', key], expected: `a condition of ${quantity}: ${allowed.join(', ')}`,
      got: `the key ${shown(key)}`,
    })),
    ...isNamed ? [] : [
      { path: [...path, 'conditions', 'distortionOf'], expected: 'a distortion beside it', got: 'none' },
    ],
    ...isKnown ? [] : [{
      path: [...path, 'channel'], expected: `a channel of this unit${among(channels)}`, got: shown(channel),
    }],
  ]
}
