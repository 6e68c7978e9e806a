/** Where a curve that was stepped through crosses a limit: pure. */

export interface DistortionStep { readonly volts: number; readonly distortion: number }

/**
 * The last step at or under the limit that is followed by one over it; by rising volts. Noise may break the
 * limit at low volts, so that the first crossing says nothing. Null where there is none.
 */
export function lastRisingCrossing<T extends DistortionStep>(
  steps: readonly T[], limit: number,
): { below: T; above: T } | null {
  for (let i = steps.length - 1; i > 0; i--) {
    const [below, above] = [steps[i - 1]!, steps[i]!]
    if (below.distortion <= limit && above.distortion > limit) return { below, above }
  }
  return null
}

/** Volts at which distortion is the limit, by a straight line between logarithms. */
export function voltsAtLimit(below: DistortionStep, above: DistortionStep, limit: number): number {
  const way = Math.log(limit / below.distortion) / Math.log(above.distortion / below.distortion)
  return below.volts * (above.volts / below.volts) ** way
}

/** Of ln(distortion) over ln(volts). */
export const steepness = (a: DistortionStep, b: DistortionStep): number =>
  Math.log(b.distortion / a.distortion) / Math.log(b.volts / a.volts)

export interface CornerAsked {
  /** Where it is known to be above, and which way to go. */
  readonly fromHz: number
  readonly towards: 'low' | 'high'
  readonly endHz: number
  /** dB against the reference, below 0. */
  readonly limitDb: number
  /** The search ends once the curve is this near to the limit, dB. */
  readonly nearDb: number
}
export interface Corner { readonly hz: number; readonly dbPerE: number; readonly leftDb: number }

/** At the frequency that is nearest to the one that was asked for. */
export interface CurvePoint {
  readonly hz: number
  readonly db: number
  /** How far below is not known. */
  readonly isLost?: boolean
}
type Curve = (hz: number) => Promise<CurvePoint>

/** Steps of an octave outwards, then regula falsi over ln f. Null where the end is reached before. */
export async function findCorner(
  levelAt: Curve, { fromHz, towards, endHz, limitDb, nearDb }: CornerAsked,
): Promise<Corner | null> {
  const step = towards === 'low' ? 0.5 : 2
  const isPast = (hz: number): boolean => towards === 'low' ? hz <= endHz : hz >= endHz
  let inner = await levelAt(fromHz)
  let [outer, wantedHz] = [inner, fromHz]
  while (outer.db > limitDb) {
    if (isPast(wantedHz)) return null
    inner = outer
    wantedHz = isPast(wantedHz * step) ? endHz : wantedHz * step
    outer = await levelAt(wantedHz)
  }
  return closeIn(levelAt, { inner, outer, limitDb, nearDb })
}

interface Ends { readonly inner: CurvePoint; readonly outer: CurvePoint }
const closeMost = 60

/** Illinois' rule: an end that stays has its weight halved, so that both ends come near. */
async function closeIn(
  levelAt: Curve,
  { inner, outer, limitDb, nearDb }: Pick<CornerAsked, 'limitDb' | 'nearDb'> & Ends,
): Promise<Corner> {
  let [a, b] = [inner, outer]
  let [weightA, weightB] = [a.db - limitDb, b.db - limitDb]
  for (let i = 0; ; i++) {
    const way = weightA / (weightA - weightB)
    const point = await levelAt(a.hz * (b.hz / a.hz) ** way)
    const { hz } = point
    const leftDb = point.db - limitDb
    // No frequency that the bench can give lies between the ends.
    if (hz === a.hz || hz === b.hz) return between(a, b, limitDb)
    if (Math.abs(leftDb) <= nearDb || i >= closeMost) {
      const end = Math.abs(Math.log(a.hz / hz)) > Math.abs(Math.log(b.hz / hz)) ? a : b
      const dbPerE = (end.db - point.db) / Math.log(end.hz / hz)
      return { hz: hz * Math.exp(-leftDb / dbPerE), dbPerE, leftDb }
    }
    if (leftDb > 0) { [a, weightA] = [point, leftDb]; weightB /= 2 }
    else { [b, weightB] = [point, leftDb]; weightA /= 2 }
  }
}

function between(a: CurvePoint, b: CurvePoint, limitDb: number): Corner {
  const dbPerE = (b.db - a.db) / Math.log(b.hz / a.hz)
  if (a.isLost || b.isLost) {
    // Anywhere between the two with equal chance: twice that, as half of it is counted.
    return { hz: Math.sqrt(a.hz * b.hz), dbPerE, leftDb: (a.db - b.db) / Math.sqrt(3) }
  }
  return { hz: a.hz * Math.exp((limitDb - a.db) / dbPerE), dbPerE, leftDb: bentShare * (a.db - b.db) }
}
/**
 * By how much a curve bends away from a straight line between two ends that lie so near, as a share of the
 * step.
 */
const bentShare = 0.05
