/** Commands about the bench as a whole: status, stop, ack, present. */
import type { Command } from 'commander'
import { dataFolderOf } from '../base/daemon-file.ts'
import { asBenchError, BenchError } from '../base/errors.ts'
import { formatWall } from '../base/format.ts'
import type { BenchStatus, SafeOffReport } from '../schema/application.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { statusLines, untilAcknowledged } from './status-text.ts'
import { printable, renderTable } from './table.ts'

export type Act = (command: Command, action: (...given: never[]) => Promise<ExitCode>) => void

/** The daemon gets this long to answer a stop before its keeper is asked. */
const stopAnswerMs = 3000

export function addBenchCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('status').description('show how the bench stands'),
    async (options: CommonOptions) => await status(context, options))

  act(program.command('stop').argument('[reason...]', 'why, for the record')
    .description('make the bench safe now; works without the daemon')
    // Whatever else is on the line, the bench is made safe.
    .allowUnknownOption().allowExcessArguments(),
  async (reason: string[], options: CommonOptions) =>
    await stop(context, reason.join(' ') || `${context.user} asked for it`, options))

  act(program.command('ack').argument('<reason...>', 'what was wrong and what was done')
    .option('--person <name>', 'who says so', context.user)
    .description('release a latched trip, with the reason'),
  async (reason: string[], options: CommonOptions & { person: string }) =>
    await acknowledge(context, reason.join(' '), options))

  act(program.command('present').option('--person <name>', 'who is at the bench', context.user)
    .description('say that somebody is at the bench, in attended use'),
  async (options: CommonOptions & { person: string }) => await present(context, options))
}

const theDaemon = 'the daemon'
/** One that is named in the line before. */
const endedKeeper = 'it'

/** 3 while a trip is latched, or nobody knows whether energy is off, so that a script sees it. */
async function status(context: CliContext, options: CommonOptions): Promise<ExitCode> {
  const shown = await daemonOf(context, options).get<BenchStatus>('/status')
  if (options.json) printJson(context.out, shown)
  else print(context.out, ...statusLines(shown, context.out.isTTY ? context.out.columns : Infinity))
  return shown.latched === null && shown.energy !== 'unknown' ? exitCodes.accepted : exitCodes.stopped
}

/**
 * The daemon first; its keeper whenever the daemon has not answered that the bench is off, for whatever
 * reason.
 */
async function stop(context: CliContext, reason: string, options: CommonOptions): Promise<ExitCode> {
  let report: SafeOffReport
  let by = theDaemon
  try {
    report = await daemonOf(context, options).post<SafeOffReport>(
      '/stop', { reason: reason.slice(0, 500) }, stopAnswerMs
    )
  } catch (daemonError) {
    by = 'its keeper'
    if (!options.json) print(context.err, `${sentence(daemonError)}; asking the keeper`)
    const folder = dataFolderOf(options.data, context.env)
    const answer = await context.stopByKeeper(folder, reason).catch(asBenchError)
    if (answer instanceof BenchError) return await endedBefore(context, folder, daemonError, answer, options)
    report = answer
  }
  if (options.json) printJson(context.out, { by, ...report })
  else print(context.out, ...stopLines(report, by))
  return report.links.every(
    link => link.sent && link.verified !== false
  ) ? exitCodes.accepted : exitCodes.fault
}

/** Nobody is there to stop it. A keeper that ended by itself left word of its last act, and that is told. */
async function endedBefore(
  context: CliContext, folder: string, daemonError: unknown, keeperError: BenchError, options: CommonOptions,
): Promise<ExitCode> {
  const end = keeperError.code === 'KEEPER_GONE' ? await context.lastEndOf(folder) : null
  if (end === null) throw nobodyStopped(daemonError, keeperError)
  const { wallMs, safeOff } = end
  const verified = safeOff.verifiedMs !== null
  const by = 'its keeper, before it ended'
  if (options.json) printJson(context.out, { by, endedWallMs: wallMs, ...safeOff })
  else print(context.out, ...[
    'No keeper runs any more. It ended by itself after it had '
      + `${verified ? 'made' : 'tried to make'} the bench safe at ${formatWall(safeOff.atWallMs)}: `
      + `${safeOff.reason}.`,
  ].map(printable), ...stopLines(safeOff, endedKeeper))
  return verified ? exitCodes.accepted : exitCodes.fault
}

const byHand = 'IT IS NOT KNOWN TO BE OFF: open the cutoff or switch the supply off by hand.'

/** One that hangs was latched by the stop; of one that starts anew only what it does first is promised. */
function whatNext(by: string): string {
  const anew = 'A daemon that is started anew first makes the bench safe and measures what was left'
  if (by === theDaemon) return untilAcknowledged
  return by === endedKeeper ? anew : `${untilAcknowledged}. ${anew}`
}

function stopLines(report: SafeOffReport, by: string): string[] {
  const { links, verifiedMs } = report
  const verified = verifiedMs === null ? 'NOT read back' : `read back after ${Math.round(verifiedMs)} ms`
  const silent = links.filter(({ sent }) => !sent)
  const sent = silent.length === links.length && links.length > 0 ? `NO off command could be sent by ${by}.`
    : `Off commands sent by ${by}${silent.length > 0 ? ', but not to all,' : ''} `
      + `in ${Math.round(report.sentMs)} ms, ${verified}.`
  return [
    sent,
    ...verifiedMs === null ? [byHand] : [],
    ...renderTable([
      'link', 'off sent', 'reads off', 'note'
    ].map(heading => ({ heading })), report.links.map(link => [
      link.link, link.sent ? link.freshLink ? 'yes, on a fresh link' : 'yes' : 'NO',
      link.verified === null ? 'has no read-back' : link.verified ? 'yes' : 'NO', link.note,
    ])),
    'Parts may still hold charge: prove dead before touching.', whatNext(by),
  ].map(printable)
}

function nobodyStopped(daemonError: unknown, keeperError: unknown): BenchError {
  const what = `nobody stopped the bench: ${sentence(daemonError)}; ${sentence(keeperError)}. `
    + 'Open the cutoff or switch the supply off by hand'
  return new BenchError('DAEMON_GONE', what, {}, keeperError)
}

const sentence = (error: unknown): string => printable(asBenchError(error).message)

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
  const { latched, keeper } = await client.get<BenchStatus>('/status')
  await client.post('/acknowledge', { reason, person: options.person })
  if (options.json) printJson(context.out, { acknowledged: true })
  else print(context.out, latched === null && keeper !== 'safe'
    ? 'Nothing was latched: there was nothing to acknowledge.'
    : 'Acknowledged. The bench accepts work again.')
  return exitCodes.accepted
}
