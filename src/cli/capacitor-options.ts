/** What is wanted of capacitors, from the command line to the request. */
import { BenchError } from '../base/errors.ts'
import type { ScreenRequest } from '../schema/screening.ts'

export interface CapacitorFlags { insulation?: boolean; absorption?: boolean; mains?: string }

type Wanted = Partial<Pick<ScreenRequest, 'insulation' | 'absorption' | 'mains'>>

/** Throws USAGE for mains that make no sense. */
export function capacitorsWanted({ insulation, absorption, mains }: CapacitorFlags): Wanted {
  return {
    ...insulation === undefined ? {} : { insulation },
    ...absorption === undefined ? {} : { absorption },
    ...mains === undefined ? {} : { mains: mainsOf(mains) },
  }
}

function mainsOf(given: string): ScreenRequest['mains'] {
  const [voltageV, frequencyHz, ...more] = given.split(',')
    .map(part => part.trim() === '' ? NaN : Number(part))
  if (more.length === 0 && voltageV! > 0 && frequencyHz! > 0) {
    return { voltageV: voltageV!, frequencyHz: frequencyHz! }
  }
  throw new BenchError('USAGE', 'mains are not understood', {
    expected: 'volts and hertz, like 240,50 or 120,60', got: given,
  })
}
