/**
 * A person's own sequences: found in a folder of theirs, checked, and wrapped so that they get what every
 * sequence gets.
 */
import { createHash } from 'node:crypto'
import {
  existsSync, lstatSync, mkdirSync, readdirSync, readFileSync, realpathSync, rmSync, statSync, symlinkSync
} from 'node:fs'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { z } from 'zod'
import { BenchError } from '../base/errors.ts'
import { packageRoot } from '../base/paths.ts'
import type { Night } from '../engine/night.ts'
import type { AnySequence } from '../engine/sequence.ts'
import type { OwnSequence } from '../schema/own-sequence.ts'
import { invalidFile, parseWith } from '../schema/read-file.ts'
import { roleNames, type RoleName } from '../schema/roles.ts'
import { cautions } from '../sequences/plan.ts'
import { completePlan, slewOf } from './own-plan.ts'
import { useBench } from './sequence-bench.ts'

/** Where a sequence came from; the record of a run keeps it. */
export interface Origin { readonly file: string; readonly hash: string }
export type LoadedSequence = AnySequence & { readonly origin: Origin }

/** What energy on the bus needs in any case. */
const energyNeeds: readonly RoleName[] = ['supply', 'sense-meter']
const quietNeeds: readonly RoleName[] = ['sense-meter']
/** A sequence that is this long past the longest time of its plan hangs. */
const overdueS = 600

/**
 * Loads every `.js` and `.mjs` file of `folder`, in the order of their names; none where there is no folder.
 * Rejects FILE_INVALID with file, path, expected and got, also where a name is taken already by one of
 * `shipped` or another file.
 */
export async function loadOwnSequences(
  folder: string, shipped: readonly AnySequence[]
): Promise<LoadedSequence[]> {
  if (!existsSync(folder)) return []
  const files = readdirSync(folder, { withFileTypes: true })
    .filter(entry => entry.isFile() && /\.m?js$/.test(entry.name)).map(({ name }) => name).sort()
  if (files.length > 0) refuseOpen(folder)
  if (files.length > 0) linkPackage(folder)
  const loaded: LoadedSequence[] = []
  for (const name of files) {
    const file = join(folder, name)
    refuseOpen(file)
    const hash = createHash('sha256').update(readFileSync(file)).digest('hex').slice(0, 16)
    const own = checked(file, exported(file, await imported(file, hash)))
    const taken = [...shipped, ...loaded].find(other => other.name === own.name)
    if (taken) throw wrong(
      file, 'name', 'a name that no other sequence has', `${own.name}, as ${whose(taken)}`
    )
    loaded.push({ ...wrap(own), origin: { file, hash } })
  }
  return loaded
}

/** A sequence is code that runs with the daemon's rights: nobody else may put words into it. */
function refuseOpen(path: string): void {
  const mode = statSync(path).mode & 0o777
  if (process.platform === 'win32' || (mode & 0o002) === 0) return
  throw wrong(path, '', 'a file or folder that not everybody may write, for it is code: chmod o-w',
    `mode ${mode.toString(8)}`)
}

const whose = (
  taken: AnySequence & { origin?: Origin }
): string => taken.origin ? `in ${taken.origin.file}` : 'the shipped one'

const wrong = (file: string, path: string, expected: string, got: string): BenchError =>
  invalidFile(file, [{ file, path, expected, got }])

/** So that `nightbench/sequence` is found from a folder that is no package, by Node and by editors alike. */
function linkPackage(folder: string): void {
  const link = join(folder, 'node_modules', 'nightbench')
  if (existsSync(link) && realpathSync(link) === realpathSync(packageRoot)) return
  const there = lstatSync(link, { throwIfNoEntry: false })
  if (there && !there.isSymbolicLink()) throw wrong(
    link, '', 'a link to this program, which it makes by itself', 'something else'
  )
  try {
    if (there) rmSync(link)
    mkdirSync(join(folder, 'node_modules'), { recursive: true })
    // A junction needs no rights on systems that have them; the others ignore the word.
    symlinkSync(packageRoot, link, 'junction')
  } catch (error) {
    throw new BenchError(
      'FILE_UNREADABLE', `cannot make the link: ${(error as Error).message}`, { file: link }, error
    )
  }
}

/** The hash in the address: a file that changed while this process lives is read anew. */
async function imported(file: string, hash: string): Promise<Record<string, unknown>> {
  try {
    return await import(`${pathToFileURL(file).href}?${hash}`) as Record<string, unknown>
  } catch (error) {
    throw wrong(file, '', 'a module that loads',
      error instanceof Error ? `${error.name}: ${error.message}` : String(error))
  }
}

/** The default export; without one, the only export there is. */
function exported(file: string, module: Record<string, unknown>): unknown {
  if ('default' in module) return module['default']
  const names = Object.keys(module)
  if (names.length === 1) return module[names[0]!]
  throw wrong(file, 'default', 'a sequence as default export, made with defineSequence',
    names.length === 0 ? 'no export' : `only ${names.join(', ')}`)
}

const call = z.custom<(...given: never[]) => unknown>(value => typeof value === 'function', 'a function')
const shape = z.strictObject({
  name: z.string().regex(/^[a-z][a-z0-9-]{0,39}$/, 'small letters, digits and hyphens, 40 at most'),
  summary: z.string().min(1).max(200), cautions: z.array(z.string().min(1)).optional(),
  parameters: z.custom<z.ZodType>(
    value => typeof (value as z.ZodType | null)?.safeParse === 'function', 'a zod schema, made with z'
  ),
  energises: z.boolean(), roles: z.array(z.enum(roleNames)).optional(),
  slewVPerS: z.number().min(0.05).max(20).optional(), plan: call, run: call,
})

function checked(file: string, value: unknown): OwnSequence<unknown> {
  const parsed = parseWith(shape, value, { file })
  if (!parsed.ok) throw invalidFile(file, parsed.problems)
  try {
    z.toJSONSchema(parsed.value.parameters)
  } catch (error) {
    throw wrong(file, 'parameters', 'a schema that JSON Schema can tell', (error as Error).message)
  }
  // The object itself, not a copy: its functions may lean on it.
  return value as OwnSequence<unknown>
}

/**
 * The engine's sequence around it: what it says is completed with the envelope, what it does goes through the
 * verbs.
 */
function wrap(own: OwnSequence<unknown>): AnySequence {
  const needs = own.energises ? energyNeeds : quietNeeds
  return {
    name: own.name, summary: own.summary, cautions: [
      ...cautions, ...own.cautions ?? []
    ], parameters: own.parameters,
    roles: [...new Set([...needs, ...own.roles ?? []])], energises: own.energises,
    plan: input => completePlan(own, input),
    run: async (night, parameters) => await runGuarded(own, night, parameters),
  }
}

/**
 * Ends with the sequence, with the run, or where the sequence is overdue; whichever it is, safe-off follows.
 */
async function runGuarded(own: OwnSequence<unknown>, night: Night, parameters: unknown): Promise<void> {
  const { bench, finish, shut } = useBench(night, { energises: own.energises, slewVPerS: slewOf(own) })
  const limitS = night.plan.longestS + overdueS
  const cancel = night.clock.after(1000 * limitS, () =>
    night.fault('sequence.overdue',
      `${own.name} has not ended after ${Math.round(limitS)} s, the longest its plan allows`))
  try {
    await Promise.race([own.run(bench, parameters), ended(night.signal)])
    // What it left running may not raise the bus while parts are on their way down.
    shut()
    await finish()
  } finally {
    cancel()
    shut()
  }
}

const ended = (signal: AbortSignal): Promise<never> => new Promise((_, reject) => {
  if (signal.aborted) return reject(signal.reason as Error)
  signal.addEventListener('abort', () => reject(signal.reason as Error), { once: true })
})
