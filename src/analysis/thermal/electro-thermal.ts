/**
 * A stage whose heat grows with its own temperature: P = P0 + g·rise, through one thermal resistance with one
 * time constant (textbook; reference, H09 to H11). Loop gain is what comes back of a kelvin: from 1 on it
 * runs away.
 */
import { assert } from '../../base/assert.ts'

export interface ThermalLoop {
  /** From the stage to the air, K/W. */
  readonly kPerW: number
  /** Heat when cold, W, and what each kelvin adds, W/K. */
  readonly coldW: number
  readonly wPerK: number
  readonly tauS: number
}
export interface LoopBehaviour {
  readonly gain: number
  readonly isStable: boolean
  /** Rise over the air in the end; null where there is no end. */
  readonly endK: number | null
  /**
   * Of settling where stable, of growing where not; Infinity at a gain of exactly 1, which is a straight
   * line.
   */
  readonly tauS: number
  readonly firstSlopeKPerS: number
}

/** Asserts positive resistance and time constant. */
export function loopBehaviour({ kPerW, coldW, wPerK, tauS }: ThermalLoop): LoopBehaviour {
  assert(kPerW > 0 && tauS > 0, 'a thermal resistance and a time constant are above 0')
  const gain = kPerW * wPerK
  const isStable = gain < 1
  return {
    gain, isStable, endK: isStable ? kPerW * coldW / (1 - gain) : null,
    tauS: tauS / Math.abs(1 - gain), firstSlopeKPerS: kPerW * coldW / tauS,
  }
}

/** Rise over the air after `atS` from cold, K. */
export function loopRiseK(loop: ThermalLoop, atS: number): number {
  const left = 1 - loopBehaviour(loop).gain
  const straightK = loop.kPerW * loop.coldW * atS / loop.tauS
  const x = -left * atS / loop.tauS
  return x === 0 ? straightK : straightK * Math.expm1(x) / x
}

/** When the rise reaches `riseK` from cold, s; null where it never does. */
export function loopReachesS(loop: ThermalLoop, riseK: number): number | null {
  const { gain, firstSlopeKPerS } = loopBehaviour(loop)
  if (riseK <= 0) return 0
  const rate = (1 - gain) / loop.tauS
  const share = riseK * rate / firstSlopeKPerS
  if (!(share < 1)) return null
  return rate === 0 ? riseK / firstSlopeKPerS : -Math.log1p(-share) / rate
}
