/** One winding as the bridge sees it, without the winding's own resistance. Pure; SI units. */
import type { ImpedanceReading, Pair } from '../../schema/jig.ts'
import type { BridgeLevels } from './winding-levels.ts'

export interface Quantity { readonly value: number; readonly u: number }

/** Legs, resistance as it is now, and what the bridge saw with the other winding open. */
export interface Winding {
  readonly pair: Pair
  readonly ohm: Quantity
  readonly at: Core
  readonly sizeOhm: number
}
/** Inductance with the loss beside it, H, and the reactance over that loss. */
export interface Core {
  readonly henry: Quantity
  readonly quality: Quantity
}

/** Both of two. */
export interface Seen {
  readonly high: Winding
  readonly low: Winding
  readonly frequencyHz: number
  readonly levels: BridgeLevels
  readonly notes: string[]
}

export type Failed = { readonly fault: 'open' | 'other kind' | 'cannot tell'; readonly says: string }

/** What is left of a reading without the winding's resistance, as inductance and loss beside each other. */
export function coreOf(
  { rOhm, xOhm, frequencyHz }: ImpedanceReading, ohm: { readonly value: number; readonly u: number },
): Core | Failed {
  if (rOhm.quality !== 'good' || xOhm.quality !== 'good')
    return { fault: 'open', says: 'the bridge sees nothing of a winding that has resistance' }
  if (xOhm.value < -2 * xOhm.u)
    return { fault: 'other kind', says: 'a winding is capacitive: no transformer' }
  const omega = 2 * Math.PI * frequencyHz
  const [r, x] = [rOhm.value - ohm.value, Math.max(xOhm.value, xOhm.u)]
  const size = r * r + x * x
  const henry = size / (omega * x)
  // Of L = (r² + x²)/ωx: by r, by x; of Q = x/r likewise.
  const rU = Math.hypot(rOhm.u, ohm.u)
  const henryU = Math.hypot(2 * r / (omega * x) * rU, (x * x - r * r) / (omega * x * x) * xOhm.u)
  const loss = Math.max(Math.abs(r), rU)
  return {
    henry: { value: henry, u: henryU },
    quality: { value: x / loss, u: Math.hypot(xOhm.u, x / loss * rU) / loss },
  }
}
