/** The bridge on one position: only after proof of dead, only through its interlocked relay. */
import { sleep } from '../base/clock.ts'
import { nextOf } from '../engine/bus.ts'
import { emptyHolder, seriesOhm } from '../engine/position.ts'
import { BenchError, catalogue } from '../base/errors.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { harmlessV } from '../safety/dead.ts'
import { isKnownLow } from '../safety/held.ts'
import type { Bridge, BridgeReading, RelayBoard } from '../schema/roles.ts'

const levelV = 0.5
/**
 * Series C, ESR and D. Null where the bench has no bridge for this position; words where the part is not
 * shown to be dead, before and just now, where what charged it was not seen to leave, or the bridge fails.
 * REFUSED on the bus.
 */
export async function bridgeReading(
  night: Night, position: PositionState,
): Promise<BridgeReading | string | null> {
  const { bridge, positions: board } = night.roles as { bridge?: Bridge; positions: RelayBoard }
  const relay = position.spec.bridgeRelay
  if (position.fault !== null) return `the bridge stays off it: ${position.fault}`
  if (!bridge || relay === undefined) return null
  if (position.wiring !== 'released') {
    throw new BenchError('REFUSED', `${position.spec.name} is on the bus; the bridge stays off it`)
  }
  if (!isKnownLow(position.held)) return `the bridge stays off it: ${position.held.words}`
  if (keepsCharge(position)) return 'its charge was not seen to leave: the bridge stays off it'
  const fresh = await nextOf(night, position, night.clock.monotonicMs())
  if (fresh === null) return 'no good reading shows that the part is dead: the bridge stays off it'
  const ohm = seriesOhm(night.bench.fixture, position, false)
  const worstV = Math.abs(fresh.value * ohm) + 2 * fresh.u * ohm
  if (!(worstV < harmlessV)) return `it stands at up to ${worstV.toFixed(1)} V: the bridge stays off it`
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
 * A current of nothing tells nothing: what charged a part in this run must have come back, also below
 * touch-safe. A holder without a part keeps none.
 */
const keepsCharge = ({ held, knownV, profile }: PositionState): boolean =>
  held.state === 'dead' && !held.emptied && knownV >= harmlessV && profile !== emptyHolder

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
