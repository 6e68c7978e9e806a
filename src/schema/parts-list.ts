/** A parts list: what a unit is made of, or what lies on reels; a line for parts that are alike. SI units. */
import { z } from 'zod'
import { statedLimit, type StatedLimit } from './stated-limits.ts'

export const partKinds = [
  'resistor', 'potentiometer', 'switch', 'relay-contact', 'capacitor', 'inductor', 'transformer', 'diode',
  'zener', 'bridge-rectifier', 'led', 'npn', 'pnp', 'jfet-n', 'jfet-p', 'mosfet-n', 'mosfet-p',
  'mosfet-n-depletion', 'mosfet-p-depletion', 'fuse',
  'lamp',
  'crystal', 'thermistor', 'varistor', 'tube', 'integrated-circuit', 'connector',
] as const
export type PartKind = (typeof partKinds)[number]

/** `a resistor`, `an integrated circuit`, `an npn`, as a sentence has it. */
export const aKind = (kind: PartKind): string =>
  `${/^(?:[aeiou]|npn|led)/.test(kind) ? 'an' : 'a'} ${kind.length > 8 ? kind.replace('-', ' ') : kind}`

/** What a capacitor is made of, and whether it is one for the mains. */
export const dielectrics = [
  'film', 'ceramic-1', 'ceramic-2', 'mica', 'paper', 'electrolytic', 'tantalum', 'class-x', 'class-y',
] as const
export type ListedDielectric = (typeof dielectrics)[number]

type Limited = readonly StatedLimit['of'][]
const gain: Limited = ['gain']
const open: Limited = ['drain current', 'cut-off voltage']
const shut: Limited = ['threshold voltage']
/** What a list may state of which kinds. */
export const limitsOf: Partial<Record<PartKind, Limited>> = {
  npn: gain, pnp: gain, 'jfet-n': open, 'jfet-p': open, 'mosfet-n': shut, 'mosfet-p': shut,
  'mosfet-n-depletion': open, 'mosfet-p-depletion': open,
}

const share = z.number().min(0).nullable()
const positive = z.number().positive().nullable()

/** One line of a list. What it does not say is null or empty; nothing is filled in. */
/** So many parts in one list at most, reels by their count: planning more keeps a bench waiting. */
export const partsMost = 100_000
export const countOf = (lines: readonly { readonly quantity: number }[]): number =>
  lines.reduce((sum, { quantity }) => sum + quantity, 0)

const partsLine = z.strictObject({
  line: z.number().int().min(1),
  /** Empty for a reel or a drawer, which has a quantity alone. */
  designators: z.array(z.string()),
  quantity: z.number().int().min(1).max(partsMost),
  kind: z.enum(partKinds).nullable(),
  /** `letter`: proposed by the first letters of the designator; `value`: by the unit of the value. */
  kindFrom: z.enum(['list', 'letter', 'value']).nullable(),
  material: z.enum(['silicon', 'germanium', 'selenium']).nullable(),
  dielectrics: z.array(z.enum(dielectrics)),
  /** Marked classes of mains suppression, like X2; X or Y where no figure is said. */
  safetyClasses: z.array(z.string()),
  /** The value as it stands in the list: a type number, for parts that have no value. */
  valueText: z.string(),
  value: z.strictObject({
    quantity: z.enum(['resistance', 'capacitance', 'inductance']), si: z.number().min(0),
    unit: z.enum(['Ω', 'F', 'H']),
  }).nullable(),
  toleranceMinus: share, tolerancePlus: share,
  ratedV: positive, ratedForm: z.enum(['ac', 'dc']).nullable(), ratedW: positive,
  tempcoPpmPerK: z.number().nullable(),
  /** A rating that says no volts, of a part without a value, as it stands in the list. */
  ratingText: z.string(),
  /** Where it sits, like `across-mains`; null where the list does not say. */
  where: z.string().nullable(),
  note: z.string(),
  /** Of a transistor, where the list itself states any. */
  limits: z.array(statedLimit).min(1).max(2).optional(),
}).refine(({ kind, limits = [] }) => limits.every(({ of }) => kind && limitsOf[kind]?.includes(of)),
  { path: ['limits'], message: 'what may be stated of a part of its kind' })
export type PartsLine = z.infer<typeof partsLine>

/** Names of the parts of a line: its designators, or by line and number. */
export const idsOf = ({ designators, quantity, line }: PartsLine): readonly string[] =>
  designators.length > 0 ? designators : Array.from({ length: quantity }, (_, i) => `line ${line} #${i + 1}`)

/** Something a person should know of lines that were read: what was proposed, what is odd, what is open. */
const listRemark = z.strictObject({ lines: z.array(z.number().int()), text: z.string() })
export type ListRemark = z.infer<typeof listRemark>

export const partsList = z.strictObject({
  parts: z.array(partsLine).refine(lines => countOf(lines) <= partsMost,
    `${partsMost} parts at most in all`),
  remarks: z.array(listRemark),
})
export type PartsList = z.infer<typeof partsList>
