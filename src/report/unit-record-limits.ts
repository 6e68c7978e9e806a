/** What a curve of a unit is held against by its claims, as lines to draw beside it. Pure. */
import { written } from '../claims/figures.ts'
import type { PlotLimit } from './plot.ts'
import type { UnitRecordClaim, UnitRecordCurve } from './unit-record-schema.ts'

/** Shares in per cent, as charts have them. A claim without a band, or of something else, has none. */
export function claimedLimits(curve: UnitRecordCurve, claims: readonly UnitRecordClaim[]): PlotLimit[] {
  const limits = claims.flatMap(claim => ofClaim(curve, claim).map(({ label, ...limit }) => ({
    ...limit, label: `claimed${claim.channel === null ? '' : ` of ${claim.channel}`} ${label}`,
  })))
  return limits.filter(({ label }, i) => limits.findIndex(other => other.label === label) === i)
}

function ofClaim({ name, y: { label } }: UnitRecordCurve, claim: UnitRecordClaim): PlotLimit[] {
  const { quantity } = claim
  if (name === 'response' && quantity === 'response deviation') return deviation(claim)
  if (name === 'distortion against power' && quantity === 'output power') return power(claim, label)
  const isDistortion = (quantity === 'thd' || quantity === 'thd+n') && labelOf[quantity] === label
  return name === 'distortion against frequency' && isDistortion ? overBand(claim) : []
}

const labelOf = { thd: 'THD', 'thd+n': 'THD+N' } as const
const band = (from: number, to: number): string => `from ${written(from, 'Hz')} to ${written(to, 'Hz')}`

function deviation({ least, most, conditions }: UnitRecordClaim): PlotLimit[] {
  const { bandLowHz: from, bandHighHz: to } = conditions ?? {}
  if (from === undefined || to === undefined) return []
  return [['at least', least] as const, ['at most', most] as const].flatMap(([side, y]) =>
    y === null ? [] : [{ from, to, y, label: `${side} ${written(y, 'dB')} ${band(from, to)}` }])
}

/** So many watts at no more distortion: the course is to stay below until there. */
function power({ least, conditions }: UnitRecordClaim, of: string): PlotLimit[] {
  const { distortion, distortionOf = 'thd' } = conditions ?? {}
  if (least === null || distortion === undefined || labelOf[distortionOf] !== of) return []
  const label = `at most ${written(distortion, 'share')} up to ${written(least, 'W')}`
  return [{ from: null, to: least, y: 100 * distortion, label }]
}

function overBand({ most, conditions }: UnitRecordClaim): PlotLimit[] {
  const { bandLowHz: from, bandHighHz: to, outputW } = conditions ?? {}
  if (most === null || from === undefined || to === undefined) return []
  const at = outputW === undefined ? '' : `, at ${written(outputW, 'W')}`
  return [{ from, to, y: 100 * most, label: `at most ${written(most, 'share')} ${band(from, to)}${at}` }]
}
