/**
 * Check standards: parts of known value, between the others, that show whether jig and instruments can be
 * trusted.
 */
import { formatSi } from '../base/format.ts'
import type { CheckStandard } from '../schema/screening.ts'
import type { Item } from '../screening/grade.ts'
import type { Proof } from '../screening/proof.ts'
import type { Value } from '../screening/to-prove.ts'

/**
 * A reading further off than this many combined standard uncertainties is out of control (common
 * practice).
 */
const controlFactor = 3
/** What is told from another part in the jig: nothing of that kind is a drift. */
const halfShare = 0.5

export function standardItem({ id, quantity, value }: CheckStandard): Item {
  const nominal: Value = { nominal: value, minus: halfShare, plus: halfShare, source: 'check standard' }
  return quantity === 'resistance'
    ? { id, part: { kind: 'resistor', ohm: nominal, ratedW: 0.25 } }
    : {
        id,
        part: { kind: 'capacitor', dielectric: 'film', farad: nominal, dissipation: null, leakage: null },
      }
}

export interface StandardReading {
  readonly inControl: boolean
  readonly says: string
  /** What was read, for the record; null where nothing was. */
  readonly read: { readonly value: number; readonly u: number } | null
}

/** Whether what was read of it agrees with its certificate. */
export function checkReading(
  { id, value, u, quantity }: CheckStandard,
  { fault, findings }: Proof,
): StandardReading {
  const unit = quantity === 'resistance' ? 'Ω' : 'F'
  const [found] = findings
  if (fault || !found)
    return { inControl: false, says: `standard ${id}: ${fault?.says ?? 'nothing was measured'}`, read: null }
  const { value: read, u: uRead } = found.measured
  const off = (read - value) / Math.hypot(u, uRead)
  const says =
    `standard ${id} reads ${formatSi(read, unit, 5)} for ${formatSi(value, unit, 5)}, ` +
    `${Math.abs(off).toFixed(1)} standard uncertainties off`
  return { inControl: Math.abs(off) <= controlFactor, says, read: { value: read, u: uRead } }
}
