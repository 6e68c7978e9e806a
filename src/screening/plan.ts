/**
 * What would be done to a parts list, computed without touching anything: parts in groups of one set-up
 * each, so that hands change leads as seldom as can be, with time and energy; and the parts that this
 * bench cannot prove, with the way out. Pure; SI units.
 */
import { formatSi } from '../base/format.ts'
import { probing, type JigReach } from '../schema/jig.ts'
import type { Item } from './grade.ts'
import { drainRoom } from './methods/field-effect.ts'
import { nearestHz } from './methods/reactive.ts'
import { capacitorOf } from './plan-capacitor.ts'
import { potentiometerOf, transformerOf } from './plan-kinds.ts'
import type {
  Bipolar, BridgeRectifier, DepletionFet, Diode, JunctionFet, Mosfet, ToProve,
} from './to-prove.ts'

export interface SetUp {
  /** What hands do once for the whole group, in words. */
  readonly leads: string
  /** Instrument, frequency, level: what the bench sets. */
  readonly measures: string
  readonly mostV: number
  readonly mostA: number
  /** Above touch-safe: behind the locked cover, at a press of the button for each part. */
  readonly isCovered?: boolean
}

export interface Group {
  readonly setUp: SetUp
  readonly items: readonly Item[]
  readonly expectedS: number
  /** Most that one of its parts holds once it is charged. */
  readonly mostJ: number
  /** Laid on the tray, many at once. */
  readonly onTray?: true
}

export interface Unproven {
  readonly id: string
  readonly why: string
  readonly wayOut: string
}

export interface ScreenPlan {
  readonly groups: readonly Group[]
  readonly cannot: readonly Unproven[]
  readonly expectedS: number
  readonly mostV: number
  readonly mostA: number
  readonly mostJ: number
}

export interface PlanBounds {
  readonly touchSafeV: number
  /** Energy below which touch is taken as safe; what would hold more is refused. */
  readonly touchSafeJ?: number
  /** The same behind a locked cover. */
  readonly partEnergyMaxJ?: number
  /** Time from one part told to the next one still in the jig, by two hands: common practice. */
  readonly handlingS: number
}
export const usualBounds: Pick<PlanBounds, 'handlingS'> = { handlingS: 4 }

/** What one part asks of the bench. */
export interface Wants {
  readonly setUp: SetUp
  readonly measureS: number
  /** What the part holds once it is charged. */
  readonly mostJ?: number
  /**
   * In what order groups come: clips first, then sockets with more legs; within it from low to high
   * volts.
   */
  readonly rank: number
}

export function planScreening(items: readonly Item[], reach: JigReach, bounds: PlanBounds): ScreenPlan {
  const groups = new Map<string, { wants: Wants; items: Item[]; measureS: number; mostJ: number }>()
  const cannot: Unproven[] = []
  for (const item of items) {
    const wants = wantsOf(item.part, reach, bounds)
    const lacks = 'why' in wants ? wants : tooHigh(wants, bounds)
    if (lacks) {
      cannot.push({ id: item.id, ...lacks })
      continue
    }
    const { setUp } = wants as Wants
    const key = `${setUp.leads}|${setUp.measures}`
    const group = groups.get(key) ?? { wants: wants as Wants, items: [], measureS: 0, mostJ: 0 }
    group.wants = { ...group.wants, setUp: most(group.wants.setUp, setUp) }
    group.items.push(item)
    group.measureS += (wants as Wants).measureS
    group.mostJ = Math.max(group.mostJ, (wants as Wants).mostJ ?? 0)
    groups.set(key, group)
  }
  const inOrder = [...groups.values()].sort(
    (a, b) => a.wants.rank - b.wants.rank || a.wants.setUp.mostV - b.wants.setUp.mostV,
  )
  const planned = inOrder.map(group => ({
    setUp: group.wants.setUp,
    items: group.items,
    expectedS: group.measureS + bounds.handlingS * group.items.length,
    mostJ: group.mostJ,
  }))
  return {
    groups: planned,
    cannot,
    expectedS: planned.reduce((sum, { expectedS }) => sum + expectedS, 0),
    mostV: Math.max(0, ...planned.map(({ setUp }) => setUp.mostV)),
    mostA: Math.max(0, ...planned.map(({ setUp }) => setUp.mostA)),
    mostJ: Math.max(0, ...planned.map(({ mostJ }) => mostJ)),
  }
}

/** What any part of a group gets at most. */
const most = (one: SetUp, other: SetUp): SetUp =>
  ({ ...one, mostV: Math.max(one.mostV, other.mostV), mostA: Math.max(one.mostA, other.mostA) })

export type Lack = Omit<Unproven, 'id'>

const tooHigh = ({ setUp }: Wants, { touchSafeV }: PlanBounds): Lack | null =>
  setUp.isCovered || setUp.mostV <= touchSafeV
    ? null
    : {
        why: `it needs ${formatSi(setUp.mostV, 'V')}, and the jig stays below ${formatSi(touchSafeV, 'V')}`,
        wayOut: 'prove it on the rack, behind the cover, or give a lower test voltage',
      }

function wantsOf(part: ToProve, reach: JigReach, bounds: PlanBounds): Wants | Lack {
  switch (part.kind) {
    case 'resistor':
    case 'contact':
      return ohmsOf(part, reach)
    case 'capacitor':
      return capacitorOf(part, reach, bounds)
    case 'potentiometer':
      return potentiometerOf(part, reach)
    case 'transformer':
      return transformerOf(part, reach)
    case 'inductor':
      return reach.bridge ? bridgeOf(nearestHz(part.frequencyHz, reach), 1, 1.5) : noBridge
    case 'diode':
      return diodeOf(part, reach)
    case 'bridge-rectifier':
      return rectifierOf(part, reach)
    case 'bipolar':
      return bipolarOf(part, reach)
    case 'jfet':
    case 'mosfet':
    case 'depletion-mosfet':
      return fieldEffectOf(part, reach)
  }
}

export const noBridge: Lack = {
  why: 'no bridge reaches the jig',
  wayOut: 'enter a bridge under `jig` in the bench file',
}
export const noSource: Lack = {
  why: 'no source reaches the jig',
  wayOut: 'enter a source under `jig` in the bench file',
}

function ohmsOf(part: ToProve & { kind: 'resistor' | 'contact' }, { ohms }: JigReach): Wants | Lack {
  if (!ohms)
    return {
      why: 'no ohm meter reaches the jig',
      wayOut: 'enter an ohm meter under `jig` in the bench file',
    }
  const low = part.kind === 'contact' || part.ohm.nominal < 1000
  const wires = low && ohms.wires.includes(4) ? 4 : 2
  return {
    setUp: {
      leads: wires === 4 ? 'four leads, two to each end' : 'two leads',
      measures: `ohms, ${wires} wires`,
      mostV: probing.voltageV,
      mostA: probing.currentA,
    },
    measureS: 1,
    rank: wires === 4 ? 1 : 0,
  }
}

export const bridgeOf = (frequencyHz: number, levelV: number, measureS: number): Wants => ({
  setUp: {
    leads: 'bridge leads',
    measures: `bridge, ${formatSi(frequencyHz, 'Hz')}, ${formatSi(levelV, 'V')}`,
    mostV: levelV,
    mostA: 0.05,
  },
  measureS,
  rank: 2,
})

const outOfReach = (wanted: number, unit: string, most: number): Lack => ({
  why: `it needs ${formatSi(wanted, unit)}, and the source at the jig reaches ${formatSi(most, unit)}`,
  wayOut: 'give lower test conditions, or a source that reaches further',
})

function diodeOf(part: Diode, { source }: JigReach): Wants | Lack {
  if (!source) return noSource
  const mostA = Math.max(
    probing.currentA,
    ...part.forward.map(({ currentA }) => currentA),
    part.zener?.currentA ?? 0,
  )
  const mostV = Math.max(
    probing.voltageV,
    part.reverse?.voltageV ?? 0,
    1.1 * (part.zener?.volt.high ?? 0),
    ...part.forward.map(({ volt }) => volt.high ?? 0),
  )
  if (mostA > source.currentMaxA) return outOfReach(mostA, 'A', source.currentMaxA)
  if (mostV > source.voltageMaxV) return outOfReach(mostV, 'V', source.voltageMaxV)
  return {
    setUp: { leads: 'two leads, anode to terminal 1', measures: 'source', mostV, mostA },
    measureS: 1,
    rank: 4,
  }
}

/** As the simulated bench takes: most of it is what sources need to settle at nanoamperes. */
const [rectifierS, bipolarS, fieldEffectS] = [9, 7, 12]

function rectifierOf({ forward, reverse }: BridgeRectifier, { source, terminals }: JigReach): Wants | Lack {
  if (!source) return noSource
  if (terminals < 4) {
    return { why: `it has four legs, the jig ${terminals} terminals`, wayOut: 'a jig with four terminals' }
  }
  const mostA = Math.max(probing.currentA, forward.currentA)
  const mostV = Math.max(probing.voltageV, reverse.voltageV, forward.volt.high ?? 0)
  if (mostA > source.currentMaxA) return outOfReach(mostA, 'A', source.currentMaxA)
  if (mostV > source.voltageMaxV) return outOfReach(mostV, 'V', source.voltageMaxV)
  return {
    setUp: { leads: 'four leads, any order', measures: 'source, twelve ways', mostV, mostA },
    measureS: rectifierS,
    rank: 4,
  }
}

function bipolarOf(part: Bipolar, { terminals, source, secondSource }: JigReach): Wants | Lack {
  if (!source || !secondSource) return noSource
  if (terminals < 3)
    return { why: 'it has three legs, the jig two terminals', wayOut: 'a jig with three terminals' }
  const mostA = 3 * part.collectorA
  if (mostA > source.currentMaxA) return outOfReach(mostA, 'A', source.currentMaxA)
  if (part.collectorV > source.voltageMaxV) return outOfReach(part.collectorV, 'V', source.voltageMaxV)
  return {
    setUp: {
      leads: 'socket of three legs, any order',
      measures: `two sources, ${formatSi(part.collectorA, 'A')} and ${formatSi(part.collectorV, 'V')}`,
      mostV: Math.max(probing.voltageV, part.collectorV),
      mostA,
    },
    measureS: bipolarS,
    rank: 5,
  }
}

/** What the gate gets, what the drain gets, and the greatest current. */
function asksOf(part: JunctionFet | Mosfet | DepletionFet): { gateV: number; mostV: number; mostA: number } {
  if (part.kind === 'depletion-mosfet') return ofDepletion(part)
  const gateV = part.kind === 'jfet' ? part.gateLeak.atV : Math.max(part.gateLeak.atV, part.on.gateV)
  return part.kind === 'jfet'
    ? {
        gateV,
        mostV: Math.max(probing.voltageV, gateV, part.drainV),
        mostA: drainRoom * (part.idssA.high ?? part.idssA.low ?? 0),
      }
    : {
        gateV,
        mostV: Math.max(probing.voltageV, gateV, part.drainLeak.atV),
        mostA: Math.max(
          part.on.currentA, 2 * (part.slope?.currentA ?? 0), part.threshold.currentA),
      }
}

/** Drain and gate may have their volts against each other; the source carries what it can of a large one. */
function ofDepletion(part: DepletionFet): { gateV: number; mostV: number; mostA: number } {
  const gateV = Math.max(part.gateLeak.atV, part.drainLeak.gateV, part.drainV)
  return {
    gateV, mostV: Math.max(probing.voltageV, gateV, part.drainLeak.atV + part.drainLeak.gateV),
    mostA: Math.max(
      part.idssA.low ?? 0, drainRoom * (part.idssA.high ?? 0), 2 * part.slope.currentA, part.cutoff.currentA),
  }
}

function fieldEffectOf(part: JunctionFet | Mosfet | DepletionFet, reach: JigReach): Wants | Lack {
  const { terminals, source, secondSource } = reach
  if (!source || !secondSource) return noSource
  if (terminals < 3)
    return { why: 'it has three legs, the jig two terminals', wayOut: 'a jig with three terminals' }
  const { gateV, mostV, mostA } = asksOf(part)
  if (mostA > source.currentMaxA) return outOfReach(mostA, 'A', source.currentMaxA)
  if (mostV > source.voltageMaxV) return outOfReach(mostV, 'V', source.voltageMaxV)
  if (gateV > secondSource.voltageMaxV) return outOfReach(gateV, 'V', secondSource.voltageMaxV)
  const isInsulated = part.kind !== 'jfet'
  const statics = isInsulated ? '; a wrist strap first: static kills gates' : ''
  return {
    setUp: {
      leads: `socket of three legs, any order${statics}`,
      measures: 'two sources, the gate always held',
      mostV,
      mostA,
    },
    measureS: fieldEffectS,
    rank: isInsulated ? 6 : 5,
  }
}
