/** What leads and terminals add, taken off again, and what they leave open. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { correctOpenShort, fromAdmittance, withOpenShort } from '../../src/analysis/impedance.ts'
import { usualResiduals as usual, type NullRow, type Nulls } from '../../src/schema/compensation.ts'
import type { ImpedanceReading, Pair } from '../../src/schema/jig.ts'
import type { Measured } from '../../src/schema/reading.ts'
import { afterwards, residualsOf } from '../../src/screening/residuals.ts'

const ends: Pair = { high: 1, low: 2 }
const good = (value: number, u = 0): Measured => ({ value, u, quality: 'good', atMs: 0 })
const read = (rOhm: number, xOhm: number, frequencyHz: number, u = 0): ImpedanceReading =>
  ({ rOhm: good(rOhm, u), xOhm: good(xOhm, u), frequencyHz, levelV: 1 })
const row = (over: Partial<NullRow> = {}): NullRow => ({
  of: '0123456789abcdef', frequencyHz: 1e5, shortOhm: 0.02, shortReactanceOhm: 0.06, shortU: 1e-4,
  openS: 1e-8, openSusceptanceS: 2 * Math.PI * 1e5 * 1e-12, openU: 1e-9, ...over,
})
const of = (...rows: NullRow[]): Nulls => ({ run: 'a-run', wallMs: 0, rows })
const fixtureOf = ({ shortOhm, shortReactanceOhm, openS, openSusceptanceS }: NullRow) =>
  ({ short: { rOhm: shortOhm, xOhm: shortReactanceOhm }, open: { gS: openS ?? 0, bS: openSusceptanceS ?? 0 } })

describe('a jig that was compensated', () => {
  it('gives back the part that lies between terminals 1 and 2', () => {
    const anOhm = fc.double({ min: -2, max: 5, noNaN: true }).map(power => 10 ** power)
    fc.assert(fc.property(anOhm, anOhm, fc.boolean(), fc.boolean(), (r, x, isCapacitive, isTurned) => {
      const part = { rOhm: r, xOhm: isCapacitive ? -x : x }
      const seen = withOpenShort(part, fixtureOf(row()))
      const pair: Pair = isTurned ? { high: 2, low: 1 } : ends
      const { rOhm, xOhm } = residualsOf(of(row())).impedance(read(seen.rOhm, seen.xOhm, 1e5), pair)
      const off = Math.hypot(rOhm.value - part.rOhm, xOhm.value - part.xOhm)
      expect(off).toBeLessThanOrEqual(1e-9 * Math.hypot(part.rOhm, part.xOhm))
    }))
  })

  it('takes the leads off two wires, and nothing off four', () => {
    const residuals = residualsOf(of(row({ frequencyHz: 0, shortOhm: 0.21, shortReactanceOhm: 0, openS: null, openSusceptanceS: null, openU: null })))
    expect(residuals.resistance(good(1.21, 0.01), ends, 2)).toMatchObject({ value: 1, u: 0.01 })
    expect(residuals.resistance(good(1.21), ends, 4).value).toBe(1.21)
    expect(residuals.leadsU(ends)).toBeCloseTo(afterwards.leadsOhm * Math.sqrt(2 / 3), 4)
  })

  it('takes nothing off at other frequencies and terminals, and leaves open there what is usual', () => {
    const residuals = residualsOf(of(row()))
    const bare = residualsOf(null)
    for (const [pair, hertz] of [[ends, 1e3], [{ high: 1, low: 3 }, 1e5], [{ high: 3, low: 4 }, 1e5]] as const) {
      const reading = read(100, -100, hertz, 0.1)
      expect(residuals.impedance(reading, pair)).toEqual(reading)
      expect(residuals.impedanceU(reading, pair)).toEqual(bare.impedanceU(reading, pair))
      expect(residuals.leadsU(pair)).toBe(bare.leadsU(pair))
    }
    expect(bare.leadsU(ends)).toBeCloseTo(usual.leadsOhm / Math.sqrt(3), 12)
  })

  it('reads nothing where nothing but itself is seen, and a part of half a picofarad beyond that', () => {
    const residuals = residualsOf(of(row()))
    const besides = (farad: number): ImpedanceReading => {
      const { open, short } = fixtureOf(row())
      const { rOhm, xOhm } = fromAdmittance({ gS: open.gS, bS: open.bS + 2 * Math.PI * 1e5 * farad })
      return read(rOhm + short.rOhm, xOhm + short.xOhm, 1e5)
    }
    for (const farad of [0, 1e-14, 0.05e-12]) expect(residuals.impedance(besides(farad), ends).xOhm.quality).toBe('over-range')
    const { xOhm } = residuals.impedance(besides(0.5e-12), ends)
    expect(-1 / (2 * Math.PI * 1e5 * xOhm.value)).toBeCloseTo(0.5e-12, 16)
  })

  it('leaves what is no number as it is', () => {
    const none = { rOhm: { ...good(NaN), quality: 'over-range' as const }, xOhm: good(-10), frequencyHz: 1e5, levelV: 1 }
    expect(residualsOf(of(row())).impedance(none, ends)).toBe(none)
  })
})

/** Standard deviations of what the part seems to be, while the jig comes back a little different each time. */
function spread(part: { rOhm: number; xOhm: number }, known: NullRow, seed: number): { rOhm: number; xOhm: number } {
  const random = new SeededRandom(seed)
  /** As nulled, and with the part in. */
  const even = (extent: number): number => random.uniform(-extent, extent) + random.uniform(-extent, extent)
  const omega = 2 * Math.PI * known.frequencyHz
  const found = Array.from({ length: 20_000 }, () => {
    const is = fixtureOf({
      ...known, shortOhm: known.shortOhm + even(afterwards.seriesOhm) + known.shortU * random.normal(),
      shortReactanceOhm: known.shortReactanceOhm + even(omega * afterwards.seriesH) + known.shortU * random.normal(),
      openS: known.openS! + even(omega * afterwards.strayF * 0.02) + known.openU! * random.normal(),
      openSusceptanceS: known.openSusceptanceS! + even(omega * afterwards.strayF) + known.openU! * random.normal(),
    })
    return correctOpenShort(withOpenShort(part, is), fixtureOf(known))
  })
  const deviation = (truth: number, values: number[]): number =>
    Math.sqrt(values.reduce((sum, value) => sum + (value - truth) ** 2, 0) / values.length)
  return { rOhm: deviation(part.rOhm, found.map(z => z.rOhm)), xOhm: deviation(part.xOhm, found.map(z => z.xOhm)) }
}

describe('what a compensated jig leaves open', () => {
  it.each([
    ['a small capacitor', 40, -72_000, {}], ['a lossy capacitor', 3000, -4000, {}], ['half an ohm', 0.5, 0.01, {}],
    ['a coil', 20, 600, {}], ['beside a stray that is no small share of it', 10, -150_000, { openSusceptanceS: 2e-6 }],
    ['with a bridge that sees little', 0.3, -0.2, { shortU: 0.02 }],
  ])('of %s is what a jig does that comes back a little different', (_what, rOhm, xOhm, over) => {
    const known = row(over)
    const u = residualsOf(of(known)).impedanceU(read(rOhm, xOhm, 1e5), ends)
    const is = spread({ rOhm, xOhm }, known, 7)
    for (const name of ['rOhm', 'xOhm'] as const) expect(u[name] / is[name]).toBeCloseTo(1, 1)
  })

  it('is more of what the bridge leaves open, as the value grows', () => {
    const known = row({ openSusceptanceS: 5e-6 })
    const seen = withOpenShort({ rOhm: 10, xOhm: -100_000 }, fixtureOf(known))
    const nearby = (dX: number): number =>
      residualsOf(of(known)).impedance(read(seen.rOhm, seen.xOhm + dX, 1e5, 1), ends).xOhm.value
    const { u } = residualsOf(of(known)).impedance(read(seen.rOhm, seen.xOhm, 1e5, 1), ends).xOhm
    expect((nearby(0.5) - nearby(-0.5)) / u).toBeCloseTo(1, 3)
  })
})

describe('a jig that nobody compensated', () => {
  it('leaves 2 pF beside a small capacitor open, and 0.05 Ω and 0.2 µH in series with a large one', () => {
    const u = (reading: ImpedanceReading) => residualsOf(null).impedanceU(reading, ends)
    const omega = 2 * Math.PI * 1e5
    const small = u(read(1, -1 / (omega * 22e-12), 1e5)).xOhm * omega * 22e-12
    expect(small).toBeCloseTo(2 / 22 / Math.sqrt(3), 4)
    const large = u(read(0.1, -1, 1e5))
    expect([large.rOhm, large.xOhm]).toEqual([
      expect.closeTo(0.05 / Math.sqrt(3), 5), expect.closeTo(omega * 0.2e-6 / Math.sqrt(3), 5)])
  })
})
