/** What a study of the gauge comes to: the published example, what is refused, and what it says. */
import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { packageFile } from '../../src/base/paths.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { gaugeResult } from '../../src/report/gauge-result.ts'
import type { LotRun } from '../../src/report/lot-parts.ts'
import { gaugeAnswer, gaugeRequest, readingName, type GaugeAnswer } from '../../src/schema/gauge.ts'
import type { PartResult } from '../../src/schema/run.ts'
import { criterion, line, result, runOf } from './lot-fixture.ts'

/** readings[person][part][trial] as sessions leave them; limits as given. */
function studied(readings: readonly (readonly (readonly number[])[])[], limits = {}, people = readings.map((_, i) => `P${i + 1}`)): LotRun {
  const names = readings[0]!.map((_, j) => `R${j + 1}`)
  const results = readings.flatMap((one, i) => one.flatMap((trials, j) => trials.map((value, k): PartResult =>
    result(readingName(names[j]!, people[i]!, k + 1), [criterion(value, { name: 'resistance', unit: 'Ω', ...limits })]))))
  const parts = [line(names, 'resistor')]
  return runOf('G1', results, [], { setup: { request: { unit: 'gauge', parts, study: { people, trials: readings[0]![0]!.length } } } })
}
const resultOf = (run: LotRun | LotRun[], over: object = {}): GaugeAnswer =>
  gaugeResult([run].flat(), gaugeRequest.parse({ run: 'G1', ...over }))
const made = (seed: number, own: number, between: number): number[][][] => {
  const random = new SeededRandom(seed)
  return [-1, 0, 1].map(side => Array.from({ length: 10 }, (_, j) =>
    Array.from({ length: 3 }, () => 1000 + 10 * j + between * side + own * random.normal())))
}

describe('the published example of ten parts, three people, three trials', () => {
  const { values } = JSON.parse(readFileSync(packageFile('tests', 'checks', 'data', 'spc', 'gauge-rr-10x3x3.json'), 'utf8')) as
    { values: Record<string, Record<string, number[]>> }
  const readings = Object.values(values).map(one => Object.values(one))
  it('comes to the published figures, with intervals around them', () => {
    const of = resultOf(studied(readings))
    expect(() => gaugeAnswer.parse(JSON.parse(JSON.stringify(of)))).not.toThrow()
    expect(of.repeatability.value).toBeCloseTo(0.199933, 5)
    expect(of.reproducibility.value).toBeCloseTo(0.226838, 5)
    expect(of.gauge.value).toBeCloseTo(0.302373, 5)
    expect(of.partToPart.value).toBeCloseTo(1.042327, 5)
    expect(100 * of.shareOfTotal.value!).toBeCloseTo(27.86, 2)
    expect(of.distinct.value).toBeCloseTo(4.86, 2)
    for (const found of [of.repeatability, of.gauge, of.partToPart, of.shareOfTotal]) {
      expect(found.low!).toBeLessThan(found.value!)
      expect(found.high!).toBeGreaterThan(found.value!)
    }
    expect(of.interaction).toMatchObject({ pooled: true, p: expect.closeTo(0.974, 3) as number })
    expect([of.verdict, of.tolerance]).toEqual(['may do', null])
    expect(of.says.join('\n')).toContain('only 4 kinds of these parts apart')
  })
  it('is judged by the tolerance where there are two limits', () => {
    const of = resultOf(studied(readings, { limitLow: -3, limitHigh: 3 }))
    expect(of.shareOfTolerance.value).toBeCloseTo(6 * 0.302373 / 6, 4)
    expect(of.verdict).toBe('not fit')
    expect(resultOf(studied(readings, { limitLow: -30, limitHigh: 30 })).verdict).toBe('good')
  })
})

describe('what is said', () => {
  it('is where to look: at contact, or at people', () => {
    expect(resultOf(studied(made(1, 2, 0))).says.join('\n')).toContain('most of it is repeatability')
    expect(resultOf(studied(made(1, 0.2, 4), {}, ['Ida', 'Bo', 'Jun'])).says.join('\n')).toMatch(/Jun reads 8\.\d Ω more than Ida/)
  })
  it('is nothing of spreads where nothing varies', () => {
    const of = resultOf(studied([[[5, 5], [5, 5]], [[5, 5], [5, 5]]]))
    expect(of.verdict).toBe('not known')
    expect(() => gaugeAnswer.parse(JSON.parse(JSON.stringify(of)))).not.toThrow()
  })
})

describe('a study', () => {
  const whole = studied(made(2, 1, 1))
  it('is taken together over its sessions, the newest reading of each', () => {
    const early = { ...whole, results: whole.results.slice(0, 50) }
    const late = { run: { ...whole.run, id: 'G2', startedWallMs: 9 }, results: whole.results.slice(50) }
    expect(resultOf([late, early]).gauge).toEqual(resultOf(whole).gauge)
  })
  it('is refused while readings are missing or were taken back, with which', () => {
    const [gone, ...rest] = whole.results
    expect(() => resultOf({ ...whole, results: rest })).toThrow(`1 of 90 readings are missing`)
    expect(() => resultOf({ ...whole, results: [{ ...gone!, criteria: [], grade: 'cannot tell' }, ...rest] })).toThrow(`without ${gone!.position}`)
  })
  it('is refused of another run, and of a quantity that was not measured', () => {
    expect(() => resultOf(runOf('A', []))).toThrow('is no study of the gauge')
    expect(() => resultOf(whole, { quantity: 'gain' })).toThrow('expected resistance, got gain')
  })
})
