/** Commands about runs: sequences, plan, start, watch, runs. */
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { formatDuration, formatWall } from '../base/format.ts'
import type { BenchStatus, Plan, SequenceInfo } from '../schema/application.ts'
import type { RunHead, RunRecord } from '../schema/run.ts'
import { askForCautions, named } from './cautions.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { planLines } from './plan-text.ts'
import { parameterLines } from './parameters-text.ts'
import { ofRack, readRackList, type Rack } from './rack-list.ts'
import { printable, renderTable } from './table.ts'
import { followPowering } from './powering-follow.ts'
import { followScreening } from './screen-follow.ts'
import { watchRun } from './watch.ts'

interface RequestOptions extends CommonOptions {
  parts?: string; set?: string[]; use: string; person: string; cautionsRead?: boolean
  polarityChecked?: boolean
  watch?: boolean
}

const longMs = 120_000

export function addRunCommands(program: Command, context: CliContext, act: Act): void {
  const withRequest = (command: Command): Command => command
    .argument('<sequence>', 'what to do, e.g. reform')
    .option('--parts <file>', 'rack list: position, part, profile, condition, note; CSV, YAML or JSON')
    .option('--set <name=value>', 'a parameter of the sequence; may be given often', collect)
    .option('--use <kind>', 'unattended, attended or touch-safe', 'unattended')
    .option('--person <name>', 'who asks', context.user)

  act(program.command('sequences').argument('[name]', 'one of them, with its parameters')
    .description('list what the bench can do, and where own sequences come from'),
  async (name: string | undefined, options: CommonOptions) => await listSequences(context, name, options))

  act(withRequest(program.command('plan')).description('show what would be done, touching nothing'),
    async (sequence: string, options: RequestOptions) => await plan(context, sequence, options))

  act(withRequest(program.command('start')).description('start a run')
    .option('--cautions-read', 'I have read the cautions of this sequence')
    .option('--polarity-checked', 'I have checked the polarity of every part by eye')
    .option('--watch', 'follow the run to its end'),
  async (sequence: string, options: RequestOptions) => await start(context, sequence, options))

  act(program.command('watch').argument('[run]', 'the present one when left out')
    .description('follow a run to its end; leaving does not stop the run'),
  async (run: string | undefined, options: CommonOptions) => await watch(context, run, options))

  act(program.command('runs').option(
    '--limit <count>', 'how many', '20'
  ).description('list runs, newest first'),
    async (options: CommonOptions & { limit: string }) => await listRuns(context, options))
}

async function listSequences(
  context: CliContext, name: string | undefined, options: CommonOptions,
): Promise<ExitCode> {
  const all = await daemonOf(context, options).get<SequenceInfo[]>('/sequences')
  const one = name === undefined ? undefined : named(all, name)
  if (options.json) printJson(context.out, one ?? all)
  else if (one) print(context.out, printable(`${one.name}: ${one.summary}`), '', ...parameterLines(one))
  else {
    print(context.out, ...renderTable(['sequence', 'from', 'what it does'].map(heading => ({ heading })),
      all.map(
        ({ name, summary, origin }) => [name, origin ? `${origin.file} ${origin.hash}` : 'shipped', summary]
      )))
  }
  return exitCodes.accepted
}

async function plan(context: CliContext, sequence: string, options: RequestOptions): Promise<ExitCode> {
  const rack = rackOf(options)
  const request = requestOf(sequence, rack, options)
  const shown = await ofRack(rack, daemonOf(context, options).post<Plan>('/plan', request, longMs))
  if (options.json) printJson(context.out, shown)
  else print(context.out, ...planLines(shown))
  return shown.refusals.length === 0 ? exitCodes.accepted : exitCodes.usage
}

async function start(context: CliContext, sequence: string, options: RequestOptions): Promise<ExitCode> {
  const rack = rackOf(options)
  const request = requestOf(sequence, rack, options)
  const client = daemonOf(context, options)
  await askForCautions(context, client, sequence, options)
  const run = await ofRack(rack, client.post<RunRecord>('/runs', request, longMs))
  if (options.watch && !options.json) print(context.out, ...warningsOf(run))
  if (options.watch) return await watchRun(context, client, run.id, options.json === true)
  if (options.json) printJson(context.out, run)
  else {
    print(context.out, ...warningsOf(run),
      `Run ${run.id} begins with its checks, which may still refuse it. `
        + `Follow it with: nightbench watch ${run.id}`)
  }
  return exitCodes.accepted
}

/** What the plan warns of: nobody need have asked for the plan before. */
function warningsOf({ setup }: RunRecord): string[] {
  const { warnings = [] } = (setup['plan'] ?? {}) as Partial<Plan>
  return warnings.length === 0 ? [] : ['Mind:', ...warnings.map(warning => printable(`  - ${warning}`)), '']
}

const rackOf = ({ parts }: RequestOptions): Rack | null => parts === undefined ? null : readRackList(parts)

function requestOf(sequence: string, rack: Rack | null, options: RequestOptions): unknown {
  return {
    sequence, person: options.person, use: options.use,
    parts: rack?.parts ?? [],
    parameters: Object.fromEntries((options.set ?? []).map(parameterOf)),
    cautionsConfirmed: options.cautionsRead === true, polarityConfirmed: options.polarityChecked === true,
  }
}

/** `holdS=3600` as a number, `rest=true` as a truth, anything else as text. */
export function parameterOf(given: string): [string, unknown] {
  const at = given.indexOf('=')
  if (at < 1) throw new BenchError(
    'USAGE', 'a parameter is not understood', { expected: 'name=value', got: given }
  )
  const text = given.slice(at + 1)
  try {
    return [given.slice(0, at), JSON.parse(text)]
  } catch {
    return [given.slice(0, at), text]
  }
}

async function watch(
  context: CliContext, run: string | undefined, options: CommonOptions
): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const status = await client.get<BenchStatus>('/status')
  const id = run ?? status.run?.id ?? status.screening?.run ?? status.powering?.run
    ?? (await newestRun(client)).id
  if (!options.json && status.powering?.run === id) {
    return await followPowering(context, client, id, context.user)
  }
  if (options.json || status.screening?.run !== id) {
    return await watchRun(context, client, id, options.json === true)
  }
  return await followScreening(context, client, id)
}

/** The newest run; NOT_FOUND when the record is empty. */
export async function newestRun(client: DaemonClient): Promise<RunHead> {
  const [newest] = await client.get<RunHead[]>('/runs?limit=1')
  if (!newest) throw new BenchError('NOT_FOUND', 'there is no run yet')
  return newest
}

async function listRuns(context: CliContext, options: CommonOptions & { limit: string }): Promise<ExitCode> {
  const runs = await daemonOf(context, options).get<RunHead[]>(
    `/runs?limit=${encodeURIComponent(options.limit)}`
  )
  if (options.json) printJson(context.out, runs)
  else if (runs.length === 0) print(context.out, 'No run yet.')
  else {
    print(context.out, ...renderTable(
      ['run', 'started', 'sequence', 'state', 'lasted', 'person'].map(heading => ({ heading })),
      runs.map(run => [
        run.id, formatWall(run.startedWallMs), run.sequence, run.state,
        run.endedWallMs === null ? '–' : formatDuration(
          (run.endedWallMs - run.startedWallMs) / 1000
        ), run.person,
      ]),
    ))
  }
  return exitCodes.accepted
}

const collect = (value: string, before: string[] = []): string[] => [...before, value]
