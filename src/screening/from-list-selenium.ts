/**
 * What is to be proven of selenium rectifiers of a list. They are stacks of plates; a plate drops about a
 * volt where silicon drops less, and ages: it drops more, and leaks. SI units.
 */
import type { PartsLine } from '../schema/parts-list.ts'
import { probing } from '../schema/jig.ts'
import type { Unproven } from './plan.ts'
import type { BridgeRectifier, Diode, Limit } from './to-prove.ts'

type Lack = Omit<Unproven, 'id'>

/** Reverse current is read at the rating, and never above this. */
const reverseMostV = 20
/** A plate at these currents, sound: far below what it is rated for (common practice). */
const atPlate = [
  { currentA: 1e-3, low: 0.3, high: 0.8 }, { currentA: 1e-2, low: 0.35, high: 1 },
] as const
const leakMostA = 3e-4

const platesText = /\b(\d{1,2})\s*plates?\b/i
const noPlates: Lack = {
  why: 'the list does not say of how many plates it is',
  wayOut: 'count them, and add like `5 plates` to its note',
}

const platesOf = ({ valueText, ratingText, note }: PartsLine): number =>
  Number(platesText.exec(`${valueText} ${ratingText} ${note}`)?.[1] ?? 0)

function forwardOf(
  plates: number, { currentA, low, high }: typeof atPlate[number],
): Diode['forward'][number] {
  const volt: Limit = {
    low: plates * low, high: plates * high,
    source: `selenium, ${plates} plates of ${low} to ${high} V each, common practice`,
  }
  return { currentA, volt }
}

const reverseOf = ({ ratedV }: PartsLine): NonNullable<Diode['reverse']> => ({
  voltageV: Math.min(ratedV ?? reverseMostV, reverseMostV),
  ampere: { high: leakMostA, source: 'reverse current of a small selenium rectifier, common practice' },
})

export function seleniumRectifier(line: PartsLine): Diode | Lack {
  const plates = platesOf(line)
  if (!(plates > 0)) return noPlates
  return {
    kind: 'diode', seleniumPlates: plates, forward: atPlate.map(at => forwardOf(plates, at)),
    reverse: reverseOf(line), zener: null,
  }
}

/** Legs are found below the probing volts: more plates in an arm do not conduct there. */
export const armPlatesMost = Math.floor(probing.voltageV / atPlate[0].high)

export function seleniumBridge(line: PartsLine): BridgeRectifier | Lack {
  const plates = platesOf(line)
  if (!(plates > 0)) return noPlates
  if (plates > armPlatesMost) {
    return {
      why: `its legs are found below ${probing.voltageV} V, where arms of ${plates} plates do not conduct`,
      wayOut: 'list each arm as a rectifier of its own',
    }
  }
  return {
    kind: 'bridge-rectifier', forward: forwardOf(plates, atPlate[1]), reverse: reverseOf(line),
    selenium: { plates, first: forwardOf(plates, atPlate[0]) },
  }
}
