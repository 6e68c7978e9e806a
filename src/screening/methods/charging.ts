/** How a capacitor is charged at the jig, for how long and with what energy. Pure; SI units. */
import type { Charge, SourceReach } from '../../schema/jig.ts'
import type { Capacitor, Leakage } from '../to-prove.ts'

export type Charged = Capacitor & { readonly leakage: Leakage }

export interface Charging {
  readonly charge: Charge
  /** Above what a jig gives while it is open to hands. */
  readonly isCovered: boolean
  /** Most current at these volts, A. */
  readonly mostA: number
  readonly energyJ: number
  /** From the bridge to the terminals given back, s. */
  readonly takesS: number
}

/**
 * Electrolytic and tantalum parts are charged with twice what they may leak, or 5 mA (a maker's guide, read);
 * others with 10 mA, a fifth of what absorption is measured with (a maker's note, read).
 */
const electrolyticA = 5e-3
const otherA = 10e-3
/** Behind a cover: half a watt into a part that breaks down at some hundred volts (ours). */
const coveredA = 1e-3
/** Cover closed, button pressed, bolt home, bleeder and part looked for, s: by the simulated bench. */
const coverS = 10
/** Charging takes as long as C·V/I says, three times as long with a part that leaks, or it never ends. */
const upFactor = 3
const upLeastMs = 1000

/** Charged 15 min, shorted 10 s, open 15 min (a maker's note on the method, read). */
export const absorptionTimes = { chargeMs: 900_000, shortMs: 10_000, openMs: 900_000 } as const

/**
 * At the rated volts, or at the most that the jig gives. Two are never put under volts behind a cover: oxide,
 * because aged parts want forming, which is the rack's; and a part with a bleeder, which would turn them to
 * heat, and beside which no insulation can be told.
 */
export function chargingOf(part: Charged, reach: SourceReach): Charging {
  const { leakage: { ratedV, afterS, ampere }, farad: { nominal, plus } } = part
  const { voltageMaxV, coveredMaxV = voltageMaxV, currentMaxA } = reach
  const isOpenOnly = isOxide(part) || Boolean(part.mains?.bleeder)
  const voltageV = Math.min(ratedV, isOpenOnly ? voltageMaxV : coveredMaxV)
  const isCovered = voltageV > voltageMaxV
  const mostA = ampere.high! * voltageV / ratedV
  const limitA = Math.min(currentMaxA, isCovered ? coveredA : limitOf(part, mostA))
  const farad = nominal * (1 + plus)
  const upMs = 1000 * farad * voltageV / limitA
  const afterMs = 1000 * afterS
  const { chargeMs, shortMs, openMs } = absorptionTimes
  const lastMs = part.absorption ? Math.max(afterMs, chargeMs) : afterMs
  return {
    isCovered, mostA, energyJ: farad * voltageV ** 2 / 2,
    takesS: (isCovered ? coverS + behindS(lastMs) : 0)
      + (lastMs + 2 * upMs + emptyingMs(lastMs) + (part.absorption ? shortMs + openMs : 0)
      + (part.isPolar ? 2 * (probeMs(nominal) + emptyingMs(0)) : 0)) / 1000,
    charge: {
      voltageV, limitA, upWithinMs: upFactor * upMs + upLeastMs,
      readAtMs: [afterMs / 2, afterMs, ...lastMs > afterMs ? [lastMs] : []],
      ...part.absorption ? { recovery: { shortMs, openMs } } : {},
    },
  }
}

const isOxide = ({ dielectric }: Charged): boolean =>
  dielectric === 'electrolytic' || dielectric === 'tantalum'

const limitOf = (part: Charged, mostA: number): number =>
  isOxide(part) ? Math.max(electrolyticA, 2 * mostA) : otherA

/** On its bleeder for as long as it was charged, emptied again, and left open for a tenth of that, s. */
const behindS = (lastMs: number): number => (1.1 * lastMs + emptyingMs(lastMs)) / 1000

/** The jig shorts for a tenth of the time, and looks at it open. */
const emptyingMs = (lastMs: number): number => Math.min(30_000, Math.max(500, lastMs / 10)) + 800

/** Which end is plus: late charge of a large part must have died away beside what flows the wrong way. */
export const probeMs = (farad: number): number => Math.min(20_000, Math.max(2000, 2000 * farad / 100e-6))

/**
 * What an electrolytic takes the wrong way round: 1 V (data sheets, read); a tantalum part a tenth of its
 * rating up to that (an encyclopaedia, read).
 */
export const probeV = ({ dielectric, leakage: { ratedV } }: Charged): number =>
  dielectric === 'tantalum' ? Math.min(1, ratedV / 10) : 1
