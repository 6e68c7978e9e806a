/** What the demo of a unit says before and after: claims beside the truth that the bench could not see. */
import { formatDuration } from '../base/format.ts'
import type { ClaimVerdict } from '../schema/claims.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'
import { printable, renderTable } from './table.ts'

/** What the simulated stand says when it is asked for the truth: its claims in the order of its profile. */
export interface UnitTruth { truth: string; claims: readonly { isTrue: boolean }[] }

export interface UnitSummary {
  runs: readonly RunRecord[]
  /** Of the last run. */
  result: PartResult | null
  truth: UnitTruth
  record: string
  wallS: number
}

export const unitOpening = (seed: string): string[] => [
  'Saltmarsh Pavilion, 1974: the amplifier is whole again. First power, burn-in, and what it claims.',
  `Nothing here is real; stand, instruments, unit and hands are simulated. Seed ${seed}.`,
  'On a real stand: mains and its rails kill. Only a person qualified for it works on this, by local rules.',
]

type Standing = 'right' | 'wrong' | 'open'

interface Compared { verdict: ClaimVerdict; isTrue: boolean; standing: Standing }

function compared({ result, truth: { claims } }: UnitSummary): Compared[] {
  const verdicts = result?.unit?.claims ?? []
  return verdicts.map((verdict, i) => {
    const isTrue = claims[i]!.isTrue
    const isRight = (verdict.end === 'met') === isTrue
    const isOpen = verdict.end === 'cannot be told'
    return { verdict, isTrue, standing: isOpen ? 'open' : isRight ? 'right' : 'wrong' }
  })
}

const benchS = (runs: readonly RunRecord[]): number =>
  runs.reduce((sum, { startedWallMs: from, endedWallMs: to }) => sum + ((to ?? from) - from) / 1000, 0)

export function unitLines(summary: UnitSummary): string[] {
  const { runs, truth, record, wallS } = summary
  const table = compared(summary)
  const count = (wanted: Standing): number => table.filter(({ standing }) => standing === wanted).length
  const headings = ['the bench says', 'really', 'which is', 'claim'].map(heading => ({ heading }))
  return [
    '', ...runs.map(({ id, state }) => `Run ${id}: ${state}.`),
    `${formatDuration(benchS(runs))} of bench time in ${formatDuration(wallS)}.`,
    `The test record of the unit: ${record}`,
    '', `The hidden truth: ${truth.truth}. Claim by claim, beside what the bench concluded:`,
    ...renderTable(headings, table.map(({ verdict: { words, end }, isTrue, standing }) =>
      [end, isTrue ? 'met' : 'not met', standing, words]), 170),
    '', `${count('right')} right, ${count('wrong')} wrong, ${count('open')} that could not be told.`,
  ].map(printable)
}

export function unitJson(summary: UnitSummary): object {
  const { runs, record, wallS } = summary
  const table = compared(summary)
  const count = (wanted: Standing): number => table.filter(({ standing }) => standing === wanted).length
  return {
    runs: runs.map(({ id, sequence, state }) => ({ id, sequence, state })),
    claims: table.map(({ verdict: { words, end }, isTrue, standing }) => ({ words, end, isTrue, standing })),
    right: count('right'), wrong: count('wrong'), open: count('open'), record,
    benchHours: benchS(runs) / 3600, wallS,
  }
}
