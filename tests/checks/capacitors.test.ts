/**
 * Leakage limits against worked values. "read": the formula or figure was read in print; "second hand": in print that
 * repeats another; "from memory": neither. A value that was not printed is computed from the formula by hand.
 */
import { describe, expect, it } from 'vitest'
import { leakageLimit } from '../../src/sequences/leakage-limit.ts'
import type { LeakageCriterion } from '../../src/schema/part-profile.ts'

const formula = (factor: number, over: { offsetUa?: number; floorUa?: number }, afterS: number): LeakageCriterion =>
  ({ factor, offsetUa: 0, floorUa: 0, ...over, afterS, source: 'check value' })

const rows: [source: string, criterion: LeakageCriterion, cUf: number, volts: number, ua: number][] = [
  ['maker FAQ on leakage against time, 770 µA printed (read)', { family: 'general' }, 2200, 35, 770],
  ['worked question on a data sheet, 10 µA printed (second hand)', { family: 'general' }, 100, 10, 10],
  ['maker data sheet, radial general purpose, floor of 3 µA (read)', { family: 'general' }, 1, 10, 3],
  ['maker data sheet, radial, 1 min (read, computed)', formula(0.03, { floorUa: 4 }, 60), 10, 16, 4.8],
  ['maker data sheet, 160 to 400 V, 1 min (read, computed)', { family: 'high-voltage' }, 100, 400, 1700],
  ['maker data sheet, 160 to 450 V, 2 min (read, computed)', { family: 'general' }, 100, 400, 2410],
  ['maker data sheet, radial, 5 min (read, computed)', formula(0.002, { offsetUa: 3 }, 300), 1000, 25, 53],
  ['maker data sheet, axial, at its knee (read, computed)', { family: 'long-life' }, 100, 10, 10],
  ['maker data sheet, axial (read, computed)', { family: 'long-life' }, 4700, 63, 1780.6],
  ['general-purpose grade (from memory, computed)', { family: 'general-grade' }, 4700, 63, 8903],
  ['maker data sheet, low leakage (read, computed)', { family: 'low-leakage' }, 470, 16, 15.04],
  ['snap-in rule (from memory, computed)', { family: 'snap-in' }, 470, 400, 1300.769003],
  ['JAN-C-62 as printed by a restoration page (second hand)', { family: 'vintage' }, 20, 450, 1100],
  ['JAN-C-62 as printed by a restoration page (second hand)', { family: 'vintage' }, 20, 250, 700],
  ['JAN-C-62 as printed by a restoration page (second hand)', { family: 'vintage' }, 40, 350, 1300],
]

describe('leakage limits', () => {
  it.each(rows)('%s', (_source, criterion, cUf, volts, ua) => {
    expect(1e6 * leakageLimit(criterion, cUf * 1e-6, volts).limitA).toBeCloseTo(ua, 6)
  })
})
