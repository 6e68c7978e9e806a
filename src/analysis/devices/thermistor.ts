/** Thermistors by Steinhart and Hart's equation, 1/T = A + B·ln R + C·(ln R)³, T in kelvin, R in ohm. */
import { assert } from '../../base/assert.ts'

export interface SteinhartHart { a: number; b: number; c: number }

type Point = readonly [tempC: number, ohm: number]

const zeroC = 273.15

/** Temperature in °C. Asserts a resistance above 0. */
export function thermistorC({ a, b, c }: SteinhartHart, ohm: number): number {
  assert(ohm > 0, `a resistance above 0 is needed, got ${ohm}`)
  const l = Math.log(ohm)
  return 1 / (a + b * l + c * l ** 3) - zeroC
}

/**
 * Coefficients through three points (°C, ohm). Asserts temperatures above absolute zero and resistances above
 * 0, all different.
 */
export function steinhartHart(points: readonly [Point, Point, Point]): SteinhartHart {
  for (const [tempC, ohm] of points) {
    assert(tempC > -zeroC && ohm > 0, 'points need °C above absolute zero and ohm above 0')
  }
  const [l1, l2, l3] = points.map(p => Math.log(p[1])) as [number, number, number]
  const [y1, y2, y3] = points.map(p => 1 / (p[0] + zeroC)) as [number, number, number]
  assert(l1 !== l2 && l2 !== l3 && l1 !== l3, 'points need three different resistances')
  const [g2, g3] = [(y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)]
  const c = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3)
  const b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2)
  return { a: y1 - (b + l1 * l1 * c) * l1, b, c }
}
