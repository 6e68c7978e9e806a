/** How long a bench may hear nothing of its bus, and when its supply gives up by itself. Pure. */
import type { Cadence } from '../schema/bench.ts'

/** An exchange that takes all of its deadline: 1.5 s at most in the profiles that ship. */
const exchangeMs = 2000
const roundsMissed = 3
const staleMarginMs = 1000

/** Readings of the bus, and of the supply with them, that are older stop the bench. */
export const busStaleMs = ({ busMs, busQuietMs }: Cadence): number =>
  roundsMissed * Math.max(busMs, busQuietMs) + staleMarginMs

/**
 * Whole seconds after which silence takes the output off. The supply is asked in every round of the bus loop;
 * the supervisor stops a bench whose bus readings are stale, and this comes after it, by one exchange. So no
 * gap that is let pass trips the supply.
 */
export const watchdogSeconds = (cadence: Cadence): number =>
  Math.ceil((busStaleMs(cadence) + exchangeMs) / 1000)

/** The slowest bus cadence, in ms, whose silence a watchdog of at most `maxS` seconds bears. */
export const busMsMost = (maxS: number): number =>
  Math.floor((Math.floor(maxS) * 1000 - exchangeMs - staleMarginMs) / roundsMissed)
