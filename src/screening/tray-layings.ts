/**
 * Which parts of a list go onto a tray, what lies where, and in which order; always the same for the same
 * list, so that an interrupted tray goes on where it was. Pure; SI units.
 */
import type { ShownTrayPlan } from '../schema/tray.ts'
import type { Item } from './grade.ts'
import { planScreening, type Group, type PlanBounds, type SetUp } from './plan.ts'
import { byHand, type TrayPath } from './tray-path.ts'

export interface PlannedSlot {
  readonly position: string
  readonly what: 'part' | 'standard'
  readonly item: Item
  /** It has a result that stands: it may lie there or not. */
  readonly done: boolean
}

export interface Laying {
  /** Of each group that lies there, in order. */
  readonly setUps: readonly SetUp[]
  readonly slots: readonly PlannedSlot[]
}

/** A tray as a session finds it. */
export interface TrayRoom extends TrayPath {
  readonly positions: readonly string[]
  readonly standards: readonly Item[]
}

export interface TraySplit {
  /** By group of one set-up, as on the jig, at what the scanner bears. */
  readonly groups: readonly Group[]
  readonly byHand: ShownTrayPlan['byHand']
}

/** What the tray takes of these; what it cannot is put in by hand, and may not be provable there either. */
export function splitForTray(items: readonly Item[], room: TrayRoom, bounds: PlanBounds): TraySplit {
  const left: { id: string; why: string }[] = []
  const fit = items.filter(({ id, part }) => {
    const why = byHand(part, room)
    if (why !== null) left.push({ id, why })
    return why === null
  })
  const { groups, cannot } = planScreening(fit, room.reach, bounds)
  const more = cannot.map(({ id, why }) => ({ id, why: `through the scanner ${why}` }))
  return { groups, byHand: [...left, ...more] }
}

/**
 * Groups in order, cut to what the tray holds beside the standards. What is left of a group lies with that of
 * the next where both fit as a whole.
 */
export function layingsOf(
  groups: readonly Group[], { positions, standards }: Pick<TrayRoom, 'positions' | 'standards'>,
  done: ReadonlySet<string>,
): Laying[] {
  const capacity = positions.length - standards.length
  const piles: { setUps: SetUp[]; items: Item[] }[] = []
  for (const { setUp, items } of groups) {
    for (let from = 0; from < items.length; from += capacity) {
      const some = items.slice(from, from + capacity)
      const last = piles.at(-1)
      if (last && last.items.length + some.length <= capacity) {
        last.items.push(...some)
        if (!last.setUps.includes(setUp)) last.setUps.push(setUp)
      } else piles.push({ setUps: [setUp], items: some })
    }
  }
  return piles.map(({ setUps, items }, index) =>
    ({ setUps, slots: slotsOf(items, { positions, standards }, index, done) }))
}

/** Standards lie elsewhere in each laying, so that in time each position has had them. */
function slotsOf(
  items: readonly Item[], { positions, standards }: Pick<TrayRoom, 'positions' | 'standards'>, index: number,
  done: ReadonlySet<string>,
): PlannedSlot[] {
  const first = index * standards.length % positions.length
  const taken = new Map(standards.map((item, i) => [(first + i) % positions.length, item]))
  const free = positions.flatMap((_, i) => taken.has(i) ? [] : [i])
  const known = [...taken].map(([at, item]): PlannedSlot =>
    ({ position: positions[at]!, what: 'standard', item, done: false }))
  return [...known, ...items.map((item, i): PlannedSlot =>
    ({ position: positions[free[i]!]!, what: 'part', item, done: done.has(item.id) }))]
}

/** Nothing is left to do of it. */
export const isThrough = ({ slots }: Laying): boolean =>
  slots.every(({ what, done }) => what === 'standard' || done)

/** Some of it was done before: its parts may lie there yet. */
export const isBegun = (laying: Laying): boolean =>
  !isThrough(laying) && laying.slots.some(({ done }) => done)

/**
 * Positions for bare wires, one pattern after the other: each position has its own combination of patterns,
 * and at least one, by which the channel that leads to it is known from all others.
 */
export function wirePatterns(positions: readonly string[]): string[][] {
  const bits = Math.ceil(Math.log2(positions.length + 1))
  return Array.from({ length: bits }, (_, bit) =>
    positions.filter((_position, i) => ((i + 1) >> bit) & 1))
}

/** What hands do to a part of a tray, in words. */
export function clipWords({ slots }: Laying): string {
  const parts = slots.map(({ item: { part } }) => part)
  const ways = [
    ...parts.some(part => part.kind === 'capacitor' && part.isPolar) ? ['plus to the first clip'] : [],
    ...parts.some(part => part.kind === 'diode') ? ['anode to the first clip'] : [],
  ]
  return ['in the clips of the tray', ...ways].join(', ')
}

/** One part laid and taken off again; the tray walked to, looked over and said to be laid, s (ours). */
const [layS, sayS] = [3, 10]
/** To see that a part lies still, and that no channel stays closed, s (as the simulated bench takes). */
const seeS = 1.5

export interface TrayTimes {
  readonly handsS: number
  /** The whole, hands and measuring. */
  readonly expectedS: number
}

/** `measureS`: of a part, by its group. Nothing for what has its result. */
export function trayTimes(layings: readonly Laying[], measureS: (id: string) => number): TrayTimes {
  const open = layings.filter(laying => !isThrough(laying))
  const slots = open.flatMap(laying => laying.slots.filter(({ done }) => !done))
  const handsS = slots.length * layS + open.length * sayS
  // Standards are read before and after the parts between them.
  const measuring = slots.reduce((sum, { what, item: { id } }) =>
    sum + (what === 'standard' ? 2 : 1) * (measureS(id) + seeS), 0)
  return { handsS, expectedS: handsS + measuring }
}
