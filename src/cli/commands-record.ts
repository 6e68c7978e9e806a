/** Commands that read the record: report, export. */
import { extname } from 'node:path'
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import type { RunTestRecord } from '../report/record.ts'
import type { PartResult, RunEvent, RunRecord } from '../schema/run.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { newestRun } from './commands-runs.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, exitOfRun, hasEnded, type ExitCode } from './exit.ts'
import { pour } from './screen.ts'
import { printable } from './table.ts'
import { outcomeLines } from './outcome.ts'
import { reportUnit, type UnitRecordFlags } from './unit-report.ts'
import { eventLine } from './watch.ts'

interface ReportOptions extends CommonOptions, UnitRecordFlags { part?: string }
interface ExportOptions extends CommonOptions { channel?: string; output?: string }

const recordMs = 120_000

export function addRecordCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('report').argument('[run]', 'the newest one when left out')
    .option('--part <part>', 'one part over all its runs instead')
    .option('--unit <name>', 'the test record of one whole unit instead')
    .option('--list <file>', 'with --unit: its parts list')
    .option('--policy <file>', 'with --unit: what was to be done with which parts')
    .option('-o, --output <file>', 'write the whole record: .html, .csv or .json')
    .option('--verify', 'recompute the chain of hashes')
    .description('show how a run ended, or write its test record'),
  async (run: string | undefined, options: ReportOptions) => await report(context, run, options))

  act(program.command('export').argument('[run]', 'the newest one when left out')
    .option('--channel <name>', 'only this channel, e.g. P03.current')
    .option('-o, --output <file>', 'write there instead of to standard output')
    .description('write every reading of a run as CSV, or as one JSON object a line with --json'),
  async (run: string | undefined, options: ExportOptions) => await exportReadings(context, run, options))
}

async function report(
  context: CliContext, given: string | undefined, options: ReportOptions
): Promise<ExitCode> {
  const client = daemonOf(context, options)
  if (options.unit !== undefined) {
    if (given !== undefined || options.part !== undefined) {
      throw new BenchError('USAGE', 'name a run, a part or a unit, not two of them')
    }
    return await reportUnit(context, client, { ...options, unit: options.unit })
  }
  if (given !== undefined && options.part !== undefined) {
    throw new BenchError('USAGE', 'name a run or a part, not both')
  }
  const id = encodeURIComponent(options.part ?? given ?? (await newestRun(client)).id)
  const path = options.part === undefined ? `/runs/${id}` : `/parts/${id}`
  const verify = `verify=${options.verify === true}`
  if (options.output !== undefined) {
    const format = formatOf(options.output)
    const bytes = await context.writeFile(
      options.output, [await client.text(`${path}/record?format=${format}&${verify}`, recordMs)]
    )
    if (options.json) printJson(context.out, { file: options.output, bytes })
    else print(context.out, `Wrote ${options.output}, ${bytes} bytes.`)
  } else if (options.json || options.part !== undefined) {
    const format = options.json ? 'json' : 'csv'
    context.out.write(await client.text(`${path}/record?format=${format}&${verify}`, recordMs))
  } else {
    const results = await client.get<PartResult[]>(`${path}/results`)
    const record = await client.get<RunRecord>(path)
    const events = await client.get<RunEvent[]>(`${path}/events`)
    print(context.out, ...outcomeLines(record, results, events), ...whyEnded(record, events), '')
    if (!hasEnded(record)) {
      print(context.out, 'It has not ended on record: energy may be on. See `nightbench status`.')
    }
    if (options.verify) print(context.out, await chainLine(client, path))
    print(context.out,
      `The whole record: nightbench report ${decodeURIComponent(id)} -o ${decodeURIComponent(id)}.html`)
    return exitOfRun(record, results)
  }
  return exitCodes.accepted
}

/** What refused or tripped it, or why it has no end, as its events say; nothing of a run that got done. */
function whyEnded({ state }: RunRecord, events: readonly RunEvent[]): string[] {
  if (state === 'done' || state === 'running' || state === 'prepared') return []
  const isWhy = ({ kind, severity }: RunEvent): boolean =>
    severity === 'trip' || ['refused', 'stop', 'end-not-written'].includes(kind)
  return events.filter(isWhy).map(event => printable(eventLine(event)))
}

async function chainLine(client: DaemonClient, path: string): Promise<string> {
  const { chain } = await client.get<{ chain: RunTestRecord['chain'] }>(
    `${path}/record?format=json&verify=true`, recordMs
  )
  return chain?.holds ? 'The chain of hashes holds.' : printable(
    `THE CHAIN OF HASHES IS BROKEN at ${chain?.firstBreak}`
  )
}

function formatOf(file: string): string {
  const extension = extname(file).toLowerCase()
  if (extension === '.htm') return 'html'
  if (extension === '.html' || extension === '.csv' || extension === '.json') return extension.slice(1)
  throw new BenchError(
    'USAGE', 'this kind of file is not written', { expected: '.html, .csv or .json', got: file }
  )
}

async function exportReadings(
  context: CliContext, given: string | undefined, options: ExportOptions
): Promise<ExitCode> {
  const client = daemonOf(context, options)
  const id = given ?? (await newestRun(client)).id
  const query = new URLSearchParams({ format: options.json ? 'lines' : 'csv' })
  if (options.channel !== undefined) query.set('channel', options.channel)
  const pieces = client.pieces(`/runs/${encodeURIComponent(id)}/readings?${query.toString()}`)
  if (options.output !== undefined) {
    const bytes = await context.writeFile(options.output, pieces)
    print(context.err, `Wrote ${options.output}, ${bytes} bytes.`)
  } else {
    await pour(context.out, pieces)
  }
  return exitCodes.accepted
}
