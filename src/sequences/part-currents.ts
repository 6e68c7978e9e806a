/** Which current tells a sound part from one that fails, and whether it can. Pure; SI units. */
import type { PlanInput } from '../engine/sequence.ts'
import type { Refusal } from '../schema/refusals.ts'
import { shortOf } from '../schema/fixture.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import { leakageLimit } from './leakage-limit.ts'
import type { ReformParameters } from './parameters.ts'

/**
 * Of what a short takes: sound parts stay below the first share, and the bound of any part below the second.
 */
const soundShare = 0.5
const boundShareMax = 0.9
/** The bound lies this far above the leakage limit, so that a part at its limit is graded and not dropped. */
const aboveLimit = 1.2

/**
 * By position, what no sound part takes: half of what a short takes, or more where its
 * leakage limit asks for it.
 */
export function partCurrents(
  { bench, parts }: PlanInput<ReformParameters>, targetV: number,
): Record<string, number> {
  const shortA = shortOf(bench.fixture, targetV)
  return Object.fromEntries(parts.map(({ loaded, profile }) => {
    const { limitA } = leakageLimit(profile.leakage, profile.capacitanceF, targetV)
    return [loaded.position, Math.min(boundShareMax * shortA,
      Math.max(soundShare * shortA, aboveLimit * limitA))]
  }))
}

/** A limit or a charging current that a short can hardly be told from is refused. */
export function currents(
  { bench, parts, parameters }: PlanInput<ReformParameters>, targetV: number,
): Refusal[] {
  const shortA = shortOf(bench.fixture, targetV)
  const milli = (amps: number): string => `${(1e3 * amps).toPrecision(3)} mA`
  const seen = new Set<PartProfile>()
  return parts.flatMap(({ profile }) => {
    if (seen.has(profile)) return []
    seen.add(profile)
    const { limitA } = leakageLimit(profile.leakage, profile.capacitanceF, targetV)
    const chargeA = profile.capacitanceF * (1 + profile.tolerancePlus) * parameters.slewVPerS
    const mostOhm = boundShareMax * targetV / (aboveLimit * limitA) - bench.fixture.senseOhm
    const mostVPerS = soundShare * shortA / (chargeA / parameters.slewVPerS)
    return [
      ...aboveLimit * limitA <= boundShareMax * shortA ? [] : [{
        what: `leakage limit of ${profile.name} against what a short takes`, have: milli(limitA),
        need: `at most ${milli(boundShareMax * shortA / aboveLimit)}`,
        wayOut: `limiting resistors of ${mostOhm.toPrecision(3)} Ω at most`,
      }],
      ...chargeA <= soundShare * shortA ? [] : [{
        what: `charging current of ${profile.name} against what a short takes`, have: milli(chargeA),
        need: `at most ${milli(soundShare * shortA)}`,
        wayOut: `slewVPerS of ${mostVPerS.toPrecision(3)} at most`,
      }],
    ]
  })
}
