/** Parts that an earlier half of a run dropped: off the bus, and still in the rack. */
import { z } from 'zod'
import { dispositionWords, gradeWords, type LeftOut, type PartResult, type RunRecord } from '../schema/run.ts'

const leftOut = z.array(z.looseObject({
  position: z.string(), part: z.string(), why: z.string(), run: z.string().optional(),
  result: z.custom<PartResult>().nullable().optional(),
  touch: z.looseObject({ text: z.string(), wallMs: z.number() }).nullable().optional(),
}))

/** `setup.leftOut`; none of a run that continues no other. */
export function leftOutOf(run: Pick<RunRecord, 'setup'> | undefined): readonly LeftOut[] {
  const parsed = leftOut.safeParse(run?.setup['leftOut'])
  return parsed.success ? parsed.data as LeftOut[] : []
}

/** Position, part, grade, what to do with it, and why it is out, in words. */
export const leftOutCells = ({ position, part, why, run, result }: LeftOut): string[] => [
  position, part, result ? gradeWords(result) : 'none', result ? dispositionWords(result) : '',
  `${run === undefined ? 'dropped before' : `run ${run} dropped it`}: ${whatWasSaid(why, position)}`,
]

/** Without its position, which the row has. */
export const whatWasSaid = (text: string, position: string): string =>
  text.startsWith(position) ? text.slice(position.length).replace(/^:? /, '') : text
