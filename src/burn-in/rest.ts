/**
 * Short looks at rest amid the drive. What flows through the resistor of an idle current under drive is
 * mostly the drive's, so its limit can hold only while the unit is muted.
 */
import { sleep } from '../base/clock.ts'
import { countedS, disturbed, keepPoint, type BurnIn } from './burn-in.ts'
import { look } from './count.ts'
import { toneIs } from './drive.ts'
import type { Due } from './programme.ts'

/** Soon after a drive first began: a bias that is far off shows at once. */
export const firstRestS = 300
export const atRestWords = 'a look at rest'
/** Limits of rest hold after this, and each probe is then read twice more, ms. */
const settlesMs = 5000
const lookEveryMs = 1000
/** The last look at the end is not disturbed by one at rest: it has its own after it (our choice). */
const endS = 3600
const sweeps = 3

export async function restIfDue(b: BurnIn, due: Due): Promise<void> {
  const { power: { clock, stand, places, signal }, parameters: { restEveryS } } = b
  if (b.tone === null || places.idle.length === 0 || countedS(b) < b.nextRestS) return
  if (b.isWarm && b.askedS - countedS(b) < endS) return
  b.nextRestS = countedS(b) + restEveryS
  b.isResting = true
  await toneIs(b, null)
  const untilMs = clock.monotonicMs() + settlesMs + sweeps * stand.cadence.probesMs
  while (clock.monotonicMs() < untilMs) {
    await look(b, due, [atRestWords])
    await sleep(clock, lookEveryMs, signal)
  }
  keepIdle(b)
  disturbed(b)
  b.isResting = false
}

/** Idle currents as they stand now, the drive muted. */
export function keepIdle(b: BurnIn): void {
  const { power: { places, state } } = b
  for (const { channel } of places.idle) {
    const last = state.last.get(channel.name)
    if (last?.quality === 'good') keepPoint(b, channel.name, channel.unit, last.value, last.u)
  }
}
