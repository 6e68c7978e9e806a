/**
 * What is to be proven of field-effect transistors of a list. A list seldom says more than the type, so the
 * limits are those that the data of small types keep to: what is outside is broken or of another sort; what
 * is inside may still be no good for its place. SI units.
 */
import { formatSi } from '../base/format.ts'
import type { PartsLine } from '../schema/parts-list.ts'
import { statedLimit, statedOf, unbearable } from './from-list-stated.ts'
import type { Unproven } from './plan.ts'
import type { DepletionFet, JunctionFet, Mosfet } from './to-prove.ts'

type Lack = Omit<Unproven, 'id'>

/** Gate and drain leakage are read at the rating, and never above this: what the data of small types use. */
const [gateMostV, drainMostV] = [15, 20]
/** Where the list states no other, and at most what it rates the part for. */
const usualDrainV = 10

const junctionIdss = {
  low: 2e-4, high: 0.03, source: 'small junction types without gate volts, common practice',
}

/** No rating in the list: small junction types stand 25 V and more (common practice). */
export function junctionFet(line: PartsLine, channel: 'n' | 'p'): JunctionFet | Lack {
  const [idss, cutoff] = [statedOf(line, 'drain current'), statedOf(line, 'cut-off voltage')]
  const drainV = idss?.voltageV ?? Math.min(line.ratedV ?? usualDrainV, usualDrainV)
  const idssA = statedLimit(idss, junctionIdss, `at ${formatSi(drainV, 'V')}`)
  const lack = idss ? unbearable(line, drainV, idssA.high ?? idssA.low ?? 0) : null
  if (lack) return lack
  const at = cutoff?.currentA === undefined ? 'by the square law'
    : `by the square law, at ${formatSi(cutoff.currentA, 'A')}`
  return {
    kind: 'jfet', channel, drainV, idssA,
    cutoffV: statedLimit(
      cutoff, { low: 0.2, high: 10, source: 'small junction types, cut-off volts, common practice' }, at),
    ...cutoff?.currentA === undefined ? {} : { cutoffA: cutoff.currentA },
    gateLeak: {
      atV: Math.min(line.ratedV ?? gateMostV, gateMostV),
      ampere: { high: 1e-8, source: 'gate of a junction type; data sheets give 0.1 to 5 nA, from memory' },
    },
  }
}

/** Gates stand 20 V where nothing else is said, small ones with a protecting diode less: 10 V is safe. */
const gateV = 10

export function mosfet(line: PartsLine, channel: 'n' | 'p'): Mosfet | Lack {
  const stated = statedOf(line, 'threshold voltage')
  const currentA = stated?.currentA ?? 250e-6
  const volt = statedLimit(
    stated, { low: 0.5, high: 4.5, source: 'threshold at 250 µA, gate and drain joined, common practice' },
    `at ${formatSi(currentA, 'A')}, gate and drain joined`)
  if ((volt.high ?? 0) >= gateV) {
    return {
      why: `its gate may want ${formatSi(volt.high, 'V')}, and gets ${formatSi(gateV, 'V')}`,
      wayOut: 'prove it by hand and note it',
    }
  }
  return {
    kind: 'mosfet', channel, threshold: { currentA, volt },
    slope: {
      currentA: 0.01, siemens: { low: 0.01, source: 'slope of small types at 10 mA, common practice' },
    },
    on: {
      gateV, currentA: 0.05,
      ohm: { high: 10, source: 'small types with 10 V at the gate, common practice' },
    },
    drainLeak: {
      atV: Math.min(line.ratedV ?? drainMostV, drainMostV),
      ampere: { high: 1e-6, source: 'drain leakage without gate volts, data sheets, from memory' },
    },
    gateLeak: { atV: gateV, ampere: { high: 1e-7, source: 'insulated gate, data sheets, from memory' } },
  }
}

/** What is asked of the small types that conduct without gate volts; large ones carry more. */
export function depletionFet(line: PartsLine, channel: 'n' | 'p'): DepletionFet | Lack {
  const [idss, cutoff] = [statedOf(line, 'drain current'), statedOf(line, 'cut-off voltage')]
  const usualV = Math.min(line.ratedV ?? usualDrainV, usualDrainV)
  const [drainV, currentA] = [idss?.voltageV ?? usualV, cutoff?.currentA ?? 1e-5]
  const idssA = statedLimit(
    idss, { low: 1e-3, source: 'depletion type without gate volts, common practice' },
    `at ${formatSi(drainV, 'V')}`)
  const lack = idss ? unbearable(line, drainV, idssA.high ?? idssA.low ?? 0) : null
  if (lack) return lack
  return {
    kind: 'depletion-mosfet', channel, drainV, idssA,
    cutoff: {
      currentA,
      volt: statedLimit(
        cutoff, { low: 0.5, high: 8, source: 'depletion type, cut-off at 10 µA, common practice' },
        `at ${formatSi(currentA, 'A')}`),
    },
    slope: {
      currentA: 1e-3,
      siemens: { low: 1e-3, source: 'slope of small depletion types at 1 mA, common practice' },
    },
    drainLeak: {
      gateV, atV: usualV,
      ampere: { high: 1e-6, source: 'depletion type shut by 10 V at the gate, data sheets, from memory' },
    },
    gateLeak: { atV: gateV, ampere: { high: 1e-7, source: 'insulated gate, data sheets, from memory' } },
  }
}
