import { describe, expect, test } from 'vitest'
import { firstSwitchingState, restartedSwitching, switchingStep, type SwitchingState } from '../../../src/analysis/lots/switching.ts'

/** Runs lots of the plan n/2/3 by their bad parts; reduced plans as 1/3. */
function run(state: SwitchingState, bad: number[], more = {}): { state: SwitchingState; accepted: boolean; reason: string | undefined } {
  let step = { state, accepted: true, reason: undefined as string | undefined }
  for (const found of bad) {
    const ac = step.state.severity === 'reduced' ? 1 : 2
    step = switchingStep(step.state, { bad: found, ac, re: 3, ...more })
  }
  return step
}

describe('switching of inspection (rules from memory of MIL-STD-105E)', () => {
  test('two of five in a row rejected tighten; two of six do not', () => {
    expect(run(firstSwitchingState, [3, 0, 0, 0, 3]).state.severity).toBe('tightened')
    expect(run(firstSwitchingState, [3, 3]).state.severity).toBe('tightened')
    expect(run(firstSwitchingState, [3, 0, 0, 0, 0, 3]).state.severity).toBe('normal')
    expect(run(firstSwitchingState, [2, 2, 2]).accepted).toBe(true)
    expect(run(firstSwitchingState, [3]).accepted).toBe(false)
  })

  test('five in a row accepted loosen tightened inspection; four and a rejected one do not', () => {
    const tight = run(firstSwitchingState, [3, 3]).state
    expect(run(tight, [0, 0, 0, 0, 0]).state.severity).toBe('normal')
    expect(run(tight, [0, 0, 0, 0, 3, 0]).state.severity).toBe('tightened')
  })

  test('ten lots on tightened inspection stop it, and then no lot is taken', () => {
    const tight = run(firstSwitchingState, [3, 3]).state
    const stopped = run(tight, [0, 3, 0, 3, 0, 3, 0, 3, 0, 3])
    expect(stopped.state.severity).toBe('stopped')
    expect(stopped.reason).toMatch(/ten lots/)
    expect(() => switchingStep(stopped.state, { bad: 0, ac: 2, re: 3 })).toThrow(/stopped/)
    expect(run(restartedSwitching, [0]).state.severity).toBe('tightened')
  })

  test('reduced inspection needs ten accepted, a stated limit that is kept, and steady production', () => {
    const ten = new Array<number>(10).fill(0)
    expect(run(firstSwitchingState, ten).state.severity).toBe('normal')
    expect(run(firstSwitchingState, ten, { reducedLimit: 0 }).state.severity).toBe('reduced')
    expect(run(firstSwitchingState, [1, ...ten.slice(1)], { reducedLimit: 0 }).state.severity).toBe('normal')
    expect(run(firstSwitchingState, ten, { reducedLimit: 0, steady: false }).state.severity).toBe('normal')
    expect(run(firstSwitchingState, ten.slice(1), { reducedLimit: 0 }).state.severity).toBe('normal')
  })

  test('reduced inspection ends with a rejected lot, one between the numbers, or unsteady production', () => {
    const reduced: SwitchingState = { severity: 'reduced', lots: [] }
    expect(run(reduced, [1])).toMatchObject({ accepted: true, state: { severity: 'reduced' } })
    expect(run(reduced, [2])).toMatchObject({ accepted: true, state: { severity: 'normal' } })
    expect(run(reduced, [3])).toMatchObject({ accepted: false, state: { severity: 'normal' } })
    expect(run(reduced, [0], { steady: false }).state.severity).toBe('normal')
  })
})
