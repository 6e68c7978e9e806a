/** Commands about a run that did not reach its end: continue it, or close it for good. */
import type { Command } from 'commander'
import type { SequenceInfo } from '../schema/application.ts'
import type { LeftOut, RunRecord } from '../schema/run.ts'
import { askForCautions } from './cautions.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { watchRun } from './watch.ts'

interface Options extends CommonOptions {
  person: string; cautionsRead?: boolean; polarityChecked?: boolean; watch?: boolean
}

const longMs = 120_000

export function addContinueCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('continue').argument('<run>', 'the newest run, which did not reach its end')
    .description('start its request again, as a new run that names it')
    .option('--person <name>', 'who asks', context.user)
    .option('--cautions-read', 'I have read the cautions of this sequence')
    .option('--polarity-checked', 'I have checked the polarity of every part by eye')
    .option('--watch', 'follow the run to its end'),
  async (run: string, options: Options) => await continueRun(context, run, options))

  act(program.command('close').argument('<run>', 'the newest run, which did not reach its end')
    .argument('<reason>', 'why it is not continued')
    .description('say that a run will not be continued')
    .option('--person <name>', 'who says so', context.user),
  async (run: string, reason: string, options: Options) => await closeRun(context, run, reason, options))
}

async function continueRun(context: CliContext, id: string, options: Options): Promise<ExitCode> {
  const client = daemonOf(context, options)
  if (!options.cautionsRead) {
    const { sequence } = await client.get<RunRecord>(`/runs/${encodeURIComponent(id)}`)
    // Of what is no sequence, as a screening session, the daemon says what can be done with it.
    const all = await client.get<SequenceInfo[]>('/sequences')
    if (all.some(({ name }) => name === sequence)) await askForCautions(context, client, sequence, options)
  }
  const run = await client.post<RunRecord>(`/runs/${encodeURIComponent(id)}/continue`, {
    person: options.person, cautionsConfirmed: options.cautionsRead === true,
    polarityConfirmed: options.polarityChecked === true,
  }, longMs)
  const leftOut = (run.setup['leftOut'] ?? []) as LeftOut[]
  if (!options.json) {
    print(context.out, ...leftOut.map(({ position, part, why }) =>
      `${position} (${part}) stays off the bus, run ${id} dropped it: ${why}`))
  }
  if (options.watch) return await watchRun(context, client, run.id, options.json === true)
  if (options.json) printJson(context.out, run)
  else print(context.out, `Run ${run.id} continues run ${id}. Follow it with: nightbench watch ${run.id}`)
  return exitCodes.accepted
}

async function closeRun(
  context: CliContext, id: string, reason: string, options: Options,
): Promise<ExitCode> {
  const { person } = options
  await daemonOf(context, options).post(`/runs/${encodeURIComponent(id)}/close`, { reason, person })
  if (options.json) printJson(context.out, { closed: true })
  else print(context.out, `Run ${id} is closed.`)
  return exitCodes.accepted
}
