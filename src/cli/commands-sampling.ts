/** `sampling`: how lots of a source are inspected now, and what became of them. */
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { formatWall } from '../base/format.ts'
import type { SourceState } from '../schema/sampling.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { printable, renderTable } from './table.ts'

export function addSamplingCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('sampling').argument('[source]', 'one of them; all when left out')
    .description('how lots that are sampled are inspected now, by their sources, and what became of them'),
  async (source: string | undefined, options: CommonOptions) => await sampling(context, source, options))
}

async function sampling(
  context: CliContext, source: string | undefined, options: CommonOptions,
): Promise<ExitCode> {
  const query = source === undefined ? '' : `?source=${encodeURIComponent(source)}`
  const sources = await daemonOf(context, options).get<SourceState[]>(`/lots/sources${query}`)
  if (source !== undefined && sources.length === 0) {
    throw new BenchError('NOT_FOUND', 'no lot of this source was sampled', {
      expected: 'a source that `nightbench sampling` lists', got: source,
    })
  }
  if (options.json) printJson(context.out, sources)
  else print(context.out, ...sourceLines(sources).map(printable))
  const isStopped = sources.some(({ inspection }) => inspection === 'stopped')
  return isStopped ? exitCodes.notAccepted : exitCodes.accepted
}

const headings = ['run', 'when', 'lot', 'inspection', 'measured of drawn', 'lot size', 'bad', 'outcome']

function sourceLines(sources: readonly SourceState[]): string[] {
  if (sources.length === 0) return ['No lot was sampled yet.']
  return sources.flatMap(({ source, level, aql, inspection, lots }) => [
    `${source}, level ${level}, AQL ${aql} %: ${inspection === 'stopped'
      ? 'inspection is stopped until the source is mended' : `${inspection} inspection is next`}`,
    ...renderTable(headings.map(heading => ({ heading })),
      lots.map(lot => [
        lot.run, formatWall(lot.wallMs), lot.lot, lot.inspection, `${lot.measured} of ${lot.n}`,
        String(lot.lotSize), String(lot.bad), lot.outcome,
      ])), '',
  ])
}
