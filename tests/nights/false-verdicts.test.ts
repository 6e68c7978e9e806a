/** What a fault of the bench looks like on a sound part, and that it is not held against the part. */
import { describe, expect, it } from 'vitest'
import type { PartResult } from '../../src/schema/run.ts'
import type { MakeOptions, PartKind } from '../../mocks/parts/make-part.ts'
import { breaks, during, fixture, rackOf } from './acts.ts'
import { badNight, quick, textsOf } from './bad-night.ts'
import type { Deed, NightStage, Outcome } from './bad-night.ts'
import { breaches } from './invariants.ts'

type Kind = PartKind | readonly [PartKind, MakeOptions]
const atRated = { ...quick, targetV: 450, slewVPerS: 2 }

async function struck(
  first: Kind, stage: NightStage, afterMs: number, act: Deed, parameters: object = quick,
): Promise<{ outcome: Outcome; results: readonly PartResult[] }> {
  const outcome = await badNight({
    seed: 71, scenario: rackOf([first, 'healthy'], 71), request: { parameters: { ...parameters } }, acts: [during(stage, afterMs, act)],
  })
  return { outcome, results: await outcome.bench.store.results(outcome.run.id) }
}

describe('a sense meter that answers over-range again and again', () => {
  const answers = (times: number): Deed => breaks('sense-dmm', { kind: 'wrong-answer', value: '+9.9E37', times })
  it.each([['checking', 100], ['checking', 1500], ['polarity', 5000], ['forming', 20_000], ['soaking', 20_000], ['watching', 20_000]] as const)(
    'in %s after %i ms: the part leaves, ungraded, and the other is judged', async (stage, afterMs) => {
      const { outcome, results: [first, second] } = await struck('healthy', stage, afterMs, answers(3))
      expect(await breaches(outcome)).toEqual([])
      expect(textsOf(outcome, 'drop').join()).toMatch(/P01.*the meter cannot tell, and neither bus nor supply shows a short/)
      expect(first).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
      expect(second!.grade).toBe('accept')
    })
  it('once or twice: read again, and nothing is lost', async () => {
    const { outcome, results } = await struck('healthy', 'checking', 100, answers(2))
    expect(textsOf(outcome, 'drop')).toEqual([])
    expect(results.map(({ grade }) => grade)).toEqual(['accept', 'accept'])
  })
})

describe('a sense meter that answers a number that is not so', () => {
  const answers = (value: string, times: number): Deed => breaks('sense-dmm', { kind: 'wrong-answer', value, times })
  it.each(['+17.0', '+1.1'])('%s V for two positions in turn: neither part is condemned', async value => {
    const { outcome, results } = await struck('healthy', 'soaking', 20_000, answers(value, 3))
    expect(await breaches(outcome)).toEqual([])
    expect(textsOf(outcome, 'drop').join()).toMatch(/P01.*and another position shows the same/)
    expect(results[0]).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(results[1]!.grade).not.toBe('reject')
  })
})

describe('a formal relay that is welded', () => {
  const welded = fixture('P01', 'formal-welded')
  const stale = ([depth, stage, afterMs]: readonly [number, NightStage, number]) =>
    struck(['stale', { depth }], stage, afterMs, welded, atRated)
  it.each([
    [0.3, 'checking', 100], [0.9, 'checking', 100], [0.3, 'forming', 600_000], [0.9, 'forming', 600_000], [0.3, 'soaking', 20_000],
  ] as const)('under a stale part of depth %f, in %s after %i ms: told as a fault of the bench, no grade', async (...given) => {
    const { outcome, results: [first, second] } = await stale(given)
    expect(await breaches(outcome)).toEqual([])
    expect(first).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(first!.reason).toMatch(/^bench fault: it bled from \d+ V.*its formal relay is welded/)
    expect(textsOf(outcome, 'bench-fault').join()).toMatch(/^P01: bench fault/)
    expect(second!.grade).toBe('accept')
  })
  it('does not shield a part that shorts behind its limiting resistor', async () => {
    const shorting = ['shorting', { atFraction: 0.7, afterS: 60, toOhm: 300 }] as const
    const { results: [first] } = await struck(shorting, 'checking', 100, () => {}, atRated)
    expect(first).toMatchObject({ grade: 'reject', disposition: 'replace' })
  })
})
