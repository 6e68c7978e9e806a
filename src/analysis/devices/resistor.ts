/** Resistors: temperature coefficient, derating, what the meter must be good for. ohm, °C, W. */
import { assert } from '../../base/assert.ts'

/** Temperature coefficient in ppm/K between two temperatures (MIL-STD-202 method 304, definition read). */
export function temperatureCoefficientPpmPerK(
  firstOhm: number, firstC: number, secondOhm: number, secondC: number,
): number {
  assert(firstOhm > 0 && firstC !== secondC, 'needs a resistance above 0 and temperatures that differ')
  return 1e6 * (secondOhm - firstOhm) / (firstOhm * (secondC - firstC))
}

/**
 * Power a part may take at `ambientC`: all up to `ratedC`, falling in a straight line to none at `zeroC`, W.
 */
export function deratedPowerW(ratedW: number, ratedC: number, zeroC: number, ambientC: number): number {
  assert(ratedW > 0 && zeroC > ratedC, 'needs a rated power, and none at a higher temperature')
  return ratedW * Math.min(1, Math.max(0, (zeroC - ambientC) / (zeroC - ratedC)))
}

/**
 * Largest error, a share, that a bridge may have for a part of this tolerance (a share): a tenth of it, or 2
 * % where the part has none (MIL-STD-202 method 303, read).
 */
export function bridgeErrorAtMost(tolerance: number | undefined): number {
  assert(tolerance === undefined || tolerance > 0, 'a tolerance is above 0')
  return tolerance === undefined ? 0.02 : tolerance / 10
}
