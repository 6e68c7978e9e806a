/** `decode`: reads one mark by hand. Needs no daemon. */
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { decodeBands } from '../marks/bands.ts'
import { decode } from '../marks/decode.ts'
import { sorts, type Decoded, type Dielectric, type MarkProblem } from '../marks/mark.ts'
import { statedLimits, type StatedLimits } from '../marks/stated-limits.ts'
import { limitWords } from '../schema/stated-limits.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { markLines } from './mark-text.ts'
import { printable } from './table.ts'

interface DecodeFlags extends CommonOptions { kind?: string; bands?: string; dielectric?: string }

export function addDecodeCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('decode').argument('[text...]', 'what is printed on the part, like 4k7 or 104K 2A')
    .option('--kind <kind>', sorts.join(', '))
    .option('--bands <colours>', 'colours instead of text, first band first, like yellow,violet,red,gold')
    .option('--dielectric <name>', 'of a capacitor with bands: film or tantalum')
    .description('read what is printed on one part; what can be read in several ways is shown in all'),
  (words: string[], options: DecodeFlags) => Promise.resolve(show(context, words, options)))
}

function show(context: CliContext, words: readonly string[], options: DecodeFlags): ExitCode {
  const stated = statedIn(words, options)
  if (stated) return showLimits(context, stated, options)
  const decoded = decodedOf(words, options)
  if (!decoded.ok && decoded.readings.length === 0) {
    throw unreadable(decoded.problems, options.bands === undefined ? 'column' : 'band')
  }
  if (options.json) printJson(context.out, decoded)
  else print(context.out, ...(decoded.ok ? markLines(decoded.mark) : openLines(decoded)).map(printable))
  return decoded.ok ? exitCodes.accepted : exitCodes.notAccepted
}

/** Limits of a transistor, where that is what stands there; null where it is a mark. */
function statedIn(words: readonly string[], { kind, bands }: DecodeFlags): StatedLimits | null {
  if (kind !== undefined || bands !== undefined) return null
  const stated = statedLimits(words.join(' '))
  return stated.found.length + stated.problems.length > 0 ? stated : null
}

function showLimits(context: CliContext, { found, problems }: StatedLimits, { json }: DecodeFlags): ExitCode {
  if (problems.length > 0) throw unreadable(problems, 'column')
  const limits = found.map(({ limit }) => limit)
  if (json === true) printJson(context.out, { ok: true, limits })
  else print(context.out, ...found.flatMap(({ limit, sign }) => [
    limitWords(limit), ...sign === '-' ? ['note: below 0; limits are kept without their sign'] : [],
  ]), 'rule: symbols of data sheets (common practice)')
  return exitCodes.accepted
}

function decodedOf(words: readonly string[], options: DecodeFlags): Decoded {
  const sort = chosen('kind', options.kind, sorts)
  const dielectric = chosen('dielectric', options.dielectric, banded)
  if ((words.length > 0) === (options.bands !== undefined)) {
    throw new BenchError('USAGE', 'one thing is decoded at a time', {
      expected: 'a text or --bands', got: words.length > 0 ? 'both' : 'neither',
    })
  }
  if (options.bands !== undefined) {
    return decodeBands(options.bands.split(/[\s,;]+/).filter(word => word !== ''), { sort, dielectric })
  }
  if (dielectric !== undefined) {
    throw new BenchError('USAGE', 'the dielectric tells bands apart', { expected: '--bands', got: 'a text' })
  }
  return decode(words.join(' '), { sort })
}

const banded = ['film', 'tantalum'] as const satisfies readonly Dielectric[]

function chosen<T extends string>(
  name: string, given: string | undefined, known: readonly T[],
): T | undefined {
  const found = known.find(one => one === given)
  if (given === undefined || found !== undefined) return found
  throw new BenchError('USAGE', `there is no such ${name}`, { expected: known.join(', '), got: given })
}

function unreadable(problems: readonly MarkProblem[], place: 'column' | 'band'): BenchError {
  const lines = problems.map(problem =>
    `${place} ${problem.column}: expected ${problem.expected}, got ${problem.got}`)
  return new BenchError('USAGE', ['this cannot be read', ...lines].join('\n  '), {
    problems: problems.map(problem => ({ file: 'the mark', path: '', ...problem })),
  })
}

function openLines({ problems, readings }: Extract<Decoded, { ok: false }>): string[] {
  const ways = readings.length === 1 ? 'one way, which is not certain' : `${readings.length} ways`
  return [
    `This can be read in ${ways}: expected ${problems[0]!.expected}.`,
    ...readings.flatMap(mark => ['', ...markLines(mark)]),
  ]
}
