/** The sheet of a lot: what the parts of one run are worth together. */
import type { Command } from 'commander'
import { lotLines, lotSheet } from '../report/lot-sheet.ts'
import type { PartResult } from '../schema/run.ts'
import type { Act } from './commands-bench.ts'
import { newestRun } from './commands-runs.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { renderTable } from './table.ts'

export function addLotCommand(program: Command, context: CliContext, act: Act): void {
  act(
    program
      .command('lot')
      .argument('[run]', 'the newest one when left out')
      .description(
        'what the parts of a run are worth together: yield, spread, capability, what stands apart',
      ),
    async (run: string | undefined, options: CommonOptions) => await lot(context, run, options),
  )
}

async function lot(
  context: CliContext,
  given: string | undefined,
  options: CommonOptions,
): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const id = encodeURIComponent(given ?? (await newestRun(client)).id)
  const sheet = lotSheet(await client.get<PartResult[]>(`/runs/${id}/results`))
  if (options.json) printJson(context.out, sheet)
  else
    print(
      context.out,
      ...renderTable(
        ['of', 'found', 'which says'].map(heading => ({ heading })),
        lotLines(sheet),
      ),
    )
  return sheet.grades.accept === sheet.parts ? exitCodes.accepted : exitCodes.notAccepted
}
