/** What is to be proven of bridge rectifiers of a list. SI units. */
import type { PartsLine } from '../schema/parts-list.ts'
import type { BridgeRectifier } from './to-prove.ts'

/** Reverse current is read at the rating, and never above this. */
const reverseMostV = 20

export const bridgeRectifier = ({ ratedV }: PartsLine): BridgeRectifier => ({
  kind: 'bridge-rectifier',
  forward: {
    currentA: 0.01,
    volt: { low: 0.35, high: 1, source: 'silicon junction at 10 mA, large or small, common practice' },
  },
  reverse: {
    voltageV: Math.min(ratedV ?? reverseMostV, reverseMostV),
    ampere: { high: 1e-6, source: 'each junction of a silicon bridge at 20 V, common practice' },
  },
})
