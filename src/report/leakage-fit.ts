/**
 * Leakage from the moment the part arrived at voltage, as log-log axes want it, beside its limit and the
 * fit.
 */
import type { Channel } from '../schema/reading.ts'
import type { PartResult } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { pointsOf, type StageSpan, type Trace } from './traces.ts'

/** Time in s from `fromS` (itself from the start of the run), current in A. */
export interface LeakageFit {
  fromS: number
  points: { atS: number; value: number }[]
  limitA: number | null
  /** I(t) = amplitude·(t/reference)^-exponent + floor, t in s from `fromS`; null where none was fitted. */
  curve: Curve | null
}

/** It holds from `fromS` to `toS` only, to within `misfit` of the current; null where that was not told. */
export interface Curve {
  amplitudeA: number; exponent: number; floorA: number; referenceS: number
  window: { fromS: number; toS: number; misfit: number } | null
}

export interface FitSource {
  leakage: Trace; spans: readonly StageSpan[]; startMs: number; result: PartResult | null
}

const pointsPerDecade = 40

/**
 * Buckets for the long tail and single readings for the first moments, which a log axis spreads wide. Null
 * without an arrival.
 */
export async function leakageFit(
  store: Store, runId: string, channel: Channel, source: FitSource
): Promise<LeakageFit | null> {
  const { leakage, spans, startMs, result } = source
  const fromS = decayStart(source)
  if (fromS === null) return null
  const lastS = leakage.atS[leakage.atS.length - 1] ?? fromS
  const endS = decayEnd(spans, fromS) ?? lastS
  const earlyS = fromS + (endS - fromS) / 20
  const early = await store.series(runId, channel.index, startMs + fromS * 1000, startMs + earlyS * 1000)
  const points = pointsOf(early, startMs)
  leakage.atS.forEach((atS, i) => {
    const value = leakage.mean[i]
    if (atS > earlyS && atS <= endS && value !== null && value !== undefined) points.push({ atS, value })
  })
  const shifted = points.map(point => ({ atS: point.atS - fromS, value: point.value }))
  const limit = result?.criteria.find(criterion => criterion.name === 'leakage')?.limitHigh
  return { fromS, points: thinByDecade(shifted), limitA: limit ?? null, curve: curveOf(result) }
}

/** Value of the fitted curve at `atS` seconds, in A. */
export function curveAt(curve: Curve, atS: number): number {
  return curve.amplitudeA * (atS / curve.referenceS) ** -curve.exponent + curve.floorA
}

/**
 * `decayFromMs` (monotonic) where the fit says so; else the first stage at full voltage; null for a part
 * that never got there.
 */
function decayStart({ leakage, spans, startMs, result }: FitSource): number | null {
  const told = result?.figures['decayFromMs']
  if (told !== undefined && Number.isFinite(told)) return (told - startMs) / 1000
  const atVoltage = spans.find(span => span.stage === 'soaking' || span.stage === 'formal')
  return atVoltage?.fromS ?? (spans.length === 0 ? leakage.atS[0] ?? null : null)
}

function decayEnd(spans: readonly StageSpan[], fromS: number): number | undefined {
  return spans.find(span => span.fromS > fromS && span.stage !== 'soaking' && span.stage !== 'formal')?.fromS
}

function curveOf(result: PartResult | null): LeakageFit['curve'] {
  const { decayAmplitudeA, decayExponent, decayFloorA = 0, decayReferenceS = 1 } = result?.figures ?? {}
  if (decayAmplitudeA === undefined || decayExponent === undefined) return null
  const all = [decayAmplitudeA, decayExponent, decayFloorA, decayReferenceS]
  if (!all.every(Number.isFinite)) return null
  return {
    amplitudeA: decayAmplitudeA, exponent: decayExponent, floorA: decayFloorA, referenceS: decayReferenceS,
    window: windowOf(result!),
  }
}

function windowOf({ figures }: PartResult): Curve['window'] {
  const { decayWindowFromS: fromS, decayWindowToS: toS, decayMisfit: misfit } = figures
  return fromS !== undefined && toS !== undefined && misfit !== undefined ? { fromS, toS, misfit } : null
}

/** At most `pointsPerDecade` points in each factor of ten of time; the first of each slot stays. */
function thinByDecade(points: readonly { atS: number; value: number }[]): { atS: number; value: number }[] {
  let last = -Infinity
  return points.filter(point => {
    if (point.atS <= 0 || point.value <= 0) return false
    const slot = Math.floor(Math.log10(point.atS) * pointsPerDecade)
    if (slot <= last) return false
    last = slot
    return true
  })
}
