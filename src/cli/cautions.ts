/** Cautions of a sequence, shown before anything starts. */
import { BenchError } from '../base/errors.ts'
import type { SequenceInfo } from '../schema/application.ts'
import type { DaemonClient } from './client.ts'
import { print, type CliContext } from './context.ts'
import { printable } from './table.ts'

export interface Confirmed { cautionsRead?: boolean; polarityChecked?: boolean }

/** What starts without cautions read is refused here, USAGE, with the cautions on the screen. */
export async function askForCautions(
  context: CliContext, client: DaemonClient, sequence: string, { cautionsRead, polarityChecked }: Confirmed,
): Promise<void> {
  if (cautionsRead) return
  const all = await client.get<SequenceInfo[]>('/sequences')
  const info = named(all, sequence)
  if (info.cautions.length === 0) return
  print(context.err, 'Read first:', ...info.cautions.map(caution => printable(`  - ${caution}`)), '')
  const polarity = polarityChecked ? ''
    : ', and --polarity-checked when you have looked at every part that goes on the bus'
  throw new BenchError('USAGE',
    `the cautions are not confirmed: add --cautions-read when you have read them${polarity}`)
}

export function named(all: readonly SequenceInfo[], name: string): SequenceInfo {
  const info = all.find(entry => entry.name === name)
  if (info) return info
  const known = all.map(entry => entry.name).join(', ')
  throw new BenchError('USAGE', 'there is no such sequence', { expected: `one of ${known}`, got: name })
}
