/** One position after the other leaves the bus: its relay, its bleeder, the relay that opens the bleeder. */
import { release, rest } from '../engine/bus.ts'
import { changedOver } from '../engine/bleed.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { seriesOhm } from '../engine/position.ts'
import { seenToLeave } from '../safety/held.ts'
import type { RelayBoard } from '../schema/roles.ts'
import {
  bleederCheck, bleederOf, contactCheck, watchClosesCheck, watchOpensCheck,
} from './bench-check-discharge.ts'
import type { Bleeder, Discharge } from './bench-check-discharge.ts'
import { less, releasedCheck, shown } from './bench-check-judge.ts'
import type { Check, Seen } from './bench-check-judge.ts'
import { followMs, followsIn } from './bench-check-plan.ts'
import type { Currents, Round, Span } from './bench-check-round.ts'
import {
  bleederOhm, busNow, followCurrent, hurry, isDummy, isEmpty, living, mean, note, readEveryMs, timed,
} from './bench-check-round.ts'

/** Charging was seen: this share of what the smallest part within tolerance takes. */
const chargedShare = 0.3

export interface BeforeRelease {
  held: Currents
  /** Highest charging current while the bus rose, and how fast it rose. */
  peaks: ReadonlyMap<PositionState, number>
  slewVPerS: number
}

/** One after the other, so that each relay is seen to belong to its own sense resistor. */
export async function checkReleased(round: Round, before: BeforeRelease): Promise<void> {
  const { night } = round
  for (const position of living(night)) {
    if (isDummy(night, position)) await releaseDummy(round, position, before.held.get(position)!)
    else if (!isEmpty(position)) await releasePart(round, position, before)
  }
  const empty = living(night).filter(position => isEmpty(position) && !isDummy(night, position))
  await release(night, empty)
  if (empty.length > 0) {
    round.unshown.push(
      `relays and bleeders of ${empty.length} empty positions: nothing sits there that carries current`)
  }
  if (night.positions.some(position => isDummy(night, position))) {
    round.unshown.push('the bleeder of the known resistance: it holds no charge')
  }
  if (watchOf(night) === null) round.unshown.push('the bench has no relay that opens the bleeders')
  else if (round.bleeders.size === 0) {
    round.unshown.push('the watch relay: no test part sends a current through it')
  }
}

/** Where it did not close there is no current whose end could be seen. */
async function releaseDummy(round: Round, position: PositionState, held: Seen): Promise<void> {
  const { night } = round
  hurry(night, 5000)
  await release(night, [position])
  await rest(night, night.roles.positions!.settleMs)
  if (round.faults.has(position)) return
  const seen = less(await mean(night, position, 1), round.zero.get(position)!)
  note(round, releasedCheck(position, seen, held.value), 'the relay does not open (welded)')
}

async function releasePart(round: Round, position: PositionState, before: BeforeRelease): Promise<void> {
  const { night, p } = round
  const { fixture } = night.bench
  const ohm = bleederOhm(night)
  const ms = followMs(position.profile, ohm, readEveryMs(night))
  const bus = await busNow(night)
  const lostV = before.held.get(position)!.value * seriesOhm(fixture, position, false)
  hurry(night, ms + 10_000)
  const span = await timed(night, () => release(night, [position]))
  await changedOver(night)
  const readings = await followCurrent(round, position, ms)
  const discharge: Discharge = { stood: { value: bus.value - lostV, u: bus.u }, ...span, readings }
  const bleeder = bleederOf(discharge)
  const contact = contactCheck(position, discharge, ohm + fixture.senseOhm)
  if (contact === null) {
    round.unshown.push(`${position.spec.name}: ${position.part.part} is too small to show its discharge`)
    return
  }
  if (!notePath(round, contact, withoutCurrent(round, position, before, bleeder))) {
    if (bleeder === null) round.silent.add(position)
    return
  }
  if (!followsIn(position.profile, ohm, readEveryMs(night))) {
    const { spec: { name }, part: { part } } = position
    round.unshown.push(`${name}: value of the bleeder, watch relay, formal relay, bridge relay: `
      + `${part} discharges faster than ${(readEveryMs(night) / 1000).toFixed(1)} s sweeps can follow`)
    return
  }
  const value = bleederCheck(position, bleeder, { ohm, senseOhm: fixture.senseOhm, share: p.bleederShare })
  if (!notePath(round, value, bleederWords(night, bleeder)) || bleeder === null) return
  round.bleeders.set(position, bleeder)
  position.held = seenToLeave(position.held)
  await checkWatch(round, position, bleeder)
}

/** As `note`; what fails leaves the path of a part in doubt, and no part is called measured by that. */
function notePath(round: Round, check: Check, why: string): boolean {
  const passed = note(round, check, why)
  if (!passed && check.position) check.position.lost ??= why
  return passed
}

function withoutCurrent(
  { night }: Round, position: PositionState, { peaks, slewVPerS }: BeforeRelease, bleeder: Bleeder | null,
): string {
  if (bleeder !== null) return bleederWords(night, bleeder)
  const { capacitanceF, toleranceMinus } = position.profile
  const charged = (peaks.get(position) ?? 0) > chargedShare * capacitanceF * (1 - toleranceMinus) * slewVPerS
  return charged ? 'charged, and sent nothing back: the bleeder is open'
    : 'the relay does not close, or the lead is open'
}

/** Much more than the bleeder, and near to bleeder and watch resistance: then it is the watch relay. */
function bleederWords(night: Night, bleeder: Bleeder | null): string {
  const { fixture } = night.bench
  const ohm = bleederOhm(night)
  if (bleeder === null) {
    return `the part is empty before a second reading: the bleeder is far below ${shown(ohm)}`
  }
  const got = bleeder.ohm - fixture.senseOhm
  const isWatch = fixture.watchOhm !== undefined && Math.abs(got / (ohm + fixture.watchOhm) - 1) < 0.3
  return isWatch ? `the bleeder reads ${shown(got)}: the watch relay does not close it`
    : `the bleeder reads ${shown(got)}, and the bench file says ${shown(ohm)}`
}

// ---- the watch relay ----

async function checkWatch(round: Round, position: PositionState, bleeder: Bleeder): Promise<void> {
  const { night, p } = round
  const watch = watchOf(night)
  if (watch === null) return
  const { board, relay, watchOhm } = watch
  const opening = await timed(night, () => board.hold([relay]))
  let low: Seen
  let closing: Span
  try {
    await changedOver(night)
    night.state.watching = true
    low = await outward(round, position, 2)
  } finally {
    // First: a current over the bleeder, taken through the watch resistance, would be volts that never were.
    night.state.watching = false
    closing = await timed(night, () => board.release([relay]))
  }
  await changedOver(night)
  const back = await outward(round, position, 1)
  const [openMs, closeMs] = [middle(opening), middle(closing)]
  const opens = notePath(round, watchOpensCheck(position, bleeder, { openMs, watchOhm }, low, p.bleederShare),
    'the current stays on the bleeder: the watch relay does not open it, or something is beside it')
  if (!opens) return
  notePath(round, watchClosesCheck(position, bleeder, { openMs, closeMs, watchOhm }, back),
    'the watch relay does not close it again')
}

/** The relay that opens all bleeders, and what it puts in their way; null where the bench has none. */
function watchOf({ roles, bench }: Night): { board: RelayBoard; relay: number; watchOhm: number } | null {
  const { bleed } = roles
  const target = bench.roles.bleed
  const relay = typeof target === 'object' ? target.relay : undefined
  const { watchOhm } = bench.fixture
  return bleed && relay !== undefined && watchOhm !== undefined ? { board: bleed, relay, watchOhm } : null
}

/** Mean current out of a released part. */
async function outward({ night, zero }: Round, position: PositionState, count: number): Promise<Seen> {
  const seen = less(await mean(night, position, count), zero.get(position)!)
  return { ...seen, value: -seen.value }
}

const middle = ({ fromMs, byMs }: Span): number => (fromMs + byMs) / 2
