/**
 * Whether a part is in the jig, and whether it lies still, told from successive looks at the impedance
 * between the terminals. A pure step machine: (contact, look) → contact.
 */

/** One look at the jig. */
export interface Look {
  readonly atMs: number
  /** Size of the impedance between the terminals, ohms; Infinity where nothing is seen. */
  readonly ohm: number
  /** Standard uncertainty of one look beside the next, ohms: noise, not accuracy. */
  readonly noiseOhm: number
}

export interface ContactRule {
  /** From here upwards the jig is empty, ohms. */
  readonly openOhm: number
  /** So many looks in a row must agree before a part lies still. */
  readonly agreeing: number
  /** Least time between the first touch and a measurement, ms: fingers off, contacts wiped, charge gone. */
  readonly settleMs: number
  /** Two looks agree when they differ by less than this share, or by less than noise explains. */
  readonly agreeShare: number
  /** So many empty looks in a row show that a part is gone. */
  readonly emptyLooks: number
}

/** Figures of hand work with clips and tweezers: common practice. */
export const usualContact: Omit<ContactRule, 'openOhm'> =
  { agreeing: 3, settleMs: 300, agreeShare: 0.01, emptyLooks: 2 }

export type Contact =
  | { readonly is: 'empty' }
  | Touching
  | { readonly is: 'still'; readonly sinceMs: number; readonly last: Look; readonly empty: number }
interface Touching {
  readonly is: 'touching'
  readonly sinceMs: number
  readonly last: Look
  /** Looks in a row that agree. */
  readonly agreed: number
  /** Empty looks in a row. */
  readonly empty: number
}

export const emptyJig: Contact = { is: 'empty' }
/** Nothing is known: something may lie in the jig, and it must be seen empty first. */
export const unknownJig: Contact =
  { is: 'touching', sinceMs: 0, last: { atMs: 0, ohm: NaN, noiseOhm: 0 }, agreed: 0, empty: 0 }
/** More than this many standard deviations between two looks are no noise. */
const noiseFactor = 4

/**
 * What is known after one more look. A part that lies still stays so while it moves by less than
 * `agreeShare`; where it moves more it is touching again, and must come to rest anew.
 */
export function seeContact(contact: Contact, look: Look, rule: ContactRule): Contact {
  if (!(look.ohm < rule.openOhm)) return seenEmpty(contact, rule)
  if (contact.is === 'empty') return { is: 'touching', sinceMs: look.atMs, last: look, agreed: 1, empty: 0 }
  if (!agree(contact.last, look, rule)) {
    return { is: 'touching', sinceMs: contact.sinceMs, last: look, agreed: 1, empty: 0 }
  }
  if (contact.is === 'still') return { ...contact, last: look, empty: 0 }
  const agreed = contact.agreed + 1
  const rested = agreed >= rule.agreeing && look.atMs - contact.sinceMs >= rule.settleMs
  return rested ? { is: 'still', sinceMs: contact.sinceMs, last: look, empty: 0 }
    : { is: 'touching', sinceMs: contact.sinceMs, last: look, agreed, empty: 0 }
}

/** One empty look may be a finger that slipped; a row of them is a part that is gone. */
function seenEmpty(contact: Contact, rule: ContactRule): Contact {
  if (contact.is === 'empty') return contact
  const empty = contact.empty + 1
  return empty >= rule.emptyLooks ? emptyJig : { ...contact, empty }
}

function agree(one: Look, other: Look, { agreeShare }: ContactRule): boolean {
  const apart = Math.abs(one.ohm - other.ohm)
  const noise = noiseFactor * Math.hypot(one.noiseOhm, other.noiseOhm)
  return apart <= Math.max(agreeShare * Math.min(one.ohm, other.ohm), noise)
}
