/**
 * Reads what people write: YAML or JSON files, judged by a schema, with everything that is wrong said at
 * once.
 */
import { closeSync, constants, fstatSync, openSync, readSync } from 'node:fs'
import {
  isMap, isScalar, isSeq, Lexer, LineCounter, parseDocument, visit, type Document, type Node, type Pair,
} from 'yaml'
import type { z } from 'zod'
import { BenchError, type Problem } from '../base/errors.ts'
import { fileFault } from '../base/file-fault.ts'
import { problemsOf, type Found, type Path } from './problems.ts'

export type { Problem }

/** No file of ours is near this long; a longer one is a mistake. */
export const fileBytesMax = 1024 * 1024
/** Ours are five deep. The parser takes twice as long for each open brace more in some faulty texts. */
const depthMax = 12
/** A rack of hundreds has some ten thousand; some faulty texts cost the parser the square of their tokens. */
const tokensMax = 60_000
const sizeAllowed = `at most ${fileBytesMax} bytes`
const aliasesMax = 50
const problemsShown = 50

export type Parsed<T> = { ok: true; value: T } | { ok: false; problems: Problem[] }
export type Place = { line: number; column: number }
/** Where the deepest part of a path stands that there is. */
export type Locate = (path: Path) => Place | undefined
export interface Source { readonly file: string; readonly locate?: Locate }
/** What a file holds, with the places of its parts. */
export interface Placed<T> { readonly value: T; readonly locate: Locate }

/** Judges a value that is already in memory (a request body, a parsed file). All problems, none thrown. */
export function parseWith<S extends z.ZodType>(
  schema: S, value: unknown, source: Source,
): Parsed<z.output<S>> {
  const result = judged(schema, value)
  if (typeof result === 'string') {
    return { ok: false, problems: [{ file: source.file, path: '', expected: 'plain values', got: result }] }
  }
  if (result.success) return { ok: true, value: result.data }
  const problems = problemsOf(schema, value, result.error.issues).map(found => placed(found, source))
  return { ok: false, problems }
}

/** As `parseWith`, with what `also` finds wrong beside: what no schema can say, told whether it passes. */
export function judgePlaced<S extends z.ZodType>(
  schema: S, { value, locate }: Placed<unknown>, file: string, also: Also,
): Parsed<z.output<S>> {
  const parsed = parseWith(schema, value, { file, locate })
  const more = also(value).map(found => placed(found, { file, locate }))
  return more.length === 0 ? parsed : { ok: false, problems: [...parsed.ok ? [] : parsed.problems, ...more] }
}

const placed = ({ path, expected, got }: Found, { file, locate }: Source): Problem =>
  ({ file, path: dotted(path), ...locate?.(path), expected, got })

/**
 * The verdict, or why there is none: a value like `{ length: [{ toString: 0 }] }` where a list belongs makes
 * the comparison of its length throw.
 */
function judged<S extends z.ZodType>(schema: S, value: unknown): z.ZodSafeParseResult<z.output<S>> | string {
  try { return schema.safeParse(value) } catch (error) { return reason(error) }
}

/** What no schema can say of a value: all that is wrong, whether the schema passes it or not. */
export type Also = (value: unknown) => readonly Found[]
const nothingElse: Also = () => []

/**
 * Judges text as YAML, or as JSON when the file name ends in `.json`. All problems, none thrown; `also` as of
 * `judgePlaced`.
 */
export function parseText<S extends z.ZodType>(
  schema: S, text: string, file: string, also = nothingElse,
): Parsed<z.output<S>> {
  const read = placedText(text, file)
  return read.ok ? judgePlaced(schema, read.value, file, also) : read
}

function placedText(text: string, file: string): Parsed<Placed<unknown>> {
  const refuse = (expected: string, got: string, place: Place | undefined): Parsed<never> =>
    ({ ok: false, problems: [{ file, path: '', ...place, expected, got }] })
  if (Buffer.byteLength(text) > fileBytesMax) return refuse(sizeAllowed, 'a longer file', undefined)
  if (isTooDeep(text)) return refuse(plainFile, `more than ${depthMax} levels`, undefined)
  if (hasTooManyTokens(text)) return refuse(plainFile, `more than ${tokensMax} words and marks`, undefined)
  try {
    const read = file.endsWith('.json') ? readJson(text) : readYaml(text)
    if (read.faults.length > 0) {
      return { ok: false, problems: read.faults.map(fault => ({ file, path: '', ...fault })) }
    }
    return { ok: true, value: read }
  } catch (error) {
    // Too many aliases are refused by the parser, by throwing.
    return refuse(plainFile, reason(error), undefined)
  }
}

/**
 * Reads and judges a file; `what` says what belongs there, e.g. "a bench file". Throws FILE_UNREADABLE, or
 * FILE_INVALID with every problem in message and context.
 */
export function loadFile<S extends z.ZodType>(
  path: string, schema: S, what = 'a file', also = nothingElse,
): z.output<S> {
  const parsed = parseText(schema, readWhole(path, what), path, also)
  if (parsed.ok) return parsed.value
  throw invalidFile(path, parsed.problems)
}

/** Reads a file that is judged elsewhere; `what` as above. FILE_UNREADABLE, FILE_INVALID for broken text. */
export function readPlaced(path: string, what: string): Placed<unknown> {
  const read = placedText(readWhole(path, what), path)
  if (!read.ok) throw invalidFile(path, read.problems)
  return read.value
}

/** The error that lists `problems`, one a line. */
export function invalidFile(file: string, problems: readonly Problem[]): BenchError {
  const shown = problems.slice(0, problemsShown).map(problem => `\n  ${describeProblem(problem)}`)
  const more = problems.length > shown.length ? [`\n  and ${problems.length - shown.length} more`] : []
  const count = problems.length === 1 ? 'one thing is wrong' : `${problems.length} things are wrong`
  return new BenchError('FILE_INVALID', count + shown.concat(more).join(''), { file, problems })
}

/** One problem as one line: `12:5 fixture.limitOhm: expected a number in ohms, got "100k"`. */
export function describeProblem(problem: Problem): string {
  const place = problem.line === undefined ? '' : `${problem.line}:${problem.column ?? 1} `
  const path = problem.path === '' ? '' : `${problem.path}: `
  return `${place}${path}expected ${problem.expected}, got ${problem.got}`
}

export function dotted(path: Path): string {
  let text = ''
  for (const step of path) {
    if (typeof step === 'number') text += `[${step}]`
    else text += text === '' ? String(step) : `.${String(step)}`
  }
  return text
}

const plainFile = 'a plain file without deep nesting or many aliases'

function hasTooManyTokens(text: string): boolean {
  let count = 0
  for (const _ of new Lexer().lex(text)) if (++count > tokensMax) return true
  return false
}

/**
 * Brackets open at once, or list and key marks in a row, beyond anything a person writes. Brackets within
 * texts are counted too, which costs nothing: no text of ours opens that many.
 */
function isTooDeep(text: string): boolean {
  let open = 0
  let marks = 0
  for (let i = 0; i < text.length; i++) {
    const c = text.charCodeAt(i)
    if (c === openBracket || c === openBrace) open++
    else if (c === closeBracket || c === closeBrace) open = Math.max(0, open - 1)
    else if ((c === dash || c === question || c === colon) && isBlank(text.charCodeAt(i + 1))) marks++
    else if (!isBlank(c)) marks = 0
    if (open > depthMax || marks > depthMax) return true
  }
  return false
}

const [openBracket, closeBracket, openBrace, closeBrace] = [0x5b, 0x5d, 0x7b, 0x7d]
const [dash, question, colon] = [0x2d, 0x3f, 0x3a]
const isBlank = (code: number): boolean => code === 0x20 || code === 0x09

interface Fault extends Partial<Place> { expected: string; got: string }
interface Read extends Placed<unknown> { faults: Fault[] }

function readYaml(text: string): Read {
  const lines = new LineCounter()
  const document = parseDocument(text, {
    lineCounter: lines, prettyErrors: false, version: '1.2', logLevel: 'silent', uniqueKeys: false,
  })
  const said = [
    ...document.errors.map(error => ({ at: error.pos[0], got: firstLine(error.message) })),
    ...badKeys(document),
  ]
  const faults = said.map(({ at, got }): Fault => {
    const { line, col } = lines.linePos(at)
    return { line, column: col, expected: 'YAML', got }
  })
  const value: unknown = faults.length > 0 ? undefined : document.toJS({ maxAliasCount: aliasesMax })
  return { value, faults, locate: path => placeOf(document, lines, path) }
}

/**
 * Keys that stand twice in one group, where the parser's own search compares every key with every other, and
 * the one that judges would pass over without a word.
 */
function badKeys(document: Document): { at: number; got: string }[] {
  const found: { at: number; got: string }[] = []
  visit(document, {
    Map(_, map) {
      const seen = new Set<string>()
      for (const { key } of map.items) {
        const name = isScalar(key) ? String(key.value) : String(key)
        const got = `the key ${JSON.stringify(name.slice(0, 60))} twice`
        if (seen.has(name)) found.push({ at: rangeStart(key) ?? 0, got })
        if (name === '__proto__') found.push({ at: rangeStart(key) ?? 0, got: 'the key "__proto__"' })
        seen.add(name)
      }
    },
  })
  return found
}

/** JSON is judged as JSON; YAML then finds the lines, and the double keys that JSON.parse lets pass. */
function readJson(text: string): Read {
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch (error) {
    return { value, faults: [{ expected: 'JSON', got: reason(error) }], locate: () => undefined }
  }
  const asYaml = readYaml(text)
  return {
    value, faults: asYaml.faults.map(fault => ({ ...fault, expected: 'JSON' })), locate: asYaml.locate,
  }
}

/** Line and column of the deepest part of `path` that exists; of its key where it has one. */
function placeOf(document: Document, lines: LineCounter, path: Path): Place | undefined {
  let node: unknown = document.contents
  let offset = rangeStart(node)
  for (const step of path) {
    if (isMap(node)) {
      const isStep = ({ key }: Pair): boolean => isScalar(key) && String(key.value) === String(step)
      const pair: Pair | undefined = node.items.find(isStep)
      if (!pair) break
      offset = rangeStart(pair.key) ?? offset
      node = pair.value
    } else if (isSeq(node) && typeof step === 'number' && step < node.items.length) {
      node = node.items[step]
      offset = rangeStart(node) ?? offset
    } else break
  }
  if (offset === undefined) return undefined
  const { line, col } = lines.linePos(offset)
  return { line, column: col }
}

function rangeStart(node: unknown): number | undefined { return (node as Node | null)?.range?.[0] }

/** A pipe with a name opens at once, and is refused; else the open would wait for one who writes to it. */
const withoutWaiting = process.platform === 'win32' ? 0 : constants.O_NONBLOCK

/** The text of a regular file within the size limit, as UTF-8. Throws FILE_UNREADABLE or FILE_INVALID. */
export function readWhole(path: string, what: string): string {
  let bytes: Buffer
  try {
    const handle = openSync(path, constants.O_RDONLY | withoutWaiting)
    try {
      if (!fstatSync(handle).isFile()) throw new Error('not a regular file')
      bytes = Buffer.alloc(fileBytesMax + 1)
      let length = 0
      for (;;) {
        const count = readSync(handle, bytes, length, bytes.length - length, null)
        length += count
        if (count === 0 || length === bytes.length) break
      }
      bytes = bytes.subarray(0, length)
    } finally {
      closeSync(handle)
    }
  } catch (error) {
    throw fileFault(path, 'cannot be read', what, error)
  }
  if (bytes.length > fileBytesMax) {
    throw invalidFile(path, [{ file: path, path: '', expected: sizeAllowed, got: 'a longer file' }])
  }
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes)
  } catch (error) {
    throw new BenchError('FILE_UNREADABLE', 'it is not UTF-8 text', { file: path }, error)
  }
}

const firstLine = (text: string): string => text.split('\n', 1)[0]!.slice(0, 200)
const reason = (error: unknown): string => firstLine(error instanceof Error ? error.message : String(error))
