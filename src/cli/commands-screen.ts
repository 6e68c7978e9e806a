/** `screen`: plans or leads a screening session over a parts list. */
import type { Command } from 'commander'
import { BenchError, hasCode } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import { sampleWords } from '../report/sample-words.ts'
import type { RunRecord } from '../schema/run.ts'
import type { ShownScreenPlan } from '../schema/screening.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { followScreening } from './screen-follow.ts'
import { screenRequestOf, type ScreenAsked, type ScreenFlags } from './screen-request.ts'
import { cautionLines, screenPlanLines } from './screen-text.ts'
import { printable } from './table.ts'
import { watchRun } from './watch.ts'

interface Options extends CommonOptions, ScreenFlags { plan?: boolean }

const longMs = 120_000

export function addScreenCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('screen').argument('<file>', 'a parts list: CSV, TSV, or one reel a line')
    .option('--policy <file>', 'what is to be done with which parts')
    .option('--unit <name>', 'what the parts are for; the name of the file when left out')
    .option('--plan', 'show what would be done, touching nothing')
    .option('--standard <id=…>', 'a part of known value measured between the others, like '
      + 'id=S1,quantity=resistance,value=1000,u=0.05; may be given often', collect)
    .option('--standards-every <count>', 'standards are measured again after so many parts')
    .option('--compensate', 'find first what the jig itself adds: empty, and with a bare wire across 1 and 2')
    .option('--by-hand', 'lay nothing on the tray, where the bench has one')
    .option('--sample <aql=…>', 'measure a sample of a reel or drawer alone, like aql=1.0,level=II,source=x')
    .option('--source-mended <what>', 'what was put right at a source whose inspection was stopped')
    .option('--ask <which>', 'parts that are open, not-accepted as well, or all')
    .option('--no-insulation', 'capacitors: capacitance and loss alone, without what they leak under voltage')
    .option('--absorption', 'capacitors: what comes back after a short as well, half an hour each')
    .option('--mains <volts,hertz>', 'that parts of a mains class are reckoned for, 240,50 when left out')
    .option('--person <name>', 'who screens', context.user)
    .option('--cautions-read', 'you have read the cautions of a plan that goes above touch-safe')
    .description('prove the parts of a list one after the other at the jig'),
  async (file: string, options: Options) => {
    const asked = screenRequestOf(file, options)
    const client = daemonOf(context, options)
    if (options.plan) return await showScreenPlan(context, client, asked, options)
    return await leadScreening(context, client, asked, options)
  })
}

export async function showScreenPlan(
  context: CliContext, client: DaemonClient, { request, left, stated, isOpen }: ScreenAsked, options: Options,
): Promise<ExitCode> {
  const shown = await client.post<ShownScreenPlan>('/screening/plan', request, longMs)
  if (options.json) printJson(context.out, { ...shown, left, stated })
  else print(context.out, ...screenPlanLines(shown, left, stated))
  return isOpen || shown.cannot.length > 0 ? exitCodes.notAccepted : exitCodes.accepted
}

export async function leadScreening(
  context: CliContext, client: DaemonClient, { request }: ScreenAsked, options: Options,
): Promise<ExitCode> {
  const run = await client.post<RunRecord>('/screening', request, longMs)
    .catch((error: unknown) => refusedUnread(context, client, request, error))
  if (options.json) return await watchRun(context, client, run.id, true)
  const { mostV, mostA, sample } = run.setup['plan'] as ShownScreenPlan
  print(context.out,
    `Run ${run.id}: at most ${formatSi(mostV, 'V')} and ${formatSi(mostA, 'A')} at the jig.`)
  if (sample) print(context.out, ...sampleWords(sample).map(printable))
  return await followScreening(context, client, run.id)
}

/** What was refused because cautions were not confirmed is refused with the cautions on the screen. */
async function refusedUnread(
  context: CliContext, client: DaemonClient, request: ScreenAsked['request'], error: unknown,
): Promise<never> {
  if (!hasCode(error, 'REFUSED') || 'cautionsConfirmed' in request) throw error
  const { cautions = [] } = await client.post<ShownScreenPlan>('/screening/plan', request, longMs)
  if (cautions.length === 0) throw error
  print(context.err, ...cautionLines(cautions), '')
  throw new BenchError(
    'USAGE', 'the cautions are not confirmed: add --cautions-read when you have read them')
}

const collect = (value: string, before: string[] = []): string[] => [...before, value]
