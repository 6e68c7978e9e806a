/** `first-power`, `burn-in`, `verify`: plan or lead a run of a unit; `go-on` for the step that waits. */
import type { Command } from 'commander'
import { BenchError, hasCode } from '../base/errors.ts'
import type { PoweringPlan, PoweringStatus, UnitSequence } from '../schema/powering.ts'
import { loadFile } from '../schema/read-file.ts'
import type { RunRecord } from '../schema/run.ts'
import { unitRequest } from '../schema/stand.ts'
import type { EarlyFailuresAnswer } from '../schema/unit.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { parameterOf } from './commands-runs.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { followPowering } from './powering-follow.ts'
import { earlyFailureLines, holdLines, poweringPlanLines } from './powering-text.ts'
import { printable } from './table.ts'
import { watchRun } from './watch.ts'

interface Options extends CommonOptions {
  plan?: boolean; set?: string[]; use: string; person: string; cautionsRead?: boolean; leave?: boolean
  continue?: string
}

const longMs = 120_000

interface Kind { readonly does: string; readonly use: string }
const kinds: Readonly<Record<UnitSequence, Kind>> = {
  'first-power': {
    does: 'give a unit mains for the first time, stage by stage, with a person there', use: 'attended',
  },
  'burn-in': { does: 'run a unit for hours or days, watched, with nobody there', use: 'unattended' },
  verify: { does: 'measure what a unit does, and hold it against what it claims', use: 'attended' },
}

export function addPoweringCommands(program: Command, context: CliContext, act: Act): void {
  for (const [sequence, { does, use }] of Object.entries(kinds) as [UnitSequence, Kind][]) {
    const command = program.command(sequence)
    if (sequence === 'burn-in') command.option('--continue <run>', 'one that did not get to its end')
    act(command
      .argument('<sheet>', 'what stands there and was found with the plug out: YAML or JSON')
      .option('--plan', 'show what would be done, touching nothing')
      .option('--set <name=value>', 'a parameter of it; may be given often', collect)
      .option('--use <kind>', 'attended or unattended', use)
      .option('--person <name>', 'who asks', context.user)
      .option('--cautions-read', 'I have read the cautions')
      .option('--leave', 'begin it, and do not follow')
      .description(does),
    async (sheet: string, options: Options) => await power(context, sequence, sheet, options))
  }
  act(program.command('early-failures').argument('<unit>', 'name of a unit profile')
    .description('show what the hours of burn-in of all units of one profile say of failures'),
  async (unit: string, options: CommonOptions) => await failures(context, unit, options))
  act(program.command('go-on').argument('[step]', 'the one that waits when left out')
    .option('--person <name>', 'who is at the bench', context.user)
    .description('say that the step of a unit that waits may go on'),
  async (step: string | undefined, options: CommonOptions & { person: string }) =>
    await goOn(context, step, options))
}

async function power(
  context: CliContext, sequence: UnitSequence, sheet: string, options: Options,
): Promise<ExitCode> {
  const request = {
    ...loadFile(sheet, unitRequest, 'a unit sheet'), sequence, use: options.use, person: options.person,
    parameters: Object.fromEntries((options.set ?? []).map(parameterOf)),
    cautionsConfirmed: options.cautionsRead === true,
    ...options.continue === undefined ? {} : { continues: options.continue },
  }
  const client = daemonOf(context, options)
  if (options.plan) return await plan(context, client, request, options)
  const run = await client.post<RunRecord>('/powering', request, longMs)
    .catch((error: unknown) => refusedUnread(context, client, request, error))
  if (options.leave) {
    if (options.json) printJson(context.out, run)
    else print(context.out, `Run ${run.id} begins. Follow it with: nightbench watch ${run.id}`)
    return exitCodes.accepted
  }
  if (options.json) return await watchRun(context, client, run.id, true)
  print(context.out, `Run ${run.id}: ${request.specimen}, ${sequence}.`)
  return await followPowering(context, client, run.id, options.person)
}

async function plan(
  context: CliContext, client: DaemonClient, request: object, { json }: Options,
): Promise<ExitCode> {
  const shown = await client.post<PoweringPlan>('/powering/plan', request, longMs)
  if (json) printJson(context.out, shown)
  else print(context.out, ...poweringPlanLines(shown))
  return shown.refusals.length === 0 ? exitCodes.accepted : exitCodes.usage
}

/** What was refused because cautions were not confirmed is refused with the cautions on the screen. */
async function refusedUnread(
  context: CliContext, client: DaemonClient, request: { cautionsConfirmed: boolean }, error: unknown,
): Promise<never> {
  if (!hasCode(error, 'REFUSED') || request.cautionsConfirmed) throw error
  const { cautions, refusals } = await client.post<PoweringPlan>('/powering/plan', request, longMs)
  if (refusals.length > 0) throw error
  print(context.err, 'Read first:', ...cautions.map(caution => printable(`  - ${caution}`)), '')
  throw new BenchError(
    'USAGE', 'the cautions are not confirmed: add --cautions-read when you have read them')
}

async function goOn(
  context: CliContext, step: string | undefined, options: CommonOptions & { person: string },
): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const status = await client.get<PoweringStatus | null>('/powering')
  const hold = status?.hold ?? null
  const id = step ?? hold?.id
  if (id === undefined) throw new BenchError('REFUSED', 'no step of a unit waits for a person')
  await client.post('/powering/go-on', { id, person: options.person })
  if (options.json) printJson(context.out, { wentOn: id })
  else print(context.out, ...hold?.id === id ? holdLines(hold) : [], `${options.person}: goes on.`)
  return exitCodes.accepted
}

async function failures(context: CliContext, unit: string, options: CommonOptions): Promise<ExitCode> {
  const found = await daemonOf(context, options)
    .post<EarlyFailuresAnswer>('/units/early-failures', { unit }, longMs)
  if (options.json) printJson(context.out, found)
  else print(context.out, ...earlyFailureLines(found))
  return exitCodes.accepted
}

const collect = (value: string, before: string[] = []): string[] => [...before, value]
