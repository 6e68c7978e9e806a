/** The test record of one whole unit: its verdict on the screen, all of it in a file. */
import { BenchError } from '../base/errors.ts'
import type { UnitRecord } from '../report/unit-record.ts'
import { partsPolicy } from '../schema/parts-policy.ts'
import { invalidFile, loadFile } from '../schema/read-file.ts'
import type { DaemonClient } from './client.ts'
import { print, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { readPartsFile } from './parts-file.ts'
import { printable } from './table.ts'
import { unitLines } from './unit-lines.ts'
import { writeAsked } from './write-answer.ts'

export interface UnitRecordFlags extends CommonOptions {
  unit?: string; list?: string; policy?: string; output?: string; verify?: boolean
}

const recordMs = 120_000

export async function reportUnit(
  context: CliContext, client: DaemonClient, options: UnitRecordFlags & { unit: string },
): Promise<ExitCode> {
  const asked = { specimen: options.unit, verify: options.verify === true, ...listed(options) }
  const ask = async (format: 'html' | 'json'): Promise<string> =>
    await client.postText('/units/record', { ...asked, format }, recordMs)
  if (options.output !== undefined) {
    await writeAsked(context, options.output, ['html', 'json'], ask, options)
    return exitCodes.accepted
  }
  const text = await ask('json')
  const record = JSON.parse(text) as UnitRecord
  if (options.json) context.out.write(text)
  else print(context.out, ...verdictLines(record))
  const { verdict, alarms, touch } = record
  const isWell = verdict.end === 'all met' && alarms.length === 0 && touch?.isSafe !== false
  return isWell ? exitCodes.accepted : exitCodes.notAccepted
}

function listed({ list, policy }: UnitRecordFlags): object {
  if (list === undefined) {
    if (policy === undefined) return {}
    throw new BenchError('USAGE', 'a policy is of a parts list', { expected: '--list as well', got: 'none' })
  }
  const { list: { parts }, problems } = readPartsFile(list)
  if (problems.length > 0) throw invalidFile(list, problems)
  const judged = policy === undefined ? null : loadFile(policy, partsPolicy, 'a policy')
  return { lines: unitLines(parts, judged), policy: judged?.policy ?? null }
}

function verdictLines(
  { specimen, unit, alarms, touch, cautions, verdict: { says, limits } }: UnitRecord,
): string[] {
  return [
    `${specimen}${unit === null ? '' : ` (${unit.name})`}`, '',
    ...alarms.map(({ says: why }) => why),
    ...touch && !touch.isSafe ? [touch.words] : [], ...says, ...limits,
    ...cautions.map(caution => `  - ${caution}`), '',
    `The whole record: nightbench report --unit ${specimen} -o ${specimen}.html`,
  ].map(printable)
}
