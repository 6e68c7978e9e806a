/** What kinds that a person helps with while they are measured ask of the bench. Pure; SI units. */
import { probing, type JigReach } from '../schema/jig.ts'
import type { Lack, Wants } from './plan.ts'
import type { Potentiometer } from './to-prove.ts'

/** A turn from stop to stop by hand, and the same again where half of it is looked at (common practice). */
const [turnS, halfS] = [30, 10]

export function potentiometerOf({ half }: Potentiometer, { ohms, terminals }: JigReach): Wants | Lack {
  if (!ohms) {
    return {
      why: 'no ohm meter reaches the jig', wayOut: 'enter an ohm meter under `jig` in the bench file',
    }
  }
  if (terminals < 3)
    return { why: 'it has three legs, the jig two terminals', wayOut: 'a jig with three terminals' }
  return {
    setUp: {
      leads: 'three leads, any order; a hand on the shaft',
      measures: 'ohms, from stop to stop',
      mostV: probing.voltageV,
      mostA: probing.currentA,
    },
    measureS: turnS + (half ? halfS : 0),
    rank: 4,
  }
}
