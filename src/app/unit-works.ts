/** The kinds of runs of a whole unit that this bench can do. */
import { BenchError } from '../base/errors.ts'
import { burnInWork } from '../burn-in/work.ts'
import { firstPowerWork } from '../powering/first-power.ts'
import type { UnitWork } from '../powering/work.ts'
import type { UnitSequence } from '../schema/powering.ts'
import { problemsOf } from '../schema/problems.ts'
import { verifyWork } from '../verify/work.ts'

// Each is given what its own parameters were parsed to, and nothing else.
type AnyWork = UnitWork<unknown>

export const unitWorks: readonly AnyWork[] = [firstPowerWork, burnInWork, verifyWork]

export interface AskedWork { readonly work: AnyWork; readonly parameters: unknown }

/** Throws USAGE for parameters that do not fit. */
export function askedWork(sequence: UnitSequence, given: Readonly<Record<string, unknown>>): AskedWork {
  const work = unitWorks.find(({ name }) => name === sequence)
  if (!work) throw new BenchError('USAGE', 'sequence', { expected: names(), got: sequence })
  const parsed = work.parameters.safeParse(given)
  if (parsed.success) return { work, parameters: parsed.data }
  const wrong = problemsOf(work.parameters, given, parsed.error.issues)
    .map(({ path, expected, got }) => `  ${path.map(String).join('.')}: expected ${expected}, got ${got}`)
  throw new BenchError('USAGE', [`parameters of ${sequence}:`, ...wrong].join('\n'))
}

const names = (): string => unitWorks.map(({ name }) => name).join(', ')
