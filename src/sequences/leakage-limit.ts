/**
 * Leakage limits of aluminium electrolytics: named families with formula, time and source. The formulas are
 * printed with C in µF, V in volts and the limit in µA; here farads, volts and amperes go in and out.
 */
import type { LeakageCriterion } from '../schema/part-profile.ts'

interface Family { limitUa: (cUf: number, v: number) => number; afterS: number; source: string }

/** JAN-C-62 factors by rated voltage: mA = k·µF + 0.3. */
function vintageUa(cUf: number, v: number): number {
  const k = v <= 100 ? 0.01 : v <= 250 ? 0.02 : v <= 350 ? 0.025 : 0.04
  return 1000 * Math.min(10, k * cUf + 0.3)
}

export const leakageFamilyTable: Readonly<Record<string, Family>> = {
  general: {
    limitUa: (c, v) => v <= 100 ? Math.max(0.01 * c * v, 3) : 0.06 * c * v + 10, afterS: 120,
    source: 'maker data sheets, general purpose radial, 2 min at 20 °C (read)',
  },
  'long-life': {
    limitUa: (c, v) => c * v <= 1000 ? Math.max(0.01 * c * v, 1) : 0.006 * c * v + 4, afterS: 300,
    source: 'long-life grade, 5 min at 20 °C '
      + '(from memory; the same formula was read in a maker data sheet at 1 min)',
  },
  'low-leakage': {
    limitUa: (c, v) => Math.max(0.002 * c * v, 0.5), afterS: 120,
    source: 'maker data sheet, low-leakage type, 2 min at 20 °C (read)',
  },
  'high-voltage': {
    limitUa: (c, v) => 0.04 * c * v + 100, afterS: 60,
    source: 'maker data sheet, 160 to 400 V, 1 min at 20 °C (read)',
  },
  'snap-in': {
    limitUa: (c, v) => 3 * Math.sqrt(c * v), afterS: 300,
    source: 'usual for snap-in cans, 3·√(C·V), 5 min at 20 °C (from memory)',
  },
  vintage: {
    limitUa: vintageUa, afterS: 300,
    source: 'JAN-C-62 formula as printed by restoration pages (second hand); '
      + 'the time of 5 min is common practice',
  },
  'general-grade': {
    limitUa: (c, v) => c * v <= 1000 ? Math.max(0.05 * c * v, 5) : 0.03 * c * v + 20, afterS: 300,
    source: 'general-purpose grade, 5 min at 20 °C (from memory)',
  },
}

export interface LeakageLimit { limitA: number; afterS: number; source: string }

/** The limit for a part of `capacitanceF` at `volts`, with the time after which it is read and its source. */
export function leakageLimit(criterion: LeakageCriterion, capacitanceF: number, volts: number): LeakageLimit {
  const cUf = capacitanceF * 1e6
  if ('family' in criterion) {
    const { limitUa, afterS, source } = leakageFamilyTable[criterion.family]!
    return { limitA: limitUa(cUf, volts) * 1e-6, afterS, source }
  }
  const { factor, offsetUa, floorUa, capUa, afterS, source } = criterion
  const ua = Math.min(capUa ?? Infinity, Math.max(floorUa, factor * cUf * volts + offsetUa))
  return { limitA: ua * 1e-6, afterS, source }
}
