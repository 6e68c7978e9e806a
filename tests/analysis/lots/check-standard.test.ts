import { describe, expect, test } from 'vitest'
import { baseline, checkStep, firstCheckState, type CheckEvent, type CheckState } from '../../../src/analysis/lots/check-standard.ts'
import { SeededRandom } from '../../../src/base/random.ts'

const standard = { target: 1000, sd: 0.5 }
/** Readings given as deviations in standard deviations. */
const reading = (away: number): CheckEvent => ({ kind: 'reading', value: standard.target + away * standard.sd })
const after = (state: CheckState, ...events: (number | CheckEvent)[]): CheckState =>
  events.reduce<CheckState>((s, e) => checkStep(standard, s, typeof e === 'number' ? reading(e) : e), state)
const inControl = after(firstCheckState, 0.1, -0.3, 0.2)

describe('a check standard', () => {
  test('control is established by three readings in a row within two, and not before', () => {
    expect(after(firstCheckState, 0.1, 0.2).status).toBe('to confirm')
    expect(inControl).toMatchObject({ status: 'in control', lastGood: 3, readings: 3 })
    expect(after(firstCheckState, 0.1, 2.5)).toMatchObject({ status: 'out of control', rule: 'not confirmed' })
  })

  test('one reading beyond three loses control: all since the reading before is in doubt', () => {
    expect(after(inControl, 0.5, 3.1)).toMatchObject({ status: 'out of control', rule: 'beyond three', lastGood: 4 })
    expect(after(inControl, 0.5, -3.1)).toMatchObject({ rule: 'beyond three' })
    expect(after(inControl, 0.5, 2.9).status).toBe('in control')
  })

  test('two of three beyond two on one side lose control: all since before the first of them is in doubt', () => {
    expect(after(inControl, 2.2, 0, 2.2)).toMatchObject({ rule: 'two of three beyond two', lastGood: 3 })
    expect(after(inControl, 2.2, 2.2)).toMatchObject({ rule: 'two of three beyond two', lastGood: 3 })
    expect(after(inControl, 2.2, -2.2).status).toBe('in control')
    expect(after(inControl, 2.2, 0, 0, 2.2).status).toBe('in control')
  })

  test('eight in a row on one side lose control', () => {
    const eight = [0.2, 0.4, 0.1, 0.3, 0.5, 0.2, 0.4, 0.3]
    const settled = after(inControl, -0.1)
    expect(after(settled, ...eight.slice(1)).status).toBe('in control')
    expect(after(settled, ...eight)).toMatchObject({ rule: 'eight on one side', lastGood: 4 })
    expect(after(settled, 0.2, 0.4, 0.1, 0, 0.5, 0.2, 0.4, 0.3).status).toBe('in control')
  })

  test('what is no number loses control', () => {
    expect(checkStep(standard, inControl, { kind: 'reading', value: NaN })).toMatchObject({ status: 'out of control', rule: 'no number' })
    expect(checkStep(standard, inControl, { kind: 'reading', value: Infinity }).status).toBe('out of control')
  })

  test('good readings alone do not bring control back; putting right and three good ones do', () => {
    const lost = after(inControl, 4)
    expect(after(lost, 0, 0, 0, 0)).toMatchObject({ status: 'out of control', lastGood: 3, readings: 8 })
    const right = after(lost, { kind: 'put right' })
    expect(after(right, 0, 0).status).toBe('to confirm')
    expect(after(right, 0, 0, 0)).toMatchObject({ status: 'in control', rule: undefined, lastGood: 7 })
    expect(after(right, 0, 4).status).toBe('out of control')
  })

  test('false alarms are seldom, and a shift of three standard deviations is found within a few readings', () => {
    const random = new SeededRandom(3)
    let [alarms, state] = [0, inControl]
    for (let i = 0; i < 20_000; i++) {
      state = after(state, random.normal())
      if (state.status !== 'out of control') continue
      alarms++
      state = after(inControl)
    }
    expect(alarms / 20_000).toBeLessThan(0.02)
    expect(alarms / 20_000).toBeGreaterThan(0.002)
    let worst = 0
    for (let run = 0; run < 300; run++) {
      let shifted = inControl
      let taken = 0
      while (shifted.status === 'in control') { shifted = after(shifted, 3 + random.normal()); taken++ }
      worst = Math.max(worst, taken)
    }
    expect(worst).toBeLessThanOrEqual(5)
  })

  test('a baseline comes from readings that differ', () => {
    expect(baseline([1, 2, 3, 4, 5, 6, 7, 8]).target).toBe(4.5)
    expect(() => baseline([1, 2])).toThrow(/eight/)
    expect(() => baseline(new Array<number>(8).fill(1))).toThrow(/differ/)
  })
})
