/** Lines over linear, logarithmic and time axes: what is drawn lies inside, and is said in words. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { logRangeAxis } from '../../src/report/axis.ts'
import { plotChart, type Plot } from '../../src/report/plot.ts'
import { formatSi } from '../../src/base/format.ts'

const hertz = (value: number): string => formatSi(value, 'Hz', 1)

describe('a logarithmic axis', () => {
  it('begins and ends at 1, 2 and 5 of a decade, and ticks there while there is room', () => {
    const axis = logRangeAxis(20, 20_000, 0, 300, hertz)
    expect(axis.ticks.map(({ label }) => label)).toEqual(['20 Hz', '50 Hz', '100 Hz', '200 Hz', '500 Hz', '1 kHz', '2 kHz', '5 kHz', '10 kHz', '20 kHz'])
    expect([axis.at(20), axis.at(20_000)]).toEqual([0, 300])
    expect(axis.at(200)).toBeCloseTo(100, 9)
    expect(logRangeAxis(17, 21_000, 0, 1, hertz).ticks.map(({ value }) => value)).toEqual([10, 100, 1000, 10_000])
  })

  it('holds every value between its ends, with few ticks, in rising order', () => {
    const value = fc.double({ min: 1e-12, max: 1e12, noNaN: true })
    fc.assert(fc.property(value, value, fc.integer({ min: 4, max: 12 }), (a, b, most) => {
      const [low, high] = a < b ? [a, b] : [b, a]
      const { at, ticks } = logRangeAxis(low, high, 0, 100, hertz, most)
      for (const one of [low, high]) {
        expect(at(one)).toBeGreaterThan(-1e-6)
        expect(at(one)).toBeLessThan(100 + 1e-6)
      }
      expect(ticks.length).toBeGreaterThan(0)
      expect(ticks.length).toBeLessThanOrEqual(Math.max(most, 4))
      const places = ticks.map(tick => at(tick.value))
      expect(places).toEqual([...places].sort((x, y) => x - y))
    }))
  })
})

const plot = (over: Partial<Plot> = {}): Plot => ({
  title: 'response', x: { label: 'frequency', unit: 'Hz', scale: 'log' }, y: { label: 'level', unit: 'dB', scale: 'linear' },
  lines: [{ label: 'left', x: [20, 1000, 20_000], y: [-1, 0, -3] }], ...over,
})
const drawn = (over: Partial<Plot> = {}): string => String(plotChart(plot(over)))

describe('a plot', () => {
  it('has a name, and says in words what each line does', () => {
    const text = drawn()
    expect(text).toContain('role="img" aria-label="response"')
    expect(text).toContain('<desc>left: from -1.00 dB at 20.0 Hz to -3.00 dB at 20.0 kHz; lowest -3.00 dB at 20.0 kHz, highest 0 dB at 1.00 kHz.</desc>')
  })

  it('tells its lines apart by their dashes, named beside it', () => {
    const text = drawn({ lines: ['a', 'b', 'c', 'd'].map(label => ({ label, x: [1, 2], y: [1, 2] })) })
    for (const look of ['main', 'second', 'third', 'fourth']) expect(text.split(`class="line ${look}"`)).toHaveLength(3)
  })

  it('breaks a line where there is no number, and says what a logarithmic axis has no place for', () => {
    const text = drawn({ lines: [{ label: 'left', x: [20, 0, 1000, 2000, 4000], y: [-1, 2, null, 1, 0] }] })
    expect(/class="line main"\s+d="([^"]*)"/.exec(text)![1]!.split('M')).toHaveLength(3)
    expect(text).toContain('1 of the points have no place on a logarithmic axis')
  })

  it('makes no mountain of what stands still, and draws it in the middle', () => {
    const text = drawn({ x: { label: 'time', unit: 's', scale: 'time' }, y: { label: 'mains', unit: 'V', scale: 'linear' }, lines: [{ label: 'mains', x: [0, 1, 2], y: [230, 230.01, 230] }] })
    const heights = [...text.matchAll(/<circle[^>]*cy="([\d.]+)"/g)].map(([, y]) => Number(y))
    expect(Math.max(...heights) - Math.min(...heights)).toBeLessThan(2)
    expect(Math.abs(heights[0]! - 108)).toBeLessThan(30)
  })

  it('keeps the gaps of a line of very many points, and its extremes', () => {
    const y = Array.from({ length: 5000 }, (_, i) => i > 2000 && i < 2600 ? null : i === 4321 ? 99 : Math.sin(i))
    const text = drawn({ x: { label: 'x', unit: 'Hz', scale: 'linear' }, lines: [{ label: 'left', x: y.map((_, i) => i), y }] })
    const path = /class="line main"\s+d="([^"]*)"/.exec(text)![1]!
    expect(path.split('M')).toHaveLength(3)
    expect(path.split(/[ML]/).length).toBeLessThan(1000)
    expect(text).toContain('highest 99.0 dB at 4.32 kHz')
  })

  const course = (values: number[], cutsPeaks = true): string => drawn({
    x: { label: 'time', unit: 's', scale: 'time' }, y: { label: 'power', unit: 'W', scale: 'linear' }, cutsPeaks,
    lines: [{ label: 'mains', x: values.map((_, i) => i), y: values }],
  })
  const top = (text: string): string => [...text.matchAll(/text-anchor="end">([^<]*)</g)].at(-1)![1]!

  it('lets a peak that would flatten all the rest go beyond it, and says how far', () => {
    const warming = Array.from({ length: 300 }, (_, i) => 44 + 6 * (1 - Math.exp(-i / 50)))
    const inrush = warming.map((watts, i) => i === 3 ? 4500 : watts)
    expect(course(inrush)).toContain('Beyond the drawing: up to 4.50 kW.')
    expect(course(inrush)).toContain('highest 4.50 kW at 3 s')
    expect([top(course(inrush)), top(course(inrush, false))]).toEqual(['50 W', '5 kW'])
    // What rises once, or for longer, is no peak.
    expect(course(warming)).not.toContain('Beyond')
    expect(course(warming.map((watts, i) => i > 280 ? 200 : watts))).not.toContain('Beyond')
  })

  it('is none where nothing can be drawn', () => {
    expect(plotChart(plot({ lines: [{ label: 'left', x: [0, -1], y: [1, 2] }] }))).toBeNull()
    expect(plotChart(plot({ lines: [] }))).toBeNull()
    expect(plotChart(plot({ lines: [{ label: 'left', x: [1], y: [NaN] }] }))).toBeNull()
  })

  it('draws within its frame whatever it is given', () => {
    const value = fc.oneof(fc.double({ min: -1e9, max: 1e9, noNaN: true }), fc.constantFrom(0, 1e-300, -1e300, NaN, Infinity))
    const scale = fc.constantFrom('linear' as const, 'log' as const)
    fc.assert(fc.property(fc.array(fc.tuple(value, fc.option(value)), { minLength: 1, maxLength: 50 }), scale, scale, fc.boolean(), (points, across, up, cutsPeaks) => {
      const text = String(plotChart(plot({
        x: { label: 'x', unit: 'Hz', scale: across }, y: { label: 'y', unit: '1', scale: up }, cutsPeaks,
        lines: [{ label: 'l', x: points.map(([x]) => x), y: points.map(([, y]) => y) }],
      })))
      for (const [, x, y] of text.matchAll(/[ML](\S+) (-?[\d.]+|NaN|\S*Infinity)/g)) {
        if (x === '0' && y === '4H36') continue
        expect(Number(x)).toBeGreaterThanOrEqual(0)
        expect(Number(x)).toBeLessThanOrEqual(720)
        expect(Number(y)).toBeGreaterThanOrEqual(0)
        expect(Number(y)).toBeLessThanOrEqual(244)
      }
    }), { numRuns: 300 })
  })
})
