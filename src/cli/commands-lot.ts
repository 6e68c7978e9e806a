/** The sheet of a lot: what the parts of one or several runs are worth together. */
import type { Command } from 'commander'
import { histogramLines, lotLines, titleOf } from '../report/lot-sheet-words.ts'
import type { LotSheet } from '../schema/lot-sheet.ts'
import type { SheetRequest } from '../schema/lots.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { choiceOf, runsOf, withChoice, type ChoiceFlags } from './lot-options.ts'
import { printable, renderTable } from './table.ts'
import { writeAsked } from './write-answer.ts'

interface Options extends CommonOptions, ChoiceFlags { output?: string; histogram?: boolean }

const longMs = 120_000

export function addLotCommand(program: Command, context: CliContext, act: Act): void {
  act(withChoice(program.command('lot').argument('[runs...]', 'the newest one when left out'))
    .option('--histogram', 'also how the values of each quantity lie')
    .option('-o, --output <file>', 'write the whole sheet with its charts: .html, .csv or .json')
    .description(
      'what the parts of runs are worth together: yield, spread, capability, outliers, check standards',
    ),
  async (runs: string[], options: Options) => await lot(context, runs, options))
}

async function lot(context: CliContext, given: string[], options: Options): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const asked = { runs: await runsOf(client, given), choice: choiceOf(options) }
  const ask = async (format: SheetRequest['format']): Promise<string> =>
    await client.postText('/lots/sheet', { ...asked, format }, longMs)
  if (options.output !== undefined) {
    await writeAsked(context, options.output, ['html', 'csv', 'json'], ask, options)
    return exitCodes.accepted
  }
  const text = await ask('json')
  const sheet = JSON.parse(text) as LotSheet
  if (options.json) context.out.write(text)
  else print(context.out, ...sheetLines(sheet, options.histogram === true))
  return sheet.parts > 0 && sheet.grades.accept === sheet.parts ? exitCodes.accepted : exitCodes.notAccepted
}

function sheetLines(sheet: LotSheet, histograms: boolean): string[] {
  const table = renderTable(['of', 'found', 'which says'].map(heading => ({ heading })), lotLines(sheet))
  if (!histograms) return table
  return [...table, ...sheet.quantities.filter(({ bins }) => bins.length > 1).flatMap(of =>
    ['', printable(`${titleOf(of)}:`), ...histogramLines(of)])]
}
