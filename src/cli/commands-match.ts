/** `match`: which parts go together, from what runs on record measured of them. */
import { existsSync } from 'node:fs'
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { matchCsv } from '../report/lot-match-csv.ts'
import { matchQuantity, type MatchAnswer, type MatchBy } from '../schema/lots.ts'
import { invalidFile } from '../schema/read-file.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { choiceOf, collect, fieldsOf, runsOf, siOf, withChoice, type ChoiceFlags } from './lot-options.ts'
import { matchLines } from './match-text.ts'
import { readPartsFile } from './parts-file.ts'

interface Options extends CommonOptions, ChoiceFlags {
  by?: string[]; size: string; oneOfEach?: boolean; leftOver?: string; onto?: string; output?: string
}

const longMs = 120_000
const like = 'quantity=gain,within=5%,weight=2 (within may be left out, or be like 2mV)'

export function addMatchCommand(program: Command, context: CliContext, act: Act): void {
  act(withChoice(program.command('match').argument('[runs...]', 'runs on record; the newest when left out'))
    .requiredOption('--by <quantity=…>', `what must agree, like ${like}; may be given often`, collect)
    .option('--size <parts>', 'parts to a set: 2 for pairs, 4 for quads', '2')
    .option('--one-of-each', 'pairs of two kinds, like npn with pnp')
    .option('--left-over <cost>', 'what leaving out one part costs; as many sets as can be when left out')
    .option('--onto <designators>', 'where sets go, like R1,R2,R3,R4, or a parts list that says it')
    .option('-o, --output <file>', 'write the sets as CSV')
    .description('put parts into matched sets by what was measured of them'),
  async (runs: string[], options: Options) => await match(context, runs, options))
}

async function match(context: CliContext, given: string[], options: Options): Promise<ExitCode> {
  const choice = choiceOf(options)
  const by = (options.by ?? []).map(matchByOf)
  const onto = options.onto === undefined ? [] : ontoOf(options.onto, options)
  const client = daemonOf(context, options)
  const answer = await client.post<MatchAnswer>('/lots/match', {
    runs: await runsOf(client, given), by, choice, onto, size: Number(options.size),
    oneOfEach: options.oneOfEach === true,
    ...options.leftOver === undefined ? {} : { leftOverCost: Number(options.leftOver) },
  }, longMs)
  if (options.output !== undefined) {
    const bytes = await context.writeFile(options.output, [matchCsv(answer)])
    print(context.err, `Wrote ${options.output}, ${bytes} bytes.`)
  }
  if (options.json) printJson(context.out, answer)
  else print(context.out, ...matchLines(answer))
  return answer.sets.length > 0 && answer.unfilled.length === 0 ? exitCodes.accepted : exitCodes.notAccepted
}

/** `quantity=gain,within=5%,weight=2`; a share in per cent asks for ratios. */
function matchByOf(given: string): MatchBy {
  const named = given.includes('=') ? given : `quantity=${given}`
  const fields = fieldsOf(named, ['quantity', 'within', 'weight', 'as'], like)
  const within = fields.get('within')
  const isShare = within?.endsWith('%') === true
  const parsed = matchQuantity.safeParse({
    quantity: fields.get('quantity'),
    ...fields.has('weight') ? { weight: Number(fields.get('weight')) } : {},
    ...within === undefined ? {} : { within: isShare ? Number(within.slice(0, -1)) / 100 : siOf(within) },
    ...fields.has('as') ? { as: fields.get('as') } : isShare ? { as: 'ratio' } : {},
  })
  if (parsed.success) return parsed.data
  throw new BenchError('USAGE', 'what sets are matched by is not understood', { expected: like, got: given })
}

/** Designators as they are given, or those of a parts list that are of the kind and value asked for. */
function ontoOf(given: string, options: Options): string[] {
  if (!existsSync(given)) return given.split(',').map(name => name.trim()).filter(Boolean)
  const { kind, value } = choiceOf(options)
  const { list: { parts }, problems } = readPartsFile(given)
  if (problems.length > 0) throw invalidFile(given, problems)
  const lines = parts.filter(line => (kind === undefined || line.kind === kind)
    && (value === undefined || (line.value !== null && Math.abs(line.value.si / value - 1) < 1e-6)))
  const names = lines.flatMap(({ designators }) => designators)
  if (names.length > 0) return names
  throw new BenchError('USAGE', 'no line of this list says where sets go', {
    expected: 'designators of the kind and value asked for', got: given,
  })
}
