/** `parts`: reads a parts list and says what a policy wants of it. Needs no daemon. */
import type { Command } from 'commander'
import { decide } from '../parts/decide.ts'
import { partsPolicy } from '../schema/parts-policy.ts'
import { loadFile } from '../schema/read-file.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { readPartsFile } from './parts-file.ts'
import { partsLines, policyLines } from './parts-text.ts'
import { printable } from './table.ts'

interface PartsFlags extends CommonOptions { policy?: string }

export function addPartsCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('parts').argument('<file>', 'a parts list: CSV, TSV, or one reel a line')
    .option('--policy <file>', 'what is to be done with which parts')
    .description('show what a parts list says, what in it cannot be read, and what a policy wants'),
  (file: string, options: PartsFlags) => Promise.resolve(showParts(context, file, options)))
}

function showParts(context: CliContext, file: string, options: PartsFlags): ExitCode {
  const policy = options.policy === undefined ? null : loadFile(options.policy, partsPolicy, 'a policy')
  const read = readPartsFile(file)
  const { parts } = read.list
  const decided = policy && decide(parts, policy)
  if (options.json) {
    printJson(context.out, {
      ...read.list, problems: read.problems, policy: policy && { name: policy.policy, ...decided },
    })
  } else {
    const lines = policy && decided ? policyLines(policy.policy, decided, parts) : []
    print(context.out, ...[...partsLines(read), ...lines].map(printable))
  }
  if (read.problems.length > 0) return exitCodes.usage
  return decided?.decisions.some(({ action }) => action === null) ? exitCodes.notAccepted : exitCodes.accepted
}
