/** The truth study of screening: that sessions come to a result, and that the study finds out false claims. */
import { describe, expect, it } from 'vitest'
import { drawStudyPart } from '../../benchmarks/truth-screening/draw.ts'
import { scoreScreening, screeningFailures } from '../../benchmarks/truth-screening/score.ts'
import { screenOne, type Screened } from '../../benchmarks/truth-screening/session.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { judgeConformance } from '../../src/analysis/conformance.ts'

describe('parts of every kind, each in a session on a bench of its own', () => {
  it('come to a result, and sound ones well inside their limits are never rejected', async () => {
    const screened: Screened[] = []
    for (let index = 0; index < 42; index++) screened.push(await screenOne(5, index, 'normal'))
    expect(screened.filter(({ state, grade }) => state !== 'done' || grade === 'none')).toEqual([])
    const wrongly = screened.filter(({ grade, defect, judged }) => grade === 'reject' && defect === null
      && judged.every(({ truth, limits: { lower = -Infinity, upper = Infinity } }) => truth > lower && truth < upper))
    expect(wrongly.filter(({ judged }) => judged.every(({ pConform }) => pConform > 0.5))).toEqual([])
  })

  it('are the same for the same seed and index', () => {
    expect(drawStudyPart(3, 17)).toEqual(drawStudyPart(3, 17))
    expect(drawStudyPart(3, 17).component.truth).not.toEqual(drawStudyPart(4, 17).component.truth)
  })
})

/** Resistors of 4.7 kΩ ± 5 % about their upper edge, read with a standard uncertainty of 2 Ω that is claimed as `claimedU`. */
function readings(count: number, claimedU: number, offsetOhm = 0): Screened[] {
  const random = new SeededRandom('readings')
  const limits = { lower: 4465, upper: 4935 }
  return Array.from({ length: count }, (_, index) => {
    const truth = limits.upper + 10 * random.normal()
    const value = truth + offsetOhm + 2 * random.normal()
    const { grade, pConform, guardBand, expandedU } = judgeConformance({ y: value, u: claimedU, dof: Infinity }, limits)
    return {
      index, kind: 'resistor', defect: null, grade, reason: '', state: 'done',
      judged: [{ name: 'resistance', value, expandedU, guardBand, pConform, grade, limits, truth }],
    }
  })
}

describe('the score of screening', () => {
  it('passes what claims the uncertainty that it has', () => {
    expect(screeningFailures(scoreScreening(readings(1000, 2)))).toEqual([])
  })
  it.each([['half the uncertainty', 1, 0], ['no offset where there is one', 2, 2]])('finds out who claims %s', (_, claimedU, offsetOhm) => {
    expect(screeningFailures(scoreScreening(readings(1000, claimedU, offsetOhm))).join()).toMatch(/coverage of resistance of resistor/)
  })
  it('counts grades by kind and defect', () => {
    const [one] = readings(1, 2) as [Screened]
    const rows = scoreScreening([one, { ...one, grade: 'reject', defect: 'open' }, { ...one, grade: 'reject', defect: 'open' }]).confusion
    expect(rows).toEqual([
      { kind: 'resistor', defect: null, parts: 1, grades: { [one.grade]: 1 } },
      { kind: 'resistor', defect: 'open', parts: 2, grades: { reject: 2 } },
    ])
  })
})
