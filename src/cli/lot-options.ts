/** Options that commands about lots share: which runs, and which of their parts. */
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { decode } from '../marks/decode.ts'
import { sorts } from '../marks/mark.ts'
import { partChoice, type PartChoice } from '../schema/lots.ts'
import { partKinds } from '../schema/parts-list.ts'
import { grades } from '../schema/run.ts'
import type { DaemonClient } from './client.ts'
import { newestRun } from './commands-runs.ts'

export interface ChoiceFlags { kind?: string; value?: string; grade?: string[] }

export const withChoice = (command: Command): Command => command
  .option('--kind <kind>', 'only parts of this kind, as the parts list says')
  .option('--value <text>', 'only parts of this nominal value, like 4k7 or 100n')
  .option('--grade <grade>', `only parts of this grade: ${grades.join(', ')}; may be given often`, collect)

export const collect = (value: string, before: string[] = []): string[] => [...before, value]

/** Throws USAGE for a kind, value or grade that there is none of. */
export function choiceOf({ kind, value, grade }: ChoiceFlags): PartChoice {
  const parsed = partChoice.safeParse({
    ...kind === undefined ? {} : { kind },
    ...value === undefined ? {} : { value: valueOf(value, kind) },
    ...grade === undefined ? {} : { grades: grade.map(one => one.replaceAll('-', ' ')) },
  })
  if (parsed.success) return parsed.data
  const wrong = String(parsed.error.issues[0]!.path[0])
  throw new BenchError('USAGE', `there is no such ${wrong.replace('grades', 'grade')}`, {
    expected: wrong === 'kind' ? partKinds.join(', ') : grades.join(', '),
    got: wrong === 'kind' ? String(kind) : String(grade),
  })
}

function valueOf(text: string, kind: string | undefined): number {
  const sort = sorts.find(one => one === kind)
  const decoded = decode(text, { origin: 'list', ...sort ? { sort } : {} })
  if (decoded.ok) return decoded.mark.value
  throw new BenchError('USAGE', 'this is no value, or could be several', {
    expected: 'one like 4k7, 100n, 10uH; with --kind', got: text,
  })
}

/** The newest run where none is named. */
export async function runsOf(client: DaemonClient, given: readonly string[]): Promise<string[]> {
  return given.length > 0 ? [...given] : [(await newestRun(client)).id]
}

/** `name=value,name=value`, in any order; USAGE for a name that is not among `names`. */
export function fieldsOf(given: string, names: readonly string[], like: string): Map<string, string> {
  const fields = new Map(given.split(',').map((field): [string, string] => {
    const at = field.indexOf('=')
    return [field.slice(0, Math.max(0, at)).trim(), field.slice(at + 1).trim()]
  }))
  for (const [name, value] of fields) {
    if (!names.includes(name) || value === '') {
      throw new BenchError('USAGE', 'this is not understood', { expected: like, got: given })
    }
  }
  return fields
}

const prefixes: Readonly<Record<string, number>> = {
  p: -12, n: -9, u: -6, µ: -6, m: -3, k: 3, M: 6, G: 9,
}

/** `2mV`, `0.5`, `10 kΩ` as a number in SI units; NaN for what is none. */
export function siOf(text: string): number {
  const parts = /^([+-]?(?:\d+\.?\d*|\.\d+))(?:[eE]([+-]?\d+))?\s*([pnuµmkMG])?\s*(?:V|A|Ω|ohm|F|H|S)?$/
    .exec(text.trim())
  if (!parts) return NaN
  const [, figures, power = '0', prefix = ''] = parts
  // As one text, so that nothing is rounded on the way.
  return Number(`${figures}e${Number(power) + (prefixes[prefix] ?? 0)}`)
}
