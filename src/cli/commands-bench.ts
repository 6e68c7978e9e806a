/** Commands about the bench as a whole: status, ack, present. */
import type { Command } from 'commander'
import type { BenchStatus } from '../schema/application.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { statusLines } from './status-text.ts'

export type Act = (command: Command, action: (...given: never[]) => Promise<ExitCode>) => void

export function addBenchCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('status').description('show how the bench stands'),
    async (options: CommonOptions) => await status(context, options))

  act(program.command('ack').argument('<reason...>', 'what was wrong and what was done')
    .option('--person <name>', 'who says so', context.user)
    .description('release a latched trip, with the reason'),
  async (reason: string[], options: CommonOptions & { person: string }) =>
    await acknowledge(context, reason.join(' '), options))

  act(program.command('present').option('--person <name>', 'who is at the bench', context.user)
    .description('say that somebody is at the bench, in attended use'),
  async (options: CommonOptions & { person: string }) => await present(context, options))
}

/** 3 while a trip is latched, or nobody knows whether energy is off, so that a script sees it. */
async function status(context: CliContext, options: CommonOptions): Promise<ExitCode> {
  const shown = await daemonOf(context, options).get<BenchStatus>('/status')
  if (options.json) printJson(context.out, shown)
  else print(context.out, ...statusLines(shown, context.out.isTTY ? context.out.columns : Infinity))
  return shown.latched === null && shown.energy !== 'unknown' ? exitCodes.accepted : exitCodes.stopped
}

async function present(context: CliContext, options: CommonOptions & { person: string }): Promise<ExitCode> {
  await daemonOf(context, options).post('/presence', { person: options.person })
  if (options.json) printJson(context.out, { present: true })
  else print(context.out, 'Noted.')
  return exitCodes.accepted
}

async function acknowledge(
  context: CliContext, reason: string, options: CommonOptions & { person: string },
): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const { latched, keeper, unsafe } = await client.get<BenchStatus>('/status')
  await client.post('/acknowledge', { reason, person: options.person })
  if (options.json) printJson(context.out, { acknowledged: true })
  else print(context.out, latched === null && keeper !== 'safe' && unsafe.length === 0
    ? 'Nothing was latched: there was nothing to acknowledge.'
    : 'Acknowledged. The bench accepts work again.')
  return exitCodes.accepted
}
