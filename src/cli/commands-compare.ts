/** `compare`: whether lots differ, and what that rests on. */
import type { Command } from 'commander'
import { formatSi } from '../base/format.ts'
import { compareCsv, compareHtml } from '../report/lot-compare-html.ts'
import type { CompareAnswer, ComparedQuantity } from '../schema/lots.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { writeAnswer } from './write-answer.ts'
import { choiceOf, runsOf, withChoice, type ChoiceFlags } from './lot-options.ts'
import { printable, renderTable } from './table.ts'

interface Options extends CommonOptions, ChoiceFlags {
  by?: string; quantity?: string; confidence?: string; output?: string
}

const longMs = 120_000

export function addCompareCommand(program: Command, context: CliContext, act: Act): void {
  act(withChoice(program.command('compare').argument('[runs...]', 'runs on record; the newest when left out'))
    .option('--by <what>', 'what makes one lot: run, kind, value or line of the list; run when left out')
    .option('--quantity <name>', 'this one alone, like resistance')
    .option('--confidence <share>', 'of intervals and tests, 0.95 when left out')
    .option('-o, --output <file>', 'write the whole comparison: .html, .csv or .json')
    .description('compare lots: means and spreads, whether they differ, and what that rests on'),
  async (runs: string[], options: Options) => await compare(context, runs, options))
}

async function compare(context: CliContext, given: string[], options: Options): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const runs = await runsOf(client, given)
  const answer = await client.post<CompareAnswer>('/lots/compare', {
    runs, choice: choiceOf(options), by: options.by ?? (runs.length > 1 ? 'run' : 'value'),
    ...options.quantity === undefined ? {} : { quantity: options.quantity },
    ...options.confidence === undefined ? {} : { confidence: Number(options.confidence) },
  }, longMs)
  if (options.output !== undefined) {
    await writeAnswer(context, options.output, answer, { html: compareHtml, csv: compareCsv }, options)
  }
  if (options.json) printJson(context.out, answer)
  else print(context.out, ...compareLines(answer).map(printable))
  return exitCodes.accepted
}

export function compareLines({ quantities, leftOut, assumptions }: CompareAnswer): string[] {
  return [
    ...quantities.flatMap(quantityLines),
    ...leftOut.length === 0 ? [] : ['Not compared:', ...leftOut.map(line => `  ${line}`), ''],
    'This rests on:', ...assumptions.map(line => `  - ${line}`),
  ]
}

function quantityLines({ quantity, unit, lots, tests, says }: ComparedQuantity): string[] {
  const headings = ['lot', 'parts', 'mean', 's', 'median', 'least', 'most']
  return [
    `${quantity}:`,
    ...renderTable(headings.map((heading, i) => ({ heading, right: i > 0 })), lots.map(one => [
      one.lot, String(one.n), formatSi(one.mean, unit, 5), formatSi(one.s, unit, 2),
      formatSi(one.median, unit, 5), formatSi(one.least, unit, 5), formatSi(one.most, unit, 5),
    ])),
    ...tests.map(({ name, asks, p, differs }) => `  ${name} (${asks}): ${p === null ? 'cannot be made'
      : `p ${p < 0.0001 ? '< 0.0001' : p.toFixed(4)}, ${differs ? 'differ' : 'no difference shown'}`}`),
    ...says.map(line => `  - ${line}`), '',
  ]
}
