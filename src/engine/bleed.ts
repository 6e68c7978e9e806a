/** Takes parts off the bus onto their bleeders and proves that each went where the scanner says. */
import { sleep } from '../base/clock.ts'
import { bleedOhm } from '../schema/fixture.ts'
import { nextOf, release } from './bus.ts'
import { followDischarge } from './discharge.ts'
import type { Night } from './night.ts'
import type { PositionState } from './position.ts'
import { standingVolts } from './standing.ts'

/**
 * Releases all parts that are not dropped, every other one first, and follows each down. Those that are still
 * on the bus must not show the discharge of those that left: it would mean that the scanner gives one
 * position's current for another's, and no reading of this run could be believed. Gives the parts it bled.
 */
export async function bleedAll(night: Night): Promise<readonly PositionState[]> {
  const standing = night.positions.filter(position => position.stage !== 'dropped')
  const stoodAtV = standingVolts(night)
  const [first, then] = [standing.filter((_, i) => i % 2 === 0), standing.filter((_, i) => i % 2 === 1)]
  night.sampler.hurry(5000, 500)
  await release(night, first)
  const following = followAll(night, first, stoodAtV)
  following.catch(() => {})
  if (then.length > 0) {
    const releasedMs = night.clock.monotonicMs()
    await Promise.all(then.map(position => checkRouting(night, position, releasedMs)))
    await release(night, then)
  }
  await Promise.all([following, followAll(night, then, stoodAtV)])
  return standing
}

/**
 * A released part sends back its volts over the bleeder; this share of that, seen on the bus, is another's.
 */
const routingShare = 0.1

async function checkRouting(night: Night, position: PositionState, releasedMs: number): Promise<void> {
  if (position.wiring !== 'bus') return
  const reading = await nextOf(night, position, releasedMs)
  const dischargeA = (night.sampler.busV?.value ?? 0) / bleedOhm(night.bench.fixture)
  if (reading === null || reading.value > -Math.max(routingShare * dischargeA, 3 * reading.u)) return
  const why = 'the scanner mixes up positions'
  night.state.misrouted = why
  night.fault('scanner.misrouted',
    `${position.spec.name} is on the bus and shows the discharge of a part that left: ${why}`)
  throw night.signal.reason as Error
}

/**
 * Waits until the relays have moved and a reading that began before that has ended: it would be of the bus.
 */
export async function changedOver(night: Night): Promise<void> {
  const { positions, scanner, 'sense-meter': meter } = night.roles
  await sleep(night.clock, (positions?.settleMs ?? 0) + (scanner?.settleMs ?? 0) + (meter?.readingMs ?? 0))
}

/** Follows released parts down. Works after a trip too: it needs only what still reads. */
export async function followAll(
  night: Night, standing: readonly PositionState[], stoodAtV: ReadonlyMap<PositionState, number | null>,
  faultAtMs?: number,
): Promise<void> {
  const startedMs = night.clock.monotonicMs()
  for (const position of standing) position.stage = 'bleeding'
  await changedOver(night)
  night.sampler.hurry(30_000, 500)
  await Promise.all(standing.map(position =>
    followDischarge(night, position, stoodAtV.get(position) ?? null, startedMs, faultAtMs)))
}

/** Resolves when every part that was dropped has been followed down; in bounded time. */
export const dropsDone = async (night: Night): Promise<void> => { await Promise.all(night.drops.values()) }
