import { execFileSync } from 'node:child_process'
import { pathToFileURL } from 'node:url'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  formatClock, formatDuration, formatMinute, formatProbability, formatSi, formatWall, formatWithU,
} from '../../src/base/format.ts'
import { builtEntry } from '../../src/base/paths.ts'

const prefixOf: Record<string, number> = {
  G: 1e9, M: 1e6, k: 1e3, '': 1, m: 1e-3, µ: 1e-6, n: 1e-9, p: 1e-12, f: 1e-15,
}

describe('numbers as a person reads them', () => {
  it.each([
    [4.7e-6, 'A', '4.70 µA'], [450, 'V', '450 V'], [0, 'A', '0 A'], [-0.0123, 'V', '-12.3 mV'], [1e5, 'Ω', '100 kΩ'],
    [0.99996, 'A', '1.00 A'], [23.456, '°C', '23.5 °C'], [0.0123, '1', '0.0123'], [NaN, 'V', '–'], [2e-20, 'F', '2.00e-20 F'],
    [99.96, 'V', '100 V'],
  ])('writes %s %s as %s', (value, unit, text) => { expect(formatSi(value, unit)).toBe(text) })

  it('reads back to the value within half of its last digit, between 1 and 1000 before the prefix', () => {
    fc.assert(fc.property(fc.double({
      min: 1e-14, max: 9e11, noNaN: true
    }), fc.boolean(), (magnitude, negative) => {
      const value = negative ? -magnitude : magnitude
      const [, number, prefix] = /^(-?[\d.]+) ([GMkmµnpf]?)A$/.exec(formatSi(value, 'A'))!
      expect(
        Math.abs(Number(number) * prefixOf[prefix!]! - value)
      ).toBeLessThanOrEqual(0.0051 * Math.abs(value))
      expect(Math.abs(Number(number))).toBeGreaterThanOrEqual(1)
      expect(Math.abs(Number(number))).toBeLessThan(1000)
    }))
  })

  it.each([
    [4.7e-6, 1.2e-7, 'A', '(4.70 ± 0.12) µA'], [1.1e-3, 5e-8, 'A', '(1.100000 ± 0.000050) mA'],
    [0.012, 0.0034, '1', '0.0120 ± 0.0034'], [449.98, 1.24, 'V', '(450.0 ± 1.2) V'], [NaN, 1, 'V', '–'],
    [1, NaN, 'V', '1.000 V'], [-1e-9, 1e-6, 'A', '(0.0 ± 1.0) µA'],
  ])('writes %s with uncertainty %s %s as %s', (value, u, unit, text) => {
    expect(formatWithU(value, u, unit)).toBe(text)
  })

  it.each([[1, '100.0 %'], [0.99999, '> 99.9 %'], [0, '0.0 %'], [0.0004, '< 0.1 %'], [0.9731, '97.3 %']])(
    'writes the probability %s as %s', (p, text) => { expect(formatProbability(p)).toBe(text) })

  it.each([
    [0.01, '10.0 ms'], [0.9999, '1 s'], [0, '0 s'], [2.04, '2 s'], [45, '45 s'], [59.7, '1 min 00 s'], [200, '3 min 20 s'], [3599.6, '1 h 00 min'], [25_500, '7 h 05 min'],
    [86_399, '1 d 00 h'], [183_600, '2 d 03 h'], [null, '–'], [-45, '-45 s'],
  ])('writes %s seconds as %s', (seconds, text) => { expect(formatDuration(seconds)).toBe(text) })

  it.each([
    ['Europe/Berlin', Date.UTC(2026, 0, 5, 20, 0, 7), '2026-01-05 21:00:07+01:00'],
    ['Europe/Berlin', Date.UTC(2026, 6, 5, 22, 30, 0), '2026-07-06 00:30:00+02:00'],
    ['America/St_Johns', Date.UTC(2026, 0, 5, 2, 0, 0), '2026-01-04 22:30:00-03:30'],
    ['Asia/Kathmandu', Date.UTC(2026, 0, 5, 20, 0, 0), '2026-01-06 01:45:00+05:45'],
    ['UTC', Date.UTC(2026, 0, 5, 0, 0, 0), '2026-01-05 00:00:00+00:00'],
    ['Europe/London', Date.UTC(2026, 0, 5, 12, 0, 0), '2026-01-05 12:00:00+00:00'],
  ])('writes wall time of %s with its offset', (zone, wallMs, text) => {
    expect(formatWall(wallMs, zone)).toBe(text)
    expect(Date.parse(text.replace(' ', 'T'))).toBe(wallMs)
    expect(formatClock(wallMs, zone)).toBe(text.slice(11))
    expect(formatMinute(wallMs, zone)).toBe(text.slice(11, 16) + text.slice(19))
  })

  it('tells the two hours that the end of summer time repeats apart', () => {
    const first = Date.UTC(2026, 9, 25, 0, 30)
    expect(formatWall(first, 'Europe/Berlin')).toBe('2026-10-25 02:30:00+02:00')
    expect(formatWall(first + 3_600_000, 'Europe/Berlin')).toBe('2026-10-25 02:30:00+01:00')
  })

  it('takes the zone of the computer when none is named, and writes nothing for what is no time', () => {
    const script = `import { formatWall } from ${JSON.stringify(pathToFileURL(builtEntry('src/base/format')).href)}
      process.stdout.write(formatWall(${Date.UTC(2026, 0, 5, 20, 0, 7)}))`
    const told = (zone: string): string => execFileSync(process.execPath, [
      '--input-type=module', '-e', script
    ], {
      env: { ...process.env, TZ: zone }, encoding: 'utf8',
    })
    expect(told('Pacific/Auckland')).toBe('2026-01-06 09:00:07+13:00')
    expect(told('America/Phoenix')).toBe('2026-01-05 13:00:07-07:00')
    expect([
      formatWall(1e99), formatWall(null), formatClock(NaN), formatMinute(NaN)
    ]).toEqual(['–', '–', '–', '–'])
  })
})
