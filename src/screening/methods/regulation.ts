/**
 * What a transformer's volts fall by at the load that it is rated for, reckoned from copper at 20 °C and
 * from leakage. It is never loaded here. Pure; SI units.
 */
import { regulationInLine } from '../../analysis/devices/transformer.ts'
import { formatSi } from '../../base/format.ts'
import type { Finding } from '../proof.ts'
import type { RatedLoad } from '../to-prove.ts'
import type { Quantity } from './winding-core.ts'

export interface LoadedWindings {
  /** The one that is fed: copper at 20 °C, and inductance with all others open. */
  readonly first: { readonly ohm: Quantity; readonly henry: number }
  /** In the order of the rating. `share`: leakage against the first over inductance; null: not measured. */
  readonly others: readonly { readonly ohm: Quantity; readonly share: Quantity | null }[]
  readonly measuredHz: number
}

interface Told {
  readonly findings: readonly Finding[]
  readonly figures: Record<string, number>
  readonly notes: readonly string[]
}

/**
 * Every winding is taken to be loaded so that its copper falls by the same share: as makers fill a bobbin
 * (common practice), since a rating says one sum for all. Then that share is S / Σ(V²/R).
 */
export function regulationAt(rated: RatedLoad, { first, others, measuredHz }: LoadedWindings): Told {
  const { apparentVA, windingsV: [firstV, ...othersV], frequencyHz } = rated
  const ofFirst = apparentVA * first.ohm.value / firstV! ** 2
  const conductances = others.map(({ ohm }, i) => othersV[i]! ** 2 / ohm.value)
  const sum = conductances.reduce((a, b) => a + b, 0)
  const ofOthers = apparentVA / sum
  const sumU = Math.hypot(...others.map(({ ohm }, i) => conductances[i]! * ohm.u / ohm.value))
  const resistance = {
    value: ofFirst + ofOthers,
    // The first one carries what is lost as well: more by as much as all fall by.
    u: Math.hypot(ofFirst * first.ohm.u / first.ohm.value, ofOthers * sumU / sum,
      ofFirst * (ofFirst + ofOthers) / Math.sqrt(3)),
  }
  const reactance = strayOf(rated, first.henry, others)
  const measured = regulationInLine(resistance, reactance)
  const conditions = `${apparentVA} VA at ${formatSi(firstV!, 'V')}, ${formatSi(frequencyHz, 'Hz')}, ` +
    `copper at 20 °C, leakage measured at ${formatSi(measuredHz, 'Hz')}`
  const shown = (share: number): string => `${(100 * share).toPrecision(2)} %`
  const note = `regulation at ${apparentVA} VA reckoned from copper at 20 °C and leakage: ` +
    `${shown(measured.value)} ± ${shown(2 * measured.u)}; warm copper has more`
  return {
    figures: { regulation: measured.value, regulationU: measured.u }, notes: [note],
    findings: rated.regulation
      ? [{ name: 'regulation', measured, unit: '1', limit: rated.regulation, conditions }] : [],
  }
}

/** Leakage that nobody measured may be so much of the inductance (common practice). */
const unknownShare = 0.05

/**
 * Reactance in line as a share of the load: of each winding it carries something between its own share of the
 * current and the whole of it.
 */
function strayOf(
  { apparentVA, windingsV, frequencyHz }: RatedLoad, henry: number, others: LoadedWindings['others'],
): Quantity {
  const shares = others.map(({ share }) => share?.value ?? unknownShare / 2)
  const most = Math.max(...shares)
  const perShare = 2 * Math.PI * frequencyHz * henry * apparentVA / windingsV[0]! ** 2
  const least = Math.min(...shares) / others.length
  const isUnknown = others.some(({ share }) => share === null)
  const u = Math.hypot((most - least) / Math.sqrt(12), isUnknown ? unknownShare / Math.sqrt(12) : 0,
    ...others.map(({ share }) => share?.u ?? 0))
  return { value: Math.max(0, perShare * (most + least) / 2), u: perShare * u }
}
