import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { weibullShapeInterval } from '../../src/analysis/lots/reliability.ts'
import { earlyFailures, unitSays, type UnitHours } from '../../src/burn-in/early-failures.ts'

/** Units with failures by Weibull, each watched for `hours`. */
const drawn = (random: SeededRandom, n: number, shape: number, scaleH: number, hours: number): UnitHours[] =>
  Array.from({ length: n }, () => {
    const t = scaleH * (-Math.log(1 - random.next())) ** (1 / shape)
    return t < hours ? { hours: t, failed: true } : { hours, failed: false }
  })

describe('failures of several units', () => {
  it('bound the rate by chi-square where none failed (72 h: 2·72/5.99146 = 24.034 h; textbook)', () => {
    const found = earlyFailures([{ hours: 72, failed: false }])
    expect(found.betweenLeastH).toBeCloseTo(24.034, 2)
    expect(found.rateMostPerH * found.betweenLeastH).toBeCloseTo(1, 12)
    expect(found.weibull).toBeNull()
    expect(found.says).toMatch(/^1 unit, 72 h together, 0 failures: .* one in 24 h .*Fewer than 3 failures/)
    expect(earlyFailures(Array.from({ length: 10 }, () => ({ hours: 72, failed: false }))).betweenLeastH).toBeCloseTo(240.34, 1)
  })
  it('bound it by more where some did (two in 1000 h: 2·1000/12.5916 = 158.84 h; textbook)', () => {
    expect(earlyFailures([{ hours: 400, failed: true }, { hours: 200, failed: true }, { hours: 400, failed: false }]).betweenLeastH).toBeCloseTo(158.84, 1)
  })
  it('say that they grow rarer where they do, and not where they do not', () => {
    const random = new SeededRandom('early')
    expect(earlyFailures(drawn(random, 200, 0.5, 500, 72)).says).toMatch(/grows rarer/)
    expect(earlyFailures(drawn(random, 200, 3, 60, 72)).says).toMatch(/wear/)
    expect(earlyFailures([...[5, 20, 60].map(hours => ({ hours, failed: true })), ...Array.from({ length: 3 }, () => ({ hours: 72, failed: false }))]).says).toMatch(/is not shown/)
    expect(earlyFailures([1, 2, 3].map(() => ({ hours: 72, failed: true }))).weibull).toBeNull()
  })
  it('hold the true shape in the interval as often as it says', () => {
    const random = new SeededRandom('coverage')
    let inside = 0
    for (let i = 0; i < 400; i++) {
      const { weibull } = earlyFailures(drawn(random, 30, 0.7, 80, 72))
      if (weibull!.shapeLow <= 0.7 && 0.7 <= weibull!.shapeHigh) inside++
    }
    // 95 %, by a law of many failures: 18 of them here.
    expect(inside).toBeGreaterThan(400 * 0.91)
    expect(inside).toBeLessThan(400 * 0.985)
  })
  it('have a shape interval whose ends are as likely as they should be', () => {
    const failures = [3, 9, 20, 31, 55]
    const { low, high } = weibullShapeInterval({ failures, survivors: [72, 72] }, 3.841459)
    // By brute force over shape and scale.
    const logLike = (k: number, scale: number): number => failures.reduce((sum, t) =>
      sum + Math.log(k / scale) + (k - 1) * Math.log(t / scale), 0) - [...failures, 72, 72].reduce((sum, t) => sum + (t / scale) ** k, 0)
    const best = (k: number): number => Math.max(...Array.from({ length: 4000 }, (_, i) => logLike(k, 20 * 1.0012 ** i)))
    const most = Math.max(...Array.from({ length: 300 }, (_, i) => best(0.4 + 0.005 * i)))
    for (const end of [low, high]) expect(most - best(end)).toBeCloseTo(3.841459 / 2, 2)
  })
  it('are not told of nothing', () => { expect(() => earlyFailures([])).toThrow(); expect(() => earlyFailures([{ hours: 0, failed: true }])).toThrow() })
})

describe('what the hours of one unit show', () => {
  it('is said with its bound and with what it does not show', () => {
    expect(unitSays(72, false)).toMatch(/ran 72 h .* one in 24 h .* does not show/)
    expect(unitSays(5, true)).toMatch(/failed after 5 h/)
    expect(unitSays(0, false)).toMatch(/nothing is shown/)
  })
  it('is said only of the hours since it last failed', () => {
    const says = unitSays(172, false, 100)
    expect(says).toMatch(/failed after 100 h of this burn-in/)
    expect(says).toMatch(/ran 72 h since then .*without failing.* one in 24 h/)
    expect(unitSays(105, true, 100)).toMatch(/failed again after 5 h, since it failed after 100 h of this burn-in/)
    expect(unitSays(100, false, 100)).toMatch(/failed after 100 h of this burn-in.*No time counted since then: nothing is shown/)
  })
})
