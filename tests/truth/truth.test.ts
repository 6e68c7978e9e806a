import { beforeAll, describe, expect, it } from 'vitest'
import type { Outcome } from '../../benchmarks/truth/night.ts'
import { coverage, decisions, failures, pFails, score } from '../../benchmarks/truth/score.ts'
import { runStudy } from '../../benchmarks/truth/study.ts'

/** The same study that `npm run truth` runs over 2,000 parts; docs/truth-study.md has its figures. */
const [seed, parts] = [7, 100]

describe('what is said of parts, held against what they are', () => {
  let outcomes: Outcome[] = []
  beforeAll(async () => { outcomes = await runStudy('normal', seed, 0, parts) }, 600_000)

  it('reads most of them to the end', () => {
    const { left, tripped } = score(outcomes)
    expect(left + tripped).toBeLessThan(parts / 5)
  })

  it('covers, and conforms and errs at the predicted rates', () => {
    expect(failures(score(outcomes), 'normal')).toEqual([])
  })

  it('would be found out if it claimed half its uncertainty', () => {
    for (const name of ['capacitance', 'esr'] as const) {
      const judged = outcomes.flatMap(outcome => outcome.judged.filter(one => one.name === name))
      expect(coverage(judged).pTooShort).toBeGreaterThan(pFails)
      expect(coverage(judged, 0.5).pTooShort, name).toBeLessThan(pFails)
    }
    const read = outcomes.flatMap(({ asRead }) => asRead ? [{ ...asRead, expandedU: 1.96 * asRead.u }] : [])
    expect(coverage(read, 0.5).pTooShort, 'current as read').toBeLessThan(pFails)
  })

  it('would be found out if it accepted whatever lies within the limits by its reading', () => {
    const judged = outcomes.flatMap(outcome => outcome.judged.filter(one => one.name !== 'leakage'))
    const blind = judged.map(one => {
      const { value, limits: { lower = -Infinity, upper = Infinity } } = one
      return { ...one, grade: value >= lower && value <= upper ? 'accept' as const : 'reject' as const }
    })
    expect(decisions(judged).falseAccept.p).toBeGreaterThan(pFails)
    expect(decisions(blind).falseAccept.p).toBeLessThan(pFails)
  })
})
