/** `unit`: which parts of a list are proven, by what, and what is missing; a rack of those to be formed. */
import { extname } from 'node:path'
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { formatCount } from '../base/format.ts'
import { csvLine } from '../report/csv.ts'
import {
  byUrgency, csvCells, csvHeadings, headings, serviceLines, unitCells, unitHtml, unitPage, unitSummary,
  type UnitPage,
} from '../report/unit-page.ts'
import { idsOf, type PartsLine } from '../schema/parts-list.ts'
import { partsPolicy } from '../schema/parts-policy.ts'
import { invalidFile, loadFile } from '../schema/read-file.ts'
import type { ProposedRack, ToForm, UnitParts } from '../schema/unit.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { readPartsFile } from './parts-file.ts'
import { unitOf } from './screen-request.ts'
import { unitLines } from './unit-lines.ts'
import { printable, renderTable } from './table.ts'
import { writeAnswer } from './write-answer.ts'

interface Options extends CommonOptions {
  policy?: string; unit?: string; output?: string; rack?: string; insideC?: string
}

export function addUnitCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('unit').argument('<file>', 'its parts list')
    .option('--policy <file>', 'what is to be done with which parts')
    .option('--unit <name>', 'its name on record; the name of the file when left out')
    .option('--inside-c <celsius>', 'how warm parts get inside, for estimates of life that profiles ask for')
    .option('-o, --output <file>', 'write its page: .html, .csv or .json')
    .option('--rack <file>', 'write a rack list of those that are to be formed: .csv')
    .description('show which parts of a unit are proven, by what, and what is missing'),
  async (file: string, options: Options) => await showUnit(context, file, options))
}

async function showUnit(context: CliContext, file: string, options: Options): Promise<ExitCode> {
  const { list: { parts }, problems } = readPartsFile(file)
  if (problems.length > 0) throw invalidFile(file, problems)
  const policy = options.policy === undefined ? null : loadFile(options.policy, partsPolicy, 'a policy')
  const unit = options.unit ?? unitOf(file)
  const lines = unitLines(parts, policy)
  const client = daemonOf(context, options)
  const standing = await client.post<UnitParts>('/units/parts', {
    unit, designators: lines.map(({ designator }) => designator),
    ...options.insideC === undefined ? {} : { insideC: Number(options.insideC) },
  })
  const shown = unitPage(lines, standing, policy?.policy ?? null)
  const rack = options.rack === undefined ? null
    : await writeRack(context, client, options.rack, { unit, parts: toFormOf(shown, parts) }, options.insideC)
  if (options.output !== undefined) {
    await writeAnswer(context, options.output, shown, { html: unitHtml, csv: unitCsv }, options)
  }
  if (options.json) printJson(context.out, { ...shown, ...rack && { rack } })
  else print(context.out, ...unitText(shown), ...rackText(rack, options.rack))
  return shown.complete ? exitCodes.accepted : exitCodes.notAccepted
}

/** Parts whose newest result sends them to be formed, with rating and value of the list. */
function toFormOf({ rows }: UnitPage, parts: readonly PartsLine[]): ToForm[] {
  return rows.filter(({ standing }) => standing === 'to form').map(({ designator }) => {
    const line = parts.find(part => idsOf(part).includes(designator))
    const { value = null, ratedV = null } = line ?? {}
    return { designator, ratedV, capacitanceF: value?.quantity === 'capacitance' ? value.si : null }
  })
}

/** Stands for a condition, and is refused as one: nobody has looked at the part yet. */
const unseen = '?'

async function writeRack(
  context: CliContext, client: DaemonClient, file: string, request: { unit: string; parts: ToForm[] },
  insideC: string | undefined,
): Promise<ProposedRack> {
  if (extname(file).toLowerCase() !== '.csv') {
    throw new BenchError('USAGE', 'this kind of rack list is not written', { expected: '.csv', got: file })
  }
  if (request.parts.length === 0) return { ratedV: null, parts: [], left: [] }
  const rack = await client.post<ProposedRack>('/units/rack', request)
  if (rack.parts.length > 0) {
    await context.writeFile(file, [
      csvLine(['position', 'part', 'profile', 'ratedV', 'capacitanceF', 'condition', 'serviceC', 'serviceV']),
      ...rack.parts.map(({ position, part, profile, ratedV, capacitanceF }) =>
        csvLine([position, part, profile, ratedV, capacitanceF, unseen, insideC, null])),
    ])
  }
  return rack
}

function rackText(rack: ProposedRack | null, file: string | undefined): string[] {
  if (rack === null) return []
  return ['', ...rack.parts.length === 0 ? ['Nothing can be formed: no rack list is written.'] : [
    `Wrote ${file}: ${formatCount(rack.parts.length, 'part')} of ${rack.ratedV} V. Look at each and put `
      + `its condition for the ${unseen}, then: nightbench plan reform --parts ${file}`,
  ], ...rack.left.map(({ designator, why }) => `${designator} is not on it: ${why}`)].map(printable)
}

function unitText(shown: UnitPage): string[] {
  return [
    ...renderTable(headings.map(heading => ({ heading })), byUrgency(shown.rows).map(unitCells)),
    '', unitSummary(shown), ...shown.remarks, ...serviceLines(shown.rows),
  ].map(printable)
}

const unitCsv = ({ rows }: UnitPage): string =>
  [csvLine(csvHeadings), ...rows.map(row => csvLine(csvCells(row)))].join('')
