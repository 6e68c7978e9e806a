/** Which end of an electrolytic or tantalum part is plus, found below what it takes the wrong way round. */
import type { Charged as ChargedReading, Jig, Pair } from '../../schema/jig.ts'
import { chargingOf, probeMs, probeV, type Charged } from './charging.ts'

/** `1`: plus is at the high terminal of the pair. `null`: both ways are alike, so nothing tells. */
export type Plus = 1 | 2 | null

/** What flows the wrong way is so many times what flows the right way, at least. */
const tellingFactor = 3
const noiseFactor = 6

export async function findPlus(jig: Jig, pair: Pair, part: Charged): Promise<Plus> {
  const { charge: { limitA, upWithinMs } } = chargingOf(part, jig.reach.source!)
  const look = (voltageV: number): Promise<ChargedReading> =>
    jig.charge(pair, { voltageV, limitA, upWithinMs, readAtMs: [probeMs(part.farad.nominal)] })
  const volts = probeV(part)
  return plusOf(await look(volts), await look(-volts))
}

/** Pure: from what flowed with plus at the high terminal, and with plus at the low one. */
export function plusOf(ahead: ChargedReading, back: ChargedReading): Plus {
  if (ahead.isUp !== back.isUp) return ahead.isUp ? 1 : 2
  const [one, other] = [ahead.points.at(-1)!.current, back.points.at(-1)!.current]
  if (one.quality !== 'good' || other.quality !== 'good') return null
  const [a, b] = [Math.abs(one.value), Math.abs(other.value)]
  if (Math.abs(a - b) < noiseFactor * Math.hypot(one.u, other.u)) return null
  if (b > tellingFactor * a) return 1
  return a > tellingFactor * b ? 2 : null
}
