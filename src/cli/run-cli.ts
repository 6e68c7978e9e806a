/** The command line: `nightbench COMMAND`. */
import { userInfo } from 'node:os'
import { Command, CommanderError } from 'commander'
import { asBenchError, BenchError } from '../base/errors.ts'
import { softwareVersion } from '../base/version.ts'
import { addBenchCommands, type Act } from './commands-bench.ts'
import { addClaimCommands } from './commands-claim.ts'
import { addCompareCommand } from './commands-compare.ts'
import { addContinueCommands } from './commands-continue.ts'
import { addDecodeCommand } from './commands-decode.ts'
import { addGaugeCommands } from './commands-gauge.ts'
import { addHostCommand } from './commands-host.ts'
import { addInstrumentsCommand } from './commands-instruments.ts'
import { addLocalCommands } from './commands-local.ts'
import { addPartsCommand } from './commands-parts.ts'
import { addLotCommand } from './commands-lot.ts'
import { addUnitCommand } from './commands-unit.ts'
import { addMatchCommand } from './commands-match.ts'
import { addPoweringCommands } from './commands-powering.ts'
import { addRecordCommands } from './commands-record.ts'
import { addRunCommands } from './commands-runs.ts'
import { addSchemaCommand } from './commands-schema.ts'
import { addSamplingCommand } from './commands-sampling.ts'
import { addScreenCommand } from './commands-screen.ts'
import { addSoundCommands } from './commands-sound.ts'
import { addStopCommand } from './commands-stop.ts'
import { addTokenCommand } from './commands-token.ts'
import { print, printJson, realContext, type CliContext } from './context.ts'
import { exitCodes, exitOfError, type ExitCode } from './exit.ts'
import { printable } from './table.ts'

/** Runs one command; `argv` without node and script. Resolves with the exit code and never rejects. */
export async function runCli(argv: readonly string[], given?: CliContext): Promise<ExitCode> {
  const context = given ?? realContext(userName(process.env))
  try {
    return await dispatch(argv, context)
  } catch (error) {
    return report(context, asBenchError(error), argv.includes('--json'))
  }
}

async function dispatch(argv: readonly string[], context: CliContext): Promise<ExitCode> {
  let exit: ExitCode = exitCodes.accepted
  const program = new Command('nightbench')
    .description('Forms, soaks, screens and proves parts and units overnight; then switches off, bleeds, and '
      + 'says of each part whether it was measured dead.')
    .version(softwareVersion)
    .exitOverride()
    .configureOutput({
      writeOut: text => { context.out.write(text) }, writeErr: text => { context.err.write(text) },
      outputError: () => { /* said once, by report below */ },
    })
    .addHelpText('after', exitHelp)
  const act: Act = (command, action) => {
    command.option('--json', 'answer as JSON')
      .option('--daemon <url>', 'address of the daemon')
      .option('--data <folder>', 'data folder')
      .exitOverride()
      .action(async (...args: unknown[]) => { exit = await action(...args.slice(0, -1) as never[]) })
  }
  addLocalCommands(program, context, act)
  addInstrumentsCommand(program, context, act)
  addHostCommand(program, context, act)
  addBenchCommands(program, context, act)
  addStopCommand(program, context, act)
  addRunCommands(program, context, act)
  addContinueCommands(program, context, act)
  addRecordCommands(program, context, act)
  addLotCommand(program, context, act)
  addUnitCommand(program, context, act)
  addMatchCommand(program, context, act)
  addCompareCommand(program, context, act)
  addSamplingCommand(program, context, act)
  addGaugeCommands(program, context, act)
  addSchemaCommand(program, context, act)
  addDecodeCommand(program, context, act)
  addClaimCommands(program, context, act)
  addPartsCommand(program, context, act)
  addScreenCommand(program, context, act)
  addPoweringCommands(program, context, act)
  addSoundCommands(program, context, act)
  addTokenCommand(program, context, act)
  if (argv.length === 0) {
    program.outputHelp()
    return exitCodes.usage
  }
  try {
    await program.parseAsync(argv, { from: 'user' })
    return exit
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error
    if (error.exitCode === 0) return exitCodes.accepted
    throw new BenchError('USAGE', error.message.replace(/^error: /, ''))
  }
}

const exitHelp = `
Exit codes: 0 done and all accepted, 1 done and something not accepted, 2 usage or bad file,
3 tripped or stopped, 4 instrument or host fault.
The daemon is found by --daemon, by the note it leaves in --data, by NIGHTBENCH_DAEMON, or by the note in
the usual data folder (NIGHTBENCH_DATA), in this order.`

/** One sentence and what can be done; the same as an object with --json. */
function report(context: CliContext, error: BenchError, json: boolean): ExitCode {
  if (json) printJson(context.out, { error: error.toJSON() })
  else {
    const lines = error.message.split('\n').map(printable)
    print(context.err, ...lines, error.mend)
  }
  return exitOfError(error)
}

/** Who sits there; a login name is the best guess, and --person says otherwise. */
function userName(env: Readonly<Record<string, string | undefined>>): string {
  try {
    return userInfo().username
  } catch {
    return env['USER'] ?? 'unknown'
  }
}
