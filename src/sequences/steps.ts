/** Where the bus stops on its way up. Pure. */

/** Above this a part is stepped finely (modelling choice of the forming rules). */
const fineAboveV = 300

/** Stops in volts, rising, above `fromV` (where the bus stands already), ending at `targetV` exactly. */
export function formingSteps(targetV: number, stepShare: number, fineStepShare: number, fromV = 0): number[] {
  const stops: number[] = []
  let volts = 0
  while (volts < targetV) {
    const share = volts >= fineAboveV ? fineStepShare : stepShare
    const nextV = volts + share * targetV
    // A share of next to nothing is nothing: steps that do not rise would never end.
    volts = nextV > volts && targetV - nextV >= 0.01 * targetV ? nextV : targetV
    if (volts > fromV) stops.push(volts)
  }
  return stops
}
