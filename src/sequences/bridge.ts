/** The bridge on one position: only after proof of dead, only through its interlocked relay. */
import { sleep } from '../base/clock.ts'
import { nextOf } from '../engine/bus.ts'
import { seriesOhm } from '../engine/position.ts'
import { harmlessV } from '../engine/recovery.ts'
import { BenchError, catalogue } from '../base/errors.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { isKnownLow } from '../safety/held.ts'
import type { Bridge, BridgeReading, RelayBoard } from '../schema/roles.ts'

const levelV = 0.5
/** More than this on a part keeps the bridge off it. */
export const bridgeMaxV = harmlessV

/**
 * Series C, ESR and D. Null where the bench has no bridge for this position; words where the part is not
 * shown to be dead, before and just now, or the bridge fails. REFUSED on the bus.
 */
export async function bridgeReading(
  night: Night, position: PositionState,
): Promise<BridgeReading | string | null> {
  const { bridge, positions: board } = night.roles as { bridge?: Bridge; positions: RelayBoard }
  const relay = position.spec.bridgeRelay
  if (!bridge || relay === undefined) return null
  if (position.wiring !== 'released') {
    throw new BenchError('REFUSED', `${position.spec.name} is on the bus; the bridge stays off it`)
  }
  if (!isKnownLow(position.held)) return `the bridge stays off it: ${position.held.words}`
  const fresh = await nextOf(night, position, night.clock.monotonicMs())
  if (fresh === null) return 'no good reading shows that the part is dead: the bridge stays off it'
  const ohm = seriesOhm(night.bench.fixture, position, false)
  const worstV = Math.abs(fresh.value * ohm) + 2 * fresh.u * ohm
  if (!(worstV < bridgeMaxV)) return `it stands at up to ${worstV.toFixed(1)} V: the bridge stays off it`
  await board.hold([relay])
  try {
    await sleep(night.clock, board.settleMs, night.signal)
    const reading = await bridge.measure({ frequencyHz: position.profile.bridgeHz, levelV }).catch(unanswered)
    // A board that lost its power meanwhile shows an open part where a sound one sits.
    const [held] = await board.held([relay])
    return held ? reading : 'the relay to the bridge let go while it measured'
  } finally {
    await board.release([relay])
  }
}

/**
 * The bench is dead while the bridge measures: where it fails, the part has no verdict and the night goes on.
 */
function unanswered(error: unknown): string {
  if (error instanceof BenchError && ['link', 'instrument'].includes(catalogue[error.code].kind)) {
    return error.message
  }
  throw error
}

/** Limit of a new part's ESR from its tan δ limit, ohms. */
export const esrLimitOhm = (position: PositionState): number =>
  position.profile.dissipationMax / (2 * Math.PI * position.profile.bridgeHz * position.profile.capacitanceF)
