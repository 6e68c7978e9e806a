/** What kinds that a person helps with while they are measured ask of the bench. Pure; SI units. */
import { formatSi } from '../base/format.ts'
import { probing, type JigReach } from '../schema/jig.ts'
import { inducedMostV, levelsOf, stepUpOf } from './methods/winding-levels.ts'
import { ledFirst, passesOf } from './methods/winding-passes.ts'
import type { Lack, Wants } from './plan.ts'
import type { Potentiometer, Transformer } from './to-prove.ts'

/** A turn from stop to stop by hand, and the same again where half of it is looked at (common practice). */
const [turnS, halfS] = [30, 10]

const noOhms: Lack = {
  why: 'no ohm meter reaches the jig', wayOut: 'enter an ohm meter under `jig` in the bench file',
}

export function potentiometerOf(
  { half, gangs }: Potentiometer, { ohms, terminals }: JigReach,
): Wants | Lack {
  if (!ohms) return noOhms
  if (terminals < 3)
    return { why: 'it has three legs, the jig two terminals', wayOut: 'a jig with three terminals' }
  if (gangs && terminals < 4) {
    const why = `two gangs are held against each other by four leads, the jig has ${terminals} terminals`
    return { why, wayOut: 'a jig with four terminals' }
  }
  const eachS = turnS + (half ? halfS : 0)
  const more = gangs ? gangs.count - 1 : 0
  return {
    setUp: {
      leads: gangs
        ? 'gang 1: three leads, any order; a hand on the shaft; then leads are moved as it is told'
        : 'three leads, any order; a hand on the shaft',
      measures: 'ohms, from stop to stop',
      mostV: probing.voltageV,
      mostA: probing.currentA,
    },
    measureS: (1 + more) * eachS + more * (2 * moveS + placesS),
    rank: 4,
  }
}

/** Three places of the shaft, by hand (common practice). */
const placesS = 20

/** By relays alone; and where a person joins legs by a clip, three times. */
const [windingsS, clipsS] = [8, 45]

/** Leads taken off and put on elsewhere (common practice), and seen to lie still. */
const moveS = 15

export function transformerOf(part: Transformer, reach: JigReach): Wants | Lack {
  const { bridge, ohms, source, terminals, joint = false } = reach
  const { between, wound } = part
  if (!ohms) return noOhms
  if (!bridge) {
    return { why: 'no bridge reaches the jig', wayOut: 'enter a bridge under `jig` in the bench file' }
  }
  if (terminals < 4)
    return { why: `it has four legs, the jig ${terminals} terminals`, wayOut: 'a jig with four terminals' }
  if (levelsOf(part, part.ratio.nominal, reach) === null) {
    return {
      why: `it would step up the least that the bridge gives to more than ${formatSi(inducedMostV, 'V')}`,
      wayOut: 'a bridge with a lower level',
    }
  }
  const betweenV = source ? Math.min(between.atV, source.voltageMaxV) : 0
  const passes = wound ? passesOf(wound.windings) : []
  const clip = joint ? '' : '; a clip at hand'
  const look = source ? `, ${formatSi(betweenV, 'V')} between the windings` : ''
  return {
    setUp: {
      leads: wound ? `${ledFirst(passes[0]!)}; ${further(passes.length - 1)}${clip}`
        : `one winding to 1 and 2, the other to 3 and 4, beginnings first${clip}`,
      measures: `ohms and bridge, windings in line${look}`,
      mostV: Math.max(probing.voltageV, betweenV, stepUpOf(part) > 1 ? inducedMostV : 0),
      mostA: 0.05,
    },
    measureS: Math.max(1, passes.length) * (windingsS + (joint ? 0 : clipsS))
      + Math.max(0, passes.length - 1) * moveS,
    rank: 4,
  }
}

const further = (moves: number): string =>
  `then moved ${moves === 1 ? 'once' : `${moves} times`} as it is told`
