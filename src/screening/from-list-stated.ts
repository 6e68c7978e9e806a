/** What a list itself states of transistors, in place of what is usual for their kind. Pure; SI units. */
import { formatSi } from '../base/format.ts'
import type { PartsLine } from '../schema/parts-list.ts'
import { limitWords, type StatedLimit } from '../schema/stated-limits.ts'
import type { Unproven } from './plan.ts'
import type { Limit } from './to-prove.ts'

type Lack = Omit<Unproven, 'id'>

export const statedOf = ({ limits }: PartsLine, of: StatedLimit['of']): StatedLimit | undefined =>
  limits?.find(one => one.of === of)

/**
 * The limit of the list, with the words of what it is measured at. A side that the list leaves open keeps
 * what is usual, where that leaves any room.
 */
export function statedLimit(stated: StatedLimit | undefined, usual: Limit, at: string): Limit {
  if (!stated) return usual
  const { low, high } = stated
  const isRoom =
    (usual.low ?? -Infinity) < (high ?? Infinity) && (usual.high ?? Infinity) > (low ?? -Infinity)
  const usualLow = low === undefined && isRoom ? usual.low : undefined
  const usualHigh = high === undefined && isRoom ? usual.high : undefined
  const { currentA, voltageV, ...bounds } = stated
  const ends = {
    ...low === undefined ? usualLow === undefined ? {} : { low: usualLow } : { low },
    ...high === undefined ? usualHigh === undefined ? {} : { high: usualHigh } : { high },
  }
  const rest = usualLow ?? usualHigh
  const source = `parts list: ${limitWords(bounds)}, ${at}`
  return { ...ends, source: rest === undefined ? source : `${source}; else ${usual.source}` }
}

/** In pulses of 20 ms, by which a small case warms by some 30 K (from memory). */
const heatMostW = 1

/** Why a part is not measured at what the list states; null where it is. */
export function unbearable({ ratedV }: PartsLine, voltageV: number, currentA: number): Lack | null {
  if (ratedV !== null && voltageV > ratedV) {
    return {
      why: `the list asks for ${formatSi(voltageV, 'V')}, and rates it for ${formatSi(ratedV, 'V')}`,
      wayOut: 'give lower test conditions',
    }
  }
  const heatW = voltageV * currentA
  return heatW <= heatMostW ? null : {
    why: `${formatSi(currentA, 'A')} at ${formatSi(voltageV, 'V')} heat it with ${formatSi(heatW, 'W')}, `
      + `and pulses stay below ${formatSi(heatMostW, 'W')}`,
    wayOut: 'give lower test conditions',
  }
}
