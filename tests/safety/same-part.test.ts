/** Whether the bridge sees the part that it saw: before volts to its own errors, after them to what volts change. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { isNear, isSame, seenOf } from '../../src/safety/same-part.ts'
import type { ImpedanceReading } from '../../src/schema/jig.ts'

const reading = (rOhm: number, xOhm: number, share = 1e-3): ImpedanceReading => {
  const u = share * Math.hypot(rOhm, xOhm)
  const as = (value: number) => ({ value, u, quality: 'good' as const, atMs: 0 })
  return { rOhm: as(rOhm), xOhm: as(xOhm), frequencyHz: 1000, levelV: 1 }
}
const gone: ImpedanceReading = { ...reading(1, -1), xOhm: { value: NaN, u: NaN, quality: 'over-range', atMs: 0 } }

describe('a part that is about to go under volts', () => {
  it('is the same where it reads within six uncertainties, and is not where R or X is further off', () =>
    fc.assert(fc.property(fc.double({ min: 10, max: 1e6, noNaN: true }), fc.double({ min: 0, max: 0.1, noNaN: true }), fc.double({ min: -1, max: 1, noNaN: true }), (ohm, loss, at) => {
      const one = reading(loss * ohm, -ohm)
      const u = one.xOhm.u
      expect(isSame(one, reading(loss * ohm + 5 * at * u, -ohm - 5 * at * u))).toBe(true)
      const slackOhm = 0.02 + 2e-8 * ohm * ohm
      expect(isSame(one, reading(loss * ohm, -ohm - 10 * u - slackOhm))).toBe(false)
      expect(isSame(one, reading(loss * ohm + 10 * u + slackOhm, -ohm))).toBe(false)
      expect([isSame(one, gone), isNear(seenOf(one), gone)]).toEqual([false, false])
    })))

  it('is near after volts where it changed by a few per cent, and never where nothing was seen of it', () => {
    expect(isNear(seenOf(reading(1, -1000)), reading(1, -1090))).toBe(true)
    expect(isNear(seenOf(reading(1, -1000)), reading(1, -1110))).toBe(false)
    expect(isNear(seenOf(null), reading(1, -1000))).toBe(false)
  })
})
