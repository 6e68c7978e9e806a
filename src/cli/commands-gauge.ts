/** `gauge` leads a study of repeatability and reproducibility at the jig; `gauge-result` says what came. */
import type { Command } from 'commander'
import { asBenchError, BenchError } from '../base/errors.ts'
import { gaugeCsv, gaugeHtml } from '../report/gauge-html.ts'
import { gaugeStudy, type GaugeAnswer } from '../schema/gauge.ts'
import type { RunHead } from '../schema/run.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { newestRun } from './commands-runs.ts'
import { leadScreening, showScreenPlan } from './commands-screen.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { gaugeLines } from './gauge-text.ts'
import { collect } from './lot-options.ts'
import { screenRequestOf, type ScreenAsked, type ScreenFlags } from './screen-request.ts'
import { printable } from './table.ts'
import { writeAnswer } from './write-answer.ts'

interface Options extends CommonOptions, ScreenFlags {
  people: string; trials: string; quantity?: string; seed?: string; plan?: boolean
}
interface ResultOptions extends CommonOptions { quantity?: string; confidence?: string; output?: string }

const longMs = 120_000

export function addGaugeCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('gauge').argument('<file>', 'a list of some ten parts of one kind, unlike as in use')
    .requiredOption('--people <names>', 'who takes part, like Ida,Bo,Jun')
    .option('--trials <count>', 'how often each person puts in each part', '3')
    .option('--quantity <name>', 'what is judged; the first one measured when left out')
    .option('--unit <name>', 'the name of the study; that of the file when left out')
    .option('--seed <text>', 'of the order in which parts are asked for')
    .option('--standard <id=…>', 'a part of known value measured between the others; often', collect)
    .option('--compensate', 'find first what the jig itself adds: empty, and with a bare wire across 1 and 2')
    .option('--person <name>', 'who leads the study', context.user)
    .option('--cautions-read', 'you have read the cautions of a plan that goes above touch-safe')
    .option('--plan', 'show what would be done, touching nothing')
    .description('find out how well the jig repeats, and how much it matters who uses it'),
  async (file: string, options: Options) => await gauge(context, file, options))

  act(program.command('gauge-result').argument('[run]', 'a session of the study; the newest when left out')
    .option('--quantity <name>', 'what is judged; that of the study when left out')
    .option('--confidence <share>', 'of intervals, 0.95 when left out')
    .option('-o, --output <file>', 'write the whole result: .html, .csv or .json')
    .description('what a study of the gauge came to'),
  async (run: string | undefined, options: ResultOptions) => {
    const client = daemonOf(context, options)
    return await result(context, client, run ?? (await newestRun(client)).id, options)
  })
}

async function gauge(context: CliContext, file: string, options: Options): Promise<ExitCode> {
  const asked = withStudy(screenRequestOf(file, options), options)
  const client = daemonOf(context, options)
  if (options.plan) return await showScreenPlan(context, client, asked, options)
  const exit = await leadScreening(context, client, asked, options)
  const run = await newestRun(client)
  if (exit === exitCodes.stopped || exit === exitCodes.fault || !isWhole(run)) return exit
  return await atEnd(context, client, run.id, options)
}

/** A session that a person ended early is no end of the study. */
const isWhole = ({ state }: RunHead): boolean => state === 'done'

function withStudy(asked: ScreenAsked, { people, trials, quantity, seed }: Options): ScreenAsked {
  const parsed = gaugeStudy.safeParse({
    people: people.split(',').map(name => name.trim()), trials: Number(trials),
    ...quantity === undefined ? {} : { quantity }, ...seed === undefined ? {} : { seed },
  })
  if (parsed.success) return { ...asked, request: { ...asked.request, study: parsed.data } }
  throw new BenchError('USAGE', 'the study is not understood', {
    expected: 'two to ten different people, and two to ten trials', got: `${people}, ${trials}`,
  })
}

/** A study that was ended before it was whole has no result yet: it goes on where it was. */
async function atEnd(
  context: CliContext, client: DaemonClient, run: string, options: ResultOptions,
): Promise<ExitCode> {
  try {
    return await result(context, client, run, options, true)
  } catch (error) {
    const { code, message } = asBenchError(error)
    if (code !== 'REFUSED' || options.json) throw error
    print(context.out, '', printable(message))
    return exitCodes.notAccepted
  }
}

/** 0 where the gauge is good or may do; 1 where it is not fit, or nobody knows. */
async function result(
  context: CliContext, client: DaemonClient, run: string, options: ResultOptions, afterFeed = false,
): Promise<ExitCode> {
  const answer = await client.post<GaugeAnswer>('/lots/gauge', {
    run, ...options.quantity === undefined ? {} : { quantity: options.quantity },
    ...options.confidence === undefined ? {} : { confidence: Number(options.confidence) },
  }, longMs)
  if (options.output !== undefined) {
    await writeAnswer(context, options.output, answer, { html: gaugeHtml, csv: gaugeCsv }, options)
  }
  if (options.json && afterFeed) print(context.out, JSON.stringify({ type: 'gauge', ...answer }))
  else if (options.json) printJson(context.out, answer)
  else print(context.out, '', ...gaugeLines(answer))
  return answer.verdict === 'good' || answer.verdict === 'may do' ? exitCodes.accepted : exitCodes.notAccepted
}
