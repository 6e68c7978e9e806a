/**
 * What is to be proven of field-effect transistors of a list. A list seldom says more than the type, so the
 * limits are those that the data of small types keep to: what is outside is broken or of another sort; what
 * is inside may still be no good for its place. SI units.
 */
import type { PartsLine } from '../schema/parts-list.ts'
import type { DepletionFet, JunctionFet, Mosfet } from './to-prove.ts'

/** Gate and drain leakage are read at the rating, and never above this: what the data of small types use. */
const [gateMostV, drainMostV] = [15, 20]

/** No rating in the list: small junction types stand 25 V and more (common practice). */
export const junctionFet = ({ ratedV }: PartsLine, channel: 'n' | 'p'): JunctionFet => ({
  kind: 'jfet', channel, drainV: Math.min(ratedV ?? 10, 10),
  idssA: {
    low: 2e-4, high: 0.03, source: 'small junction types without gate volts, common practice',
  },
  cutoffV: { low: 0.2, high: 10, source: 'small junction types, cut-off volts, common practice' },
  gateLeak: {
    atV: Math.min(ratedV ?? gateMostV, gateMostV),
    ampere: { high: 1e-8, source: 'gate of a junction type; data sheets give 0.1 to 5 nA, from memory' },
  },
})

/** Gates stand 20 V where nothing else is said, small ones with a protecting diode less: 10 V is safe. */
export const mosfet = ({ ratedV }: PartsLine, channel: 'n' | 'p'): Mosfet => ({
  kind: 'mosfet', channel,
  threshold: {
    currentA: 250e-6,
    volt: { low: 0.5, high: 4.5, source: 'threshold at 250 µA, gate and drain joined, common practice' },
  },
  slope: {
    currentA: 0.01, siemens: { low: 0.01, source: 'slope of small types at 10 mA, common practice' },
  },
  on: {
    gateV: 10, currentA: 0.05,
    ohm: { high: 10, source: 'small types with 10 V at the gate, common practice' },
  },
  drainLeak: {
    atV: Math.min(ratedV ?? drainMostV, drainMostV),
    ampere: { high: 1e-6, source: 'drain leakage without gate volts, data sheets, from memory' },
  },
  gateLeak: { atV: 10, ampere: { high: 1e-7, source: 'insulated gate, data sheets, from memory' } },
})

/** What is asked of the small types that conduct without gate volts; large ones carry more. */
export const depletionFet = ({ ratedV }: PartsLine, channel: 'n' | 'p'): DepletionFet => ({
  kind: 'depletion-mosfet', channel, drainV: Math.min(ratedV ?? 10, 10),
  idssA: { low: 1e-3, source: 'depletion type without gate volts, common practice' },
  cutoff: {
    currentA: 1e-5, volt: { low: 0.5, high: 8, source: 'depletion type, cut-off at 10 µA, common practice' },
  },
  slope: {
    currentA: 1e-3, siemens: { low: 1e-3, source: 'slope of small depletion types at 1 mA, common practice' },
  },
  drainLeak: {
    gateV: 10, atV: Math.min(ratedV ?? 10, 10),
    ampere: { high: 1e-6, source: 'depletion type shut by 10 V at the gate, data sheets, from memory' },
  },
  gateLeak: { atV: 10, ampere: { high: 1e-7, source: 'insulated gate, data sheets, from memory' } },
})
