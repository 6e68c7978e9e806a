/** Whether a bench is simulated as a whole: what an identity says is asked of each instrument at a start. */
import type { BenchFile } from '../schema/bench.ts'

const sign = 'SIMULATED,'

/** The name of an instrument that is real; undefined where none is. */
export const realInstrument = ({ instruments }: Pick<BenchFile, 'instruments'>): string | undefined =>
  Object.entries(instruments).find(([, { identity }]) => !identity.startsWith(sign))?.[0]

export const isSimulated = (file: Pick<BenchFile, 'instruments'>): boolean =>
  realInstrument(file) === undefined
