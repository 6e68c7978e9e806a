/**
 * Turns the issues of a schema into sentences a person can act on: where, what belongs there, what stands
 * there.
 */
import type { z } from 'zod'
import { plainNumber, unitWords } from './units.ts'

export type Path = readonly PropertyKey[]
export interface Found { path: Path; expected: string; got: string }

type Issue = z.core.$ZodIssue
interface Def {
  type: string
  shape?: Record<string, Schema>; element?: Schema; valueType?: Schema; innerType?: Schema
  keyType?: Schema; entries?: Record<string, string | number>
  in?: Schema; options?: readonly Schema[]; discriminator?: string; left?: Schema; right?: Schema
  getter?: () => Schema
}
interface Schema { _zod: { def: Def; propValues?: Record<string, Set<unknown>> } }

/** More unknown keys than this in one place are noise. */
const keysExplained = 50

/** Every issue as a sentence. Unknown keys are told with the nearest known key. */
export function problemsOf(schema: z.ZodType, value: unknown, issues: readonly Issue[]): Found[] {
  return issues.flatMap(issue => explain(schema as unknown as Schema, value, issue, issue.path))
}

function explain(root: Schema, value: unknown, issue: Issue, path: Path): Found[] {
  const got = shown(valueAt(value, path))
  switch (issue.code) {
    case 'unrecognized_keys':
      return issue.keys.slice(0, keysExplained).map(key => unknownKey(root, value, path, key))
    case 'invalid_union':
      return explainUnion(root, value, issue, path)
    case 'invalid_key':
      return [
        { path, expected: `a name: ${issue.issues[0]?.message ?? issue.message}`, got: shown(path.at(-1)) }
      ]
    case 'invalid_type':
      return [{ path, expected: expectedType(issue.expected, path, valueAt(value, path)), got }]
    case 'invalid_value':
      return [{ path, expected: oneOf(issue.values.map(shown)), got }]
    case 'too_small': case 'too_big':
      return [{ path, expected: bound(issue, path), got: size(issue.origin, valueAt(value, path), got) }]
    case 'invalid_format': case 'not_multiple_of': case 'invalid_element': case 'custom':
      return [{ path, expected: issue.message, got }]
  }
}

/** Of the branches of a union, speaks of the one that came nearest: issues deepest down, then fewest. */
function explainUnion(
  root: Schema, value: unknown, issue: z.core.$ZodIssueInvalidUnion, path: Path,
): Found[] {
  const here = valueAt(value, path)
  const branches = issue.errors.filter(errors => errors.length > 0)
  if (branches.length === 0) {
    const field = (issue as { discriminator?: string }).discriminator
    const at = field === undefined || path.at(-1) === field ? path : [...path, field]
    const known = field === undefined ? [] : discriminatorValues(root, value, at.slice(0, -1), field)
    return [
      { path: at, expected: known.length > 0 ? oneOf(known) : issue.message, got: shown(valueAt(value, at)) }
    ]
  }
  const atRoot = (errors: readonly Issue[]): boolean =>
    errors.some(e => e.path.length === 0 && e.code === 'invalid_type')
  const near = branches.filter(errors => !atRoot(errors))
  if (near.length === 0) {
    const kinds = branches.map(errors => errors.find(e => e.code === 'invalid_type'))
      .map(e => expectedType((e as { expected: string }).expected, path, here))
    return [{ path, expected: [...new Set(kinds)].join(' or '), got: shown(here) }]
  }
  const best = near.reduce((a, b) => (b.length < a.length ? b : a))
  return best.flatMap(inner => explain(root, value, inner, [...path, ...inner.path]))
}

function unknownKey(root: Schema, value: unknown, path: Path, key: string): Found {
  const known = knownKeys(root, value, path)
  const near = nearest(key, known)
  const few = known.length > 0 && known.length <= 12 ? `one of ${known.join(', ')}` : 'no such key'
  const hint = near === undefined ? few : `a known key: did you mean ${near}?`
  return { path: [...path, key], expected: hint, got: `the key ${shown(key)}` }
}

function expectedType(expected: string, path: Path, value: unknown): string {
  if (value === undefined) return `${typeWords(expected, path)}, which is required`
  if ((expected === 'number' || expected === 'int') && typeof value === 'string') {
    const plain = plainNumber(String(fieldOf(path)), value)
    if (plain !== undefined) return `${typeWords(expected, path)} without a unit: write ${plain}`
  }
  return typeWords(expected, path)
}

function typeWords(expected: string, path: Path): string {
  switch (expected) {
    case 'number': case 'int': {
      const words = unitWords(String(fieldOf(path)))
      const kind = expected === 'int' ? 'a whole number' : 'a number'
      return words === undefined ? kind : `${kind} in ${words}`
    }
    case 'string': return 'text'
    case 'boolean': return 'true or false'
    case 'array': return 'a list'
    case 'object': case 'record': return 'a group of keys'
    default: return expected
  }
}

function bound(issue: z.core.$ZodIssueTooSmall | z.core.$ZodIssueTooBig, path: Path): string {
  const limit = String(issue.code === 'too_small' ? issue.minimum : issue.maximum)
  const inclusive = issue.inclusive ?? true
  const side = issue.code === 'too_small'
    ? (inclusive ? 'at least' : 'more than') : (inclusive ? 'at most' : 'less than')
  switch (issue.origin) {
    case 'string': return `${side} ${limit} characters`
    case 'array': return `${side} ${limit} entries`
    default: {
      const words = unitWords(String(fieldOf(path)))
      return `${side} ${limit}${words === undefined ? '' : ` ${words}`}`
    }
  }
}

/** The name that says the unit: the last key of the path that is not a list index. */
function fieldOf(path: Path): PropertyKey {
  for (let i = path.length - 1; i >= 0; i--) if (typeof path[i] !== 'number') return path[i]!
  return ''
}

/**
 * What was counted: characters of a text, entries of a list. A number may have come as
 * text, and is shown as it came.
 */
function size(origin: string, value: unknown, got: string): string {
  if (Array.isArray(value)) return `${value.length}`
  return origin === 'string' && typeof value === 'string' ? `${value.length}: ${got}` : got
}

const oneOf = (words: readonly string[]): string =>
  words.length === 1 ? words[0]! : `one of ${words.join(', ')}`

function valueAt(value: unknown, path: Path): unknown {
  let here = value
  for (const step of path) {
    if (here === null || typeof here !== 'object' || !Object.hasOwn(here, step)) return undefined
    here = (here as Record<PropertyKey, unknown>)[step]
  }
  return here
}

/** A value in as many characters as a sentence bears. */
function shown(value: unknown): string {
  if (value === undefined) return 'nothing'
  if (Array.isArray(value)) return `a list of ${value.length}`
  if (value !== null && typeof value === 'object') return 'a group of keys'
  const text = typeof value === 'string' ? JSON.stringify(value) : String(value)
  return text.length > 60 ? `${text.slice(0, 57)}…` : text
}

/**
 * Keys that the schema knows at `path`; with several possible shapes, those of the shapes that fit `value`.
 */
function knownKeys(root: Schema, value: unknown, path: Path): string[] {
  const keys = schemasAt(root, value, path).flatMap(({ _zod: { def } }) =>
    def.shape ? Object.keys(def.shape) : Object.values(def.keyType?._zod.def.entries ?? {}).map(String))
  return [...new Set(keys)]
}

function discriminatorValues(root: Schema, value: unknown, path: Path, field: string): string[] {
  const union = unwrapped(root, value, path).find(schema => schema._zod.def.discriminator === field)
  return (union?._zod.def.options ?? []).flatMap(
    option => [...option._zod.propValues?.[field] ?? []].map(shown)
  )
}

/** The object schemas that may stand at `path`. */
function schemasAt(root: Schema, value: unknown, path: Path): Schema[] {
  return unwrapped(root, value, path).flatMap(schema => branches(schema, valueAt(value, path)))
}

function unwrapped(root: Schema, value: unknown, path: Path): Schema[] {
  let schemas: Schema[] = [peel(root)]
  path.forEach((step, depth) => {
    const here = valueAt(value, path.slice(0, depth))
    schemas = schemas.flatMap(schema => branches(schema, here)).flatMap(({ _zod: { def } }) => {
      const next = typeof step === 'number' ? def.element : def.shape?.[String(step)] ?? def.valueType
      return next === undefined ? [] : [peel(next)]
    })
  })
  return schemas
}

function peel(schema: Schema): Schema {
  const { def } = schema._zod
  const inner = def.innerType ?? (def.type === 'pipe' ? def.in : undefined) ?? def.getter?.()
  return inner === undefined ? schema : peel(inner)
}

function branches(schema: Schema, value: unknown): Schema[] {
  const { def } = schema._zod
  if (def.options === undefined) return [schema]
  const options = def.options.map(peel).flatMap(option => branches(option, value))
  if (def.discriminator === undefined || value === null || typeof value !== 'object') return options
  const chosen = (value as Record<string, unknown>)[def.discriminator]
  const fitting = options.filter(option => option._zod.propValues?.[def.discriminator!]?.has(chosen))
  return fitting.length > 0 ? fitting : options
}

/** The known word with the fewest single-letter edits, if it is near enough to be a slip. */
export function nearest(word: string, known: readonly string[]): string | undefined {
  let best: string | undefined
  let bestDistance = Math.max(2, Math.floor(word.length / 3)) + 1
  for (const candidate of known) {
    if (Math.abs(candidate.length - word.length) >= bestDistance) continue
    const distance = editDistance(word.toLowerCase(), candidate.toLowerCase())
    if (distance < bestDistance) { best = candidate; bestDistance = distance }
  }
  return best
}

function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, j) => j)
  for (let i = 1; i <= a.length; i++) {
    const next = [i]
    for (let j = 1; j <= b.length; j++) {
      const swap = row[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1)
      next.push(Math.min(swap, row[j]! + 1, next[j - 1]! + 1))
    }
    row = next
  }
  return row[b.length]!
}
