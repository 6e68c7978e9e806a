/**
 * Distortion is told at so many watts, and these are known as well as scale and load are: what that leaves
 * open follows from how steeply distortion goes with level, which a second reading just below shows.
 */
import type { UncertaintyComponent } from '../analysis/uncertainty.ts'
import type { LoadState } from './port.ts'

/** Of the volts: near enough to be the same course, far enough to show it. */
export const belowShare = 0.94
/** Steeper than this is a unit that breaks off. */
const steepMost = 100

export interface AtWatts { readonly watts: number; readonly distortion: number }

/** Of ln(distortion) over ln(watts), without its sign; 0 where either cannot be told. */
export function slopeOf(at: AtWatts, below: AtWatts): number {
  const slope = Math.abs(Math.log(at.distortion / below.distortion) / Math.log(at.watts / below.watts))
  return Number.isFinite(slope) ? Math.min(slope, steepMost) : 0
}

export function levelPart(
  value: number, slope: number, { gainU, load }: { gainU: number; load: LoadState | null },
): UncertaintyComponent {
  const ohm = load?.ohm
  const wattsU = Math.hypot(2 * gainU, ohm ? ohm.u / ohm.value : 0)
  return { label: 'watts at which it is told', u: wattsU, sensitivity: value * slope }
}
