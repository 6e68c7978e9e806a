/** Absorption: what comes back when the bleeders open, under watch. */
import { sleep } from '../base/clock.ts'
import { harmlessV, leftByWatch, mayComeBack, whyUnseen, type Look } from '../safety/dead.ts'
import { cameBack } from '../safety/held.ts'
import { changedOver, dropsDone, followAll } from './bleed.ts'
import type { Night } from './night.ts'
import { partVolts, seriesOhm } from './position.ts'
import type { PositionState } from './position.ts'
import { leastFarad } from './standing.ts'

/**
 * So few volts that vanish at once show that the path opened; of a coarse meter, ten of its uncertainties
 * (modelling choice).
 */
const shownV = 0.5

/** What was seen of each part through the watch resistance. */
type Looks = Map<PositionState, Look[]>

/**
 * Watches recovery for `ms`, then follows the parts down once more: what absorption brought back must be seen
 * to leave before a part counts as empty again. Gives the highest that each came back to, volts.
 */
export async function watchAndFollow(night: Night, ms: number): Promise<Map<PositionState, number>> {
  const looks = await watchLooks(night, ms)
  const leftV = leftOver(night, looks)
  await followAll(night, [...leftV.keys()], leftV)
  return highestOf(looks)
}

/** What each part that is not dropped surely stands at now, volts. */
function leftOver(night: Night, looks: Looks): Map<PositionState, number> {
  const endMs = night.clock.monotonicMs()
  const leftV = new Map<PositionState, number>()
  for (const [position, seen] of looks) {
    if (position.stage === 'dropped') continue
    const ohm = seriesOhm(night.bench.fixture, position, true)
    const leastV = Math.max(shownV, 10 * ohm * (position.current?.u ?? 0))
    const { volts, opened } = leftByWatch(seen, 1000 * ohm * leastFarad(position), endMs, leastV)
    leftV.set(position, volts)
    const unseen = whyUnseen(seen, position.knownV, 3 * ohm * (position.current?.u ?? Infinity))
    const why = opened ? 'its path opened while its recovery was watched' : unseen
    if (why !== null || seen.at(-1)!.volts >= harmlessV) position.held = cameBack(position.held)
    if (why !== null && mayComeBack * position.knownV >= night.bench.limits.touchSafeV) position.lost = why
  }
  return leftV
}

const highestOf = (looks: Looks): Map<PositionState, number> =>
  new Map([...looks].map(([position, seen]) => [position, Math.max(...seen.map(({ volts }) => volts))]))

/**
 * Opens the bleeders onto the watch resistance for `ms`, then closes them; what came back is noted per
 * position. Ends at once when a part comes near touch-safe.
 */
export async function watchRecovery(night: Night, ms: number): Promise<Map<PositionState, number>> {
  return highestOf(await watchLooks(night, ms))
}

async function watchLooks(night: Night, ms: number): Promise<Looks> {
  const looks: Looks = new Map()
  const { bleed } = night.roles
  const target = night.bench.roles.bleed
  const relay = typeof target === 'object' ? target.relay : undefined
  if (!bleed || relay === undefined || night.bench.fixture.watchOhm === undefined) return looks
  // A part that is still on its way down would be misread through the watch resistance.
  await dropsDone(night)
  await bleed.hold([relay])
  try {
    await sleep(night.clock, bleed.settleMs, night.signal)
    // A reading that began before the bleeders opened, taken through the watch resistance, would
    // be volts that never were.
    await changedOver(night)
    night.state.watching = true
    await watch(night, night.clock.monotonicMs(), ms, looks)
  } finally {
    night.state.watching = false
    await bleed.release([relay])
  }
  return looks
}

async function watch(night: Night, openedMs: number, ms: number, looks: Looks): Promise<void> {
  for (;;) {
    const leftMs = openedMs + ms - night.clock.monotonicMs()
    if (leftMs <= 0) return
    await sleep(night.clock, Math.min(night.bench.cadence.sweepMs, Math.max(1, leftMs)), night.signal)
    if (noteRecovery(night, openedMs, looks)) return
  }
}

/** Each reading once, however often it is looked at. */
function note(looks: Looks, position: PositionState, look: Look): void {
  const seen = looks.get(position)
  if (seen === undefined) looks.set(position, [look])
  else if (seen.at(-1)!.atMs !== look.atMs) seen.push(look)
}

/** True when a part has come back so far that the bleeders must close. */
function noteRecovery(night: Night, openedMs: number, looks: Looks): boolean {
  const { fixture, limits } = night.bench
  let near: { name: string; volts: number } | null = null
  for (const position of night.positions) {
    if (position.current === null || position.current.atMs < openedMs) continue
    const partV = partVolts(fixture, position, true)
    if (partV === null) continue
    const volts = Math.abs(partV)
    note(looks, position, { volts, atMs: position.current.atMs })
    if (volts + 2 * position.current.u * seriesOhm(fixture, position, true) >= limits.touchSafeV) {
      near = { name: position.spec.name, volts }
    }
  }
  if (near === null) return false
  void night.recorder.event({ kind: 'recovery', severity: 'warning', position: near.name,
    text: `${near.name} came back to ${near.volts.toFixed(0)} V, near touch-safe: `
      + 'the bleeders close' })
      .catch(() => {})
  return true
}
