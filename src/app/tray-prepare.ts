/** What a screening session does at the tray of its bench: planned without touching anything. */
import { BenchError } from '../base/errors.ts'
import type { ScannedTray } from '../engine/tray.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { ScreenRequest } from '../schema/screening.ts'
import type { Store } from '../schema/store.ts'
import type { ShownTrayPlan } from '../schema/tray.ts'
import type { Item } from '../screening/grade.ts'
import { nullFrequencies } from '../screening/nulls.ts'
import { planScreening, type Group, type PlanBounds } from '../screening/plan.ts'
import {
  clipWords, isBegun, isThrough, layingsOf, splitForTray, trayTimes, wirePatterns, type Laying, type TrayRoom,
} from '../screening/tray-layings.ts'
import type { TrayStage } from '../screening/tray-state.ts'
import { standardItem } from './standards.ts'
import { isFresh, trayHash, trayRecord, type TrayRecord } from './tray-nulls.ts'

/** Of a session that lays parts on the tray. */
export interface PreparedTray {
  readonly of: string
  readonly record: TrayRecord
  /** Wires are laid in this session: asked for, or never done at this tray. */
  readonly isMade: boolean
  /** What was found by wires is older than a day. */
  readonly isAged: boolean
  /** Parts lie there yet from a session that was cut short, and the empty tray was seen before it. */
  readonly isResumed: boolean
  readonly layings: readonly Laying[]
  /** Open parts alone. */
  readonly groups: readonly Group[]
  readonly byHand: ShownTrayPlan['byHand']
  readonly ids: ReadonlySet<string>
  readonly times: { readonly handsS: number; readonly expectedS: number; readonly oneByOneS: number }
}

export interface TrayAsked {
  readonly tray: ScannedTray
  readonly file: BenchFile
  readonly store: Store
  readonly request: ScreenRequest
  /** All parts that the list means, with those that have their result. */
  readonly meant: readonly Item[]
  readonly settled: ReadonlySet<string>
  readonly bounds: PlanBounds
  readonly nowWallMs: number
}

/** Null where nothing of the list is for the tray. Rejects REFUSED where standards leave it no room. */
export async function prepareTray(asked: TrayAsked): Promise<PreparedTray | null> {
  const { tray, file, store, request, meant, settled, bounds, nowWallMs } = asked
  const room: TrayRoom = {
    path: tray.path, reach: tray.reach, positions: tray.positions,
    ohmsU: (ohm, mostOhm) => tray.ohmsU(ohm, mostOhm), standards: request.standards.map(standardItem),
  }
  if (room.standards.length >= room.positions.length) {
    throw new BenchError('REFUSED', 'the check standards leave no position of the tray to parts', {
      expected: `${room.positions.length - 1} at most, or --by-hand`, got: String(room.standards.length),
    })
  }
  const split = splitForTray(meant, room, bounds)
  const layings = layingsOf(split.groups, room, settled)
  if (layings.every(isThrough)) return null
  const of = trayHash(file)
  const record = await trayRecord(store, of, nowWallMs)
  const isMade = request.compensate || record.known === null
  const first = layings.find(laying => !isThrough(laying))!
  return {
    of, record, isMade, layings, byHand: split.byHand.filter(({ id }) => !settled.has(id)),
    isAged: record.known !== null && !isFresh(record.known.wallMs, nowWallMs),
    isResumed: !isMade && record.opens !== null && isBegun(first),
    groups: openOf(split.groups, settled), ids: new Set(split.groups.flatMap(idsOf)),
    times: timesOf(layings, split.groups, room, bounds),
  }
}

const idsOf = ({ items }: Group): string[] => items.map(({ id }) => id)

/** In time as on the tray: nothing of it is put in by hand. */
const openOf = (groups: readonly Group[], settled: ReadonlySet<string>): Group[] => groups.flatMap(group => {
  const items = group.items.filter(({ id }) => !settled.has(id))
  const expectedS = group.expectedS * items.length / group.items.length
  return items.length === 0 ? [] : [{ ...group, items, expectedS, onTray: true as const }]
})

function timesOf(
  layings: readonly Laying[], groups: readonly Group[], { reach, standards }: TrayRoom, bounds: PlanBounds,
): PreparedTray['times'] {
  const known = planScreening(standards, reach, bounds).groups
  const each = new Map([...groups, ...known].flatMap(({ items, expectedS }) =>
    items.map(({ id }) => [id, expectedS / items.length - bounds.handlingS] as const)))
  const times = trayTimes(layings, id => each.get(id) ?? 0)
  const open = layings.flatMap(({ slots }) => slots.filter(({ what, done }) => what === 'part' && !done))
  const oneByOneS = open.reduce((sum, { item: { id } }) => sum + bounds.handlingS + (each.get(id) ?? 0), 0)
  return { ...times, oneByOneS }
}

/** One position closed and looked at; all frequencies of one read, s (as the simulated bench takes). */
const [lookS, readS] = [0.7, 2.4]

/** What it takes to see the tray empty, and wires, s. */
export function trayAsideS(prepared: PreparedTray, tray: ScannedTray): number {
  const count = tray.positions.length
  const { layings, groups, isMade, isResumed } = prepared
  const parts = groups.flatMap(({ items }) => items.map(({ part }) => part))
  const frequencies = nullFrequencies(parts, tray.reach).length
  const empties =
    layings.filter(laying => !isThrough(laying)).length + (isResumed ? 0 : 1) + (isMade ? 1 : 0)
  const patterns = isMade ? wirePatterns(tray.positions).length : 0
  const wires = patterns * count * lookS + (isMade ? 2 * count * frequencies * readS : 0)
  return empties * (count + 1) * lookS + wires
}

export function trayStages(prepared: PreparedTray, tray: ScannedTray): TrayStage[] {
  const empty: TrayStage = { is: 'empty tray' }
  const wires = prepared.isMade
    ? [...wirePatterns(tray.positions).map((positions): TrayStage => ({ is: 'wires', positions })), empty]
    : []
  const parts = prepared.layings.flatMap((laying, index): TrayStage[] => isThrough(laying) ? [] : [
    {
      is: 'parts', laying: index + 1, of: prepared.layings.length,
      leads: clipWords(laying),
      slots: laying.slots.map(({ position, what, item: { id }, done }) => ({ position, what, id, done })),
    }, empty,
  ])
  return [...prepared.isResumed ? [] : [empty], ...wires, ...parts]
}

export function shownTray(prepared: PreparedTray, tray: ScannedTray): ShownTrayPlan {
  const { layings, byHand, isMade, isResumed, times: { handsS, oneByOneS } } = prepared
  const open = layings.filter(laying => !isThrough(laying))
  const parts = open.flatMap(({ slots }) => slots.filter(({ what, done }) => what === 'part' && !done))
  return {
    byHand: [...byHand], isResumed, handsS, oneByOneS,
    wires: isMade ? wirePatterns(tray.positions) : [],
    handlings: { byHand: parts.length, layings: open.length },
    layings: layings.map(laying => ({
      leads: clipWords(laying), measures: laying.setUps.map(({ measures }) => measures).join('; '),
      slots: laying.slots.map(({ position, what, item: { id }, done }) => ({ position, what, id, done })),
    })),
  }
}
