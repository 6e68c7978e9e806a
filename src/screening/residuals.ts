/**
 * What leads and terminals add between terminals 1 and 2: taken off where the jig was compensated, and what
 * they still leave open; elsewhere what is usual is left open. Pure.
 */
import { correctOpenShort, toAdmittance } from '../analysis/impedance.ts'
import {
  usualResiduals as usual, type NullRow, type Nulls, type ResidualExtent,
} from '../schema/compensation.ts'
import type { ImpedanceReading, Pair, Residuals } from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'

/** Within which contacts and leads come back when a part is changed, about their mean (modelling choice). */
export const afterwards: ResidualExtent =
  { seriesOhm: 0.01, seriesH: 0.02e-6, strayF: 0.1e-12, leadsOhm: 0.02 }
/** Most that insulation of leads and terminals loses, as a share of their susceptance (from memory). */
export const strayLoss = 0.02
/** Frequencies that differ by less are the same. */
const sameShare = 0.01
/** What differs from the empty jig by less, in standard uncertainties, is nothing that can be told. */
const toldFactor = 2
const root3 = Math.sqrt(3)
/** Of what two times differ by that are each within the extent, evenly: as nulled, and with the part in. */
export const twice = Math.sqrt(2 / 3)

/** Standard uncertainties of what is in series, Ω, and beside, S. */
interface Open { readonly rOhm: number; readonly xOhm: number; readonly gS: number; readonly bS: number }

/** What is usual where nothing was found, and within what it comes back where it was. */
export interface Extents { readonly usual: ResidualExtent; readonly afterwards: ResidualExtent }
const atJig: Extents = { usual, afterwards }

/** By what was found last; `null`: nothing was. */
export function residualsOf(nulls: Nulls | null, extents: Extents = atJig): Residuals {
  const rowAt = (hertz: number, pair: Pair): NullRow | undefined =>
    isEnds(pair) ? rowOf(nulls?.rows ?? [], hertz) : undefined
  return {
    impedance: (reading, pair) => corrected(reading, rowAt(reading.frequencyHz, pair), extents),
    resistance: (reading, pair, wires) => {
      const row = rowAt(0, pair)
      return wires === 4 || !row ? reading : { ...reading, value: reading.value - row.shortOhm }
    },
    impedanceU: (reading, pair) => leftOpen(reading, rowAt(reading.frequencyHz, pair), extents),
    leadsU: pair => {
      const row = rowAt(0, pair)
      return row ? Math.hypot(row.shortU, twice * extents.afterwards.leadsOhm)
        : extents.usual.leadsOhm / root3
    },
  }
}

const isEnds = ({ high, low }: Pair): boolean => high + low === 3

/** That of this frequency; 0 Hz is the ohm-meter's. */
export const rowOf = (rows: readonly NullRow[], hertz: number): NullRow | undefined =>
  rows.find(({ frequencyHz }) => Math.abs(frequencyHz - hertz) <= sameShare * hertz)

/** Of what was found in the row, or of what is usual, when another part lies in the jig. */
function openOf(row: NullRow | undefined, hertz: number, extents: Extents): Open {
  const omega = 2 * Math.PI * hertz
  const left = (name: 'seriesOhm' | 'seriesH' | 'strayF', isKnown: boolean): number =>
    isKnown ? twice * extents.afterwards[name] : extents.usual[name] / root3
  const [shortU, openU] = [row?.shortU ?? 0, row?.openU ?? 0]
  const [isKnown, beside] = [row !== undefined, omega * left('strayF', (row?.openU ?? null) !== null)]
  return {
    rOhm: Math.hypot(shortU, left('seriesOhm', isKnown)),
    xOhm: Math.hypot(shortU, omega * left('seriesH', isKnown)),
    gS: Math.hypot(openU, beside * strayLoss), bS: Math.hypot(openU, beside),
  }
}

const shortOf = (row: NullRow | undefined): { rOhm: number; xOhm: number } =>
  ({ rOhm: row?.shortOhm ?? 0, xOhm: row?.shortReactanceOhm ?? 0 })
const besideOf = (row: NullRow | undefined): { gS: number; bS: number } =>
  ({ gS: row?.openS ?? 0, bS: row?.openSusceptanceS ?? 0 })

/** Z = (Zm - Zs)/(1 - (Zm - Zs)·Yo); what the bridge leaves open grows as the value does. */
function corrected(
  reading: ImpedanceReading, row: NullRow | undefined, extents: Extents,
): ImpedanceReading {
  const { rOhm, xOhm, frequencyHz } = reading
  if (!row || rOhm.quality !== 'good' || xOhm.quality !== 'good') return reading
  const [short, open] = [shortOf(row), besideOf(row)]
  const taken = { rOhm: rOhm.value - short.rOhm, xOhm: xOhm.value - short.xOhm }
  const size = Math.hypot(taken.rOhm, taken.xOhm)
  if (size > 0 && isEmpty(taken, row, frequencyHz, extents)) return unseen(reading)
  const found = correctOpenShort({ rOhm: rOhm.value, xOhm: xOhm.value }, { short, open })
  const growth = size === 0 ? 1 : (Math.hypot(found.rOhm, found.xOhm) / size) ** 2
  const as = (read: Measured, value: number): Measured => ({ ...read, value, u: read.u * growth })
  return { ...reading, rOhm: as(rOhm, found.rOhm), xOhm: as(xOhm, found.xOhm) }
}

/** What is beside the jig's own admittance is too small to be told. */
function isEmpty(
  taken: { rOhm: number; xOhm: number }, row: NullRow, hertz: number, extents: Extents,
): boolean {
  if (row.openU === null) return false
  const [seen, open, u] = [toAdmittance(taken), besideOf(row), openOf(row, hertz, extents)]
  return Math.hypot(seen.gS - open.gS, seen.bS - open.bS) < toldFactor * u.bS
}

const unseen = (reading: ImpedanceReading): ImpedanceReading => {
  const as = (read: Measured): Measured => ({ ...read, value: NaN, u: NaN, quality: 'over-range' })
  return { ...reading, rOhm: as(reading.rOhm), xOhm: as(reading.xOhm) }
}

/**
 * Standard uncertainties, from dZ = -dZs·(1 + Z·Yo)² - Z²·dYo: what is in series, and what lies beside it.
 */
function leftOpen(
  { rOhm: { value: r }, xOhm: { value: x }, frequencyHz }: ImpedanceReading, row: NullRow | undefined,
  extents: Extents,
): { rOhm: number; xOhm: number } {
  const open = openOf(row, frequencyHz, extents)
  const { gS, bS } = besideOf(row)
  const growth = (1 + r * gS - x * bS) ** 2 + (r * bS + x * gS) ** 2
  const [squareRe, squareIm] = [r * r - x * x, 2 * r * x]
  return {
    rOhm: Math.hypot(growth * open.rOhm, squareRe * open.gS, squareIm * open.bS),
    xOhm: Math.hypot(growth * open.xOhm, squareIm * open.gS, squareRe * open.bS),
  }
}
