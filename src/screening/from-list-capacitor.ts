/** What is to be proven of a capacitor of a list. Pure; SI units. */
import type { PartsLine } from '../schema/parts-list.ts'
import {
  absorptionMost, leakageMost, lossMost, propyleneAbsorption, type Dielectric,
} from './capacitor-limits.ts'
import type { Unproven } from './plan.ts'
import type { Capacitor, MainsPart, Value } from './to-prove.ts'

/** What the request wants of capacitors beside their value and loss. */
export interface CapacitorWishes {
  readonly insulation: boolean
  readonly absorption: boolean
  /** Volts and frequency of the mains that parts of a mains class are reckoned for. */
  readonly mains: { readonly voltageV: number; readonly frequencyHz: number }
}
export const usualWishes: CapacitorWishes =
  { insulation: true, absorption: false, mains: { voltageV: 240, frequencyHz: 50 } }

type Lack = Omit<Unproven, 'id'>

/** A part of a mains class stands at the mains for life: so much at least (common practice). */
const mainsRatedV = 250
const propylene = /\b(polypropylene|M?KP)\b/i
const nonPolar = /\b(non[ -]?polar(i[sz]ed)?|bi[ -]?polar|NP)\b/i

export const noDielectric: Lack = {
  why: 'the list does not say of what dielectric it is', wayOut: 'add film, ceramic, electrolytic …',
}

export function capacitorOf(line: PartsLine, farad: Value, wishes: CapacitorWishes): Capacitor | Lack {
  const classes = classesOf(line)
  const dielectric = dielectricOf(line)
  if (dielectric === null) return noDielectric
  const isElectrolytic = dielectric === 'electrolytic' || dielectric === 'tantalum'
  const isPolar = isElectrolytic && !nonPolar.test(line.note)
  const isMains = classes.length > 0 || sitsAt(line) !== null
  const plain: Capacitor = {
    kind: 'capacitor', dielectric, farad, dissipation: lossMost[dielectric], leakage: null, isPolar,
    ...isMains ? { mains: mainsOf(line, classes, wishes) } : {},
  }
  if (!wishes.insulation && !wishes.absorption) return plain
  const ratedV = line.ratedV ?? (isMains ? mainsRatedV : null)
  if (ratedV === null) {
    return {
      why: 'the list gives no rated voltage, so its insulation cannot be tested',
      wayOut: 'add its rating, or ask for capacitance and loss alone',
    }
  }
  const isPropylene = dielectric === 'film' && propylene.test(`${line.valueText} ${line.note}`)
  const rated = { dielectric, farad: farad.nominal, ratedV, isPolar, isMains, isPropylene }
  return {
    ...plain, leakage: leakageMost(rated),
    ...wishes.absorption
      ? { absorption: isPropylene ? propyleneAbsorption : absorptionMost[dielectric] } : {},
  }
}

/** Marked classes like X2, and those that a policy asks of what replaces a part. */
function classesOf({ safetyClasses, dielectrics }: PartsLine): string[] {
  const marked = new Set(safetyClasses)
  for (const [wanted, letter] of [['class-x', 'X'], ['class-y', 'Y']] as const) {
    const isMarked = safetyClasses.some(name => name.startsWith(letter))
    if (dielectrics.includes(wanted) && !isMarked) marked.add(letter)
  }
  return [...marked]
}

/**
 * Parts of a mains class are of film where nothing else is said. Null where it is not said, or said twice.
 */
export function dielectricOf(line: PartsLine): Dielectric | null {
  const isClass = (one: string): boolean => one === 'class-x' || one === 'class-y'
  const [first, ...others] = line.dielectrics.filter(one => !isClass(one)) as Dielectric[]
  if (first === undefined) return classesOf(line).length > 0 ? 'film' : null
  return others.length === 0 ? first : null
}

const sitsAt = ({ where }: PartsLine): MainsPart['sits'] =>
  where === 'across-mains' ? 'across' : where === 'mains-to-earth' ? 'to earth' : null

const mainsOf = (line: PartsLine, classes: readonly string[], { mains }: CapacitorWishes): MainsPart =>
  ({ classes, sits: sitsAt(line), ...mains, bleeder: bleederOf(`${line.note} ${line.ratingText}`) })

/** Of resistors that nobody gives a tolerance. */
const bleederShare = 0.1

/** `bleeder`, `bleeder 1M`, `bleeder 2M2`, `bleeder 470 k`. */
function bleederOf(text: string): MainsPart['bleeder'] {
  const found = /\bbleeder\b(?:[:\s]+(\d+(?:[.,]\d+)?)\s*([kM])(\d*)(?!\d*\s*%))?/i.exec(text)
  if (!found) return null
  const [, whole, unit, rest = ''] = found
  if (whole === undefined) return { ohm: null }
  const size = Number(`${whole.replace(',', '.')}${rest && !/[.,]/.test(whole) ? `.${rest}` : ''}`)
  const nominal = size * (unit!.toLowerCase() === 'k' ? 1e3 : 1e6)
  return {
    ohm: {
      low: nominal * (1 - bleederShare), high: nominal * (1 + bleederShare),
      source: 'bleeder of the parts list, 10 % (common practice)',
    },
  }
}
