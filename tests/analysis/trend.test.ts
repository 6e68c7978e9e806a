import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { type Series, type Trend, classifyTrend, improving } from '../../src/analysis/trend.ts'
import { SeededRandom } from '../../src/base/random.ts'

const noise = 1e-7

/** `shape` in amperes over n readings 5 s apart, with noise correlated `rho` from one to the next. */
function series(random: SeededRandom, n: number, shape: (tS: number) => number, rho = 0): Series {
  const tS = Array.from({ length: n }, (_, i) => 60 + 5 * i + random.uniform(-1, 1))
  let e = random.normal()
  const y = tS.map(t => {
    const value = shape(t) + noise * e
    e = rho * e + Math.sqrt(1 - rho * rho) * random.normal()
    return value
  })
  return { tS, y, u: tS.map(() => noise) }
}

function rates(runs: number, verdict: (run: number) => string): Record<string, number> {
  const counts: Record<string, number> = {}
  for (let run = 0; run < runs; run++) { const v = verdict(run); counts[v] = (counts[v] ?? 0) + 1 }
  return Object.fromEntries(Object.entries(counts).map(([v, count]) => [v, count / runs]))
}

const level = () => 1e-5

describe('classifyTrend', () => {
  test.each([5, 8, 15, 50, 200])('%i level readings, independent noise: called rising at most 1 %', n => {
    const random = new SeededRandom(`level ${n}`)
    // the band is far too narrow to be proven, so every error shows as a direction
    const found = rates(4000, () =>
      classifyTrend(series(random, n, level), { absoluteBandPerS: 1e-15 }).verdict)
    console.log(`level, n=${n}: rising ${pc(found.rising)}, falling ${pc(found.falling)}`)
    expect(found.rising ?? 0).toBeLessThanOrEqual(0.01)
    expect(found.falling ?? 0).toBeLessThanOrEqual(0.01)
  })

  /** With u stated ten times too small only the scatter itself guards: the harder case. */
  test.each([[0, 5, 0.01], [0, 8, 0.01], [0, 20, 0.01], [0, 200, 0.01], [0.6, 15, 0.035], [0.6, 50, 0.02],
    [0.6, 200, 0.01]])(
    'noise correlated %f in %i readings, u ten times too small: called rising at most %f of the time',
    (rho, n, most) => {
      const random = new SeededRandom(`understated ${rho} ${n}`)
      const found = rates(4000, () => {
        const s = series(random, n, level, rho)
        return classifyTrend({ ...s, u: Array.from(s.u, v => v / 10) }, { absoluteBandPerS: 1e-15 }).verdict
      })
      console.log(`u too small, rho ${rho}, n=${n}: rising ${pc(found.rising)}, falling ${pc(found.falling)}`)
      expect(found.rising ?? 0).toBeLessThanOrEqual(most)
      expect(found.falling ?? 0).toBeLessThanOrEqual(most)
    })

  test('a slope at the very edge of the band is called settled at most 5 %', () => {
    const random = new SeededRandom('edge')
    const band = 6e-9
    const found = rates(4000, () =>
      classifyTrend(series(random, 20, t => 1e-5 - band * t), { absoluteBandPerS: band }).verdict)
    console.log(`edge of the band: settled ${pc(found.settled)}`)
    expect(found.settled ?? 0).toBeLessThanOrEqual(0.055)
    expect(found.falling).toBeGreaterThan(0.5)
    expect(found.rising ?? 0).toBe(0)
  })

  test('a level reading within a band it can meet is settled, a fall falling, a rise rising', () => {
    const random = new SeededRandom('clear')
    const band = { relativeBand: 0.05 }
    const say = (shape: (t: number) => number) =>
      rates(500, () => classifyTrend(series(random, 30, shape), band).verdict)
    expect(say(level).settled).toBeGreaterThan(0.99)
    expect(say(t => 1e-5 * Math.exp(-t / 300)).falling).toBeGreaterThan(0.99)
    expect(say(t => 1e-5 * Math.exp(t / 300)).rising).toBeGreaterThan(0.99)
  })

  test('noise too large for the band is cannot-tell, not settled', () => {
    const random = new SeededRandom('noisy')
    const found = rates(500, () =>
      classifyTrend(series(random, 6, () => 2e-7), { relativeBand: 0.02 }).verdict)
    expect(found['cannot-tell']).toBeGreaterThan(0.97)
    expect(found.settled ?? 0).toBe(0)
  })

  test('scaling currents and shifting time change no verdict', () => {
    fc.assert(fc.property(
      fc.integer({ min: 0, max: 1e6 }), fc.integer({ min: -9, max: 3 }), fc.integer({ min: 0, max: 1e6 }),
      (seed, power, shift) => {
        const plain = series(new SeededRandom(seed), 12, t => 1e-5 - 1e-9 * (seed % 5) * t)
        const k = 10 ** power
        const moved = {
          tS: Array.from(plain.tS, t => t + shift), y: Array.from(plain.y, v => v * k),
          u: Array.from(plain.u, v => v * k),
        }
        const [a, b] = [plain, moved].map(s => classifyTrend(s, { relativeBand: 0.03 })) as [Trend, Trend]
        expect(b.slopePerS / k / a.slopePerS).toBeCloseTo(1, 5)
        expect(b.pSettled).toBeCloseTo(a.pSettled, 5)
      }))
  })

  test('readings that repeat to the bit settle no better than their own uncertainty allows', () => {
    const tS = [0, 1, 2, 3, 4]
    const flat = { tS, y: tS.map(() => 1e-5), u: tS.map(() => 1e-6) }
    expect(classifyTrend(flat, { relativeBand: 0.01 }).verdict).toBe('cannot-tell')
    expect(classifyTrend({ ...flat, u: tS.map(() => 1e-9) }, { relativeBand: 0.01 }).verdict).toBe('settled')
  })

  test('too few readings and NaN cannot tell; disorder and a u of zero are refused', () => {
    const tS = [0, 1, 2, 3, 4]
    const u = [1, 1, 1, 1, 1]
    const band = { absoluteBandPerS: 1 }
    expect(classifyTrend({ tS: [0, 1], y: [1, 1], u: [1, 1] }, band))
      .toMatchObject({ verdict: 'cannot-tell', reason: 'too few readings' })
    expect(classifyTrend({ tS, y: [1, 1, NaN, 1, 1], u }, band))
      .toMatchObject({ verdict: 'cannot-tell', reason: 'not a number' })
    expect(() => classifyTrend({ tS: [0, 1, 1, 3, 4], y: u, u }, band)).toThrow(/rise strictly/)
    expect(() => classifyTrend({ tS, y: u, u: [1, 1, 0, 1, 1] }, band)).toThrow(/above 0/)
    expect(() => classifyTrend({ tS, y: [1], u }, band)).toThrow(/length/)
    expect(() => classifyTrend({ tS, y: u, u }, { relativeBand: 0 })).toThrow(/band/)
  })
})

describe('improving', () => {
  const hour = { materialFall: 0.1, overS: 3600 }
  const after = (s: Series, tS: number): Series => ({ ...s, tS: Array.from(s.tS, (_, i) => tS + 30 * i) })
  const power = (random: SeededRandom, n: number, exponent: number): Series => {
    const s = after(series(random, n, () => 0), 1800)
    return { ...s, y: Array.from(s.y, (e, i) => 2e-5 * (s.tS[i]! / 1800) ** -exponent + e) }
  }

  test('a current that falls as 1/t is improving, a level one is not, a rising one is not', () => {
    const random = new SeededRandom('improving')
    const say = (exponent: number) => rates(500, () => improving(power(random, 40, exponent), hour).verdict)
    expect(say(1).yes).toBe(1)
    expect(say(0).no).toBeGreaterThan(0.99)
    expect(say(-0.5).no).toBe(1)
  })

  test('at exactly the material fall either call is wrong at most 5 %', () => {
    const random = new SeededRandom('threshold')
    // after 40 readings 30 s apart the last is at 2970 s; the exponent that falls 10 % in the next hour
    const exponent = -Math.log(0.9) / Math.log1p(3600 / 2970)
    const found = rates(4000, () =>
      improving(power(random, 40, exponent), { ...hour, axis: 'log-time' }).verdict)
    console.log(`at the material fall: yes ${pc(found.yes)}, no ${pc(found.no)}`)
    expect(found.yes ?? 0).toBeLessThanOrEqual(0.055)
    expect(found.no ?? 0).toBeLessThanOrEqual(0.055)
  })

  test('the forecast of a 1/t law is what the law says', () => {
    const tS = Array.from({ length: 10 }, (_, i) => 600 + 60 * i)
    const found = improving({ tS, y: tS.map(t => 0.05 / t), u: tS.map(() => 1e-9) }, hour)
    expect(found.axis).toBe('log-time')
    expect(found.slope).toBeCloseTo(-1, 6)
    expect(found.forecastFall).toBeCloseTo(3600 / (1140 + 3600), 5)
    const fast = improving({ tS, y: tS.map(t => Math.exp(-t / 200)), u: tS.map(() => 1e-9) }, hour)
    expect(fast.axis).toBe('linear-time')
    expect(fast.slope).toBeCloseTo(-1 / 200, 6)
  })

  test('currents within noise of zero, too few and NaN cannot tell', () => {
    const tS = [60, 120, 180, 240, 300]
    const u = tS.map(() => 1e-7)
    expect(improving({ tS, y: tS.map(() => 2e-7), u }, hour))
      .toMatchObject({ verdict: 'cannot-tell', reason: 'within noise of zero' })
    expect(improving({ tS, y: [1, 1, NaN, 1, 1], u }, hour).reason).toBe('not a number')
    expect(improving({ tS: [1], y: [1], u: [1] }, hour).reason).toBe('too few readings')
    expect(() => improving({ tS, y: tS, u }, { materialFall: 1, overS: 1 })).toThrow(/between 0 and 1/)
    expect(() => improving({ tS: [0, 1, 2, 3, 4], y: tS, u }, { ...hour, axis: 'log-time' }))
      .toThrow(/above 0/)
  })
})

const pc = (share = 0): string => `${(100 * share).toFixed(2)} %`
