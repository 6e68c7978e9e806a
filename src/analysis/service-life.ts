/**
 * How long a new electrolytic may last, from the hours of its data sheet: by the ten-kelvin rule, and by how
 * far below its rating it works. A rule of thumb, so every figure comes with its range.
 */
import { assert } from '../base/assert.ts'

/** Hours of a data sheet, at the highest temperature of the part and its rated volts. */
export interface RatedLife { readonly ratedH: number; readonly atC: number; readonly ratedV: number }
export interface Service { readonly temperatureC: number; readonly volts: number }
/** Hours. */
export interface ServiceLife { readonly hours: number; readonly lowH: number; readonly highH: number }

/** Life halves for each 10 K more (rule of thumb, read in an encyclopaedia). */
const halvingK = 10
/** Of one reaction the rule holds at one temperature alone: from 35 to 105 °C it is these (computed). */
const activationEv = [0.59, 0.83] as const
const boltzmannEvPerK = 8.617333e-5
const zeroC = 273.15
/** Colder than this nobody looked whether the rule holds: such a part is taken to be as warm. */
export const coldestC = 35
/** What data sheets give holds for most parts of a make: by so much one may differ (our choice). */
const scatter = 1.5
/** Below this share of the rated volts nobody has shown that fewer help (our choice). */
const voltsShareLeast = 0.5

/**
 * Life of a new part, hours. Null above its temperature or its rated volts: no rule holds there. Asserts
 * positive ratings and finite conditions above absolute zero.
 */
export function serviceLife(
  { ratedH, atC, ratedV }: RatedLife, { temperatureC, volts }: Service,
): ServiceLife | null {
  assert(ratedH > 0 && ratedV > 0, 'a rated life and rated volts are above 0')
  assert(temperatureC > -zeroC && Number.isFinite(volts), 'a part lives at a temperature and at volts')
  if (temperatureC > atC || volts > ratedV) return null
  const warmC = Math.max(coldestC, temperatureC)
  const byRule = 2 ** ((atC - warmC) / halvingK)
  const byEnergy = activationEv.map(energyEv =>
    Math.exp(energyEv / boltzmannEvPerK * (1 / (warmC + zeroC) - 1 / (atC + zeroC))))
  const gain = voltsGain(Math.max(voltsShareLeast, volts / ratedV))
  return {
    hours: ratedH * byRule * gain.usual,
    // That fewer volts help at all is from memory: the low end does not count on it.
    lowH: ratedH * Math.min(byRule, ...byEnergy) / scatter,
    highH: ratedH * Math.max(byRule, ...byEnergy) * gain.most * scatter,
  }
}

/** A maker's straight line (from memory), and the flattest power of a calculator (second hand). */
function voltsGain(share: number): { usual: number; most: number } {
  const usual = 4.3 - 3.3 * share
  return { usual, most: Math.max(usual, share ** -2.5) }
}

/** Rated volts fall by this share of themselves for each kelvin above a temperature. */
export interface Derating { readonly aboveC: number; readonly sharePerK: number }

/** The volts to which a part is rated at a temperature; 0 where it has none left. */
export const deratedV = (ratedV: number, derating: Derating | null, temperatureC: number): number =>
  derating === null ? ratedV
    : ratedV * Math.max(0, 1 - derating.sharePerK * Math.max(0, temperatureC - derating.aboveC))
