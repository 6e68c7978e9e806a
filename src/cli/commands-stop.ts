/**
 * The command `stop`. A daemon named by its address is asked alone: a keeper of a data folder here may guard
 * another bench. The daemon of a data folder has the keeper of that folder to stand in for it.
 */
import type { Command } from 'commander'
import { asBenchError, BenchError } from '../base/errors.ts'
import { formatWall } from '../base/format.ts'
import { safeOffReport, type SafeOffReport } from '../schema/application.ts'
import type { Act } from './commands-bench.ts'
import {
  askedDaemon, daemonToStop, print, printJson, type Asked, type CliContext, type CommonOptions,
} from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { untilAcknowledged } from './status-text.ts'
import { printable, renderTable } from './table.ts'

/** The daemon gets this long to answer a stop before its keeper is asked. */
const stopAnswerMs = 3000

export function addStopCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('stop').argument('[reason...]', 'why, for the record')
    .description('make the bench safe now; without its daemon through the keeper of the data folder')
    // Whatever else is on the line, the bench is made safe.
    .allowUnknownOption().allowExcessArguments(),
  async (reason: string[], options: CommonOptions) =>
    await stop(context, reason.join(' ') || `${context.user} asked for it`, options))
}

const theDaemon = 'the daemon'
/** One that is named in the line before. */
const endedKeeper = 'it'

async function stop(context: CliContext, reason: string, options: CommonOptions): Promise<ExitCode> {
  const asked = askedDaemon(context, options)
  try {
    return told(context, await stopByDaemon(context, asked, reason), theDaemon, options)
  } catch (daemonError) {
    if (asked.folder === null) throw nothingKnown(asked.url, daemonError)
    return await stopByKeeper(context, asked.folder, reason, daemonError, options)
  }
}

/** What answers in another form is no daemon, and has stopped nothing. */
async function stopByDaemon(context: CliContext, asked: Asked, reason: string): Promise<SafeOffReport> {
  const answer = safeOffReport.safeParse(await daemonToStop(context, asked).post(
    '/stop', { reason: reason.slice(0, 500) }, stopAnswerMs,
  ))
  if (answer.success) return answer.data
  throw new BenchError('DAEMON_GONE', 'what answers is no daemon of this program')
}

/** Whenever the daemon of the folder has not answered that the bench is off, for whatever reason. */
async function stopByKeeper(
  context: CliContext, folder: string, reason: string, daemonError: unknown, options: CommonOptions,
): Promise<ExitCode> {
  const asking = `${sentence(daemonError)}; asking the keeper of ${printable(folder)}`
  if (!options.json) print(context.err, asking)
  const answer = await context.stopByKeeper(folder, reason).catch(asBenchError)
  if (answer instanceof BenchError) return await endedBefore(context, folder, daemonError, answer, options)
  return told(context, answer, 'its keeper', options)
}

function told(context: CliContext, report: SafeOffReport, by: string, { json }: CommonOptions): ExitCode {
  if (json) printJson(context.out, { by, ...report })
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
    `No keeper of ${folder} runs any more. It ended by itself after it had `
      + `${verified ? 'made' : 'tried to make'} its bench safe at ${formatWall(safeOff.atWallMs)}: `
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

/** Whoever named an address has a bench in mind that nothing else here speaks for. */
function nothingKnown(url: string, daemonError: unknown): BenchError {
  const what = `${printable(url)}: ${sentence(daemonError)}. `
    + 'NOTHING IS KNOWN of the bench there, nor was another asked: it may be energised'
  return new BenchError('ENERGY_UNKNOWN', what, {}, daemonError)
}

function nobodyStopped(daemonError: unknown, keeperError: unknown): BenchError {
  const what = `nobody stopped the bench: ${sentence(daemonError)}; ${sentence(keeperError)}. `
    + 'It may be energised'
  return new BenchError('ENERGY_UNKNOWN', what, {}, keeperError)
}

const sentence = (error: unknown): string => printable(asBenchError(error).message)
