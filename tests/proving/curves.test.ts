/** Courses as they are drawn: abscissae rise, points are few, and no line is lost. */
import { describe, expect, it } from 'vitest'
import { frequencyCurve, powerCurve, thinned } from '../../src/proving/curves.ts'

const course = { channel: 'left', of: 'thd', driven: 'one', loadOhm: 8, hz: 1000 } as const

describe('a course of distortion', () => {
  it('over power ends where more drive gives fewer watts', () => {
    const steps = [[1, 0.01], [10, 0.02], [40, 0.1], [39, 0.2], [41, 0.3]].map(([watts, distortion]) => ({ watts: watts!, distortion: distortion! }))
    const { x, y } = powerCurve(steps, course)
    expect([x.values, y.values]).toEqual([[1, 10, 40], [0.01, 0.02, 0.1]])
  })
  it('over frequency needs three points, and rises', () => {
    const at = { ...course, outputW: 1 }
    expect(frequencyCurve([{ hz: 1000, distortion: 0.01 }, { hz: 20, distortion: 0.1 }], at)).toBeNull()
    const points = [1000, 20, 20_000].map(hz => ({ hz, distortion: hz / 1e6 }))
    expect(frequencyCurve(points, at)!.x.values).toEqual([20, 1000, 20_000])
  })
})

describe('a spectrum that is thinned', () => {
  it('keeps every line that stands out, in at most 600 points, against the tone', () => {
    const power = new Float64Array(65_537).fill(1e-12)
    const linesHz = [1000, 2000, 17_003]
    linesHz.forEach((hz, i) => { power[hz] = 10 ** (-4 * i) })
    const { hertz, decibels } = thinned({ power, binHz: 1 }, 1000)
    expect(hertz.length).toBeLessThanOrEqual(600)
    expect([...hertz].sort((a, b) => a - b)).toEqual(hertz)
    expect(linesHz.map(hz => Math.round(decibels[hertz.indexOf(hz)]!))).toEqual([0, -40, -80])
  })
})
