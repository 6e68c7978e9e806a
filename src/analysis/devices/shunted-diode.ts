/**
 * A junction with series and shunt resistance, lit or dark: I = Iph - Is·(exp((V + I·Rs)/(n·VT)) - 1) -
 * (V + I·Rs)/Rsh, current counted out of the part. For fixed n and Rs the rest is linear, so that only two
 * parameters are searched.
 */
import { assert } from '../../base/assert.ts'
import { assertNumbers, assertSameLength } from '../inputs.ts'
import { fitLinear } from '../linear-fit.ts'
import { fitNonlinear } from '../nonlinear-fit.ts'
import { thermalVoltageV } from './diode.ts'

export interface ShuntedDiode {
  /** Photocurrent and saturation current, A; series and shunt resistance, ohm; ideality. */
  iphA: number
  isA: number
  rsOhm: number
  rshOhm: number
  n: number
  /** Root of the mean square of the residuals in A, measured current inside the exponent. */
  rmseA: number
}

export type ShuntedDiodeResult =
  ({ ok: true } & ShuntedDiode) | { ok: false; reason: 'too few points' | 'no junction' }

/**
 * Fits all five parameters by least squares in I. Asserts finite, equally long arrays and currents that
 * differ. ok:false below eight points, or where no junction explains them: its current not above 0, or lost
 * in noise or rounding, or no conductance of the shunt above 0.
 */
export function fitShuntedDiode(
  voltsV: ArrayLike<number>, currentsA: ArrayLike<number>, tempC: number,
): ShuntedDiodeResult {
  assertNumbers(voltsV, 'voltsV')
  assertNumbers(currentsA, 'currentsA')
  assertSameLength(voltsV, currentsA, 'voltsV and currentsA')
  assert(spanOf(currentsA) > 0, 'currents that differ are needed')
  if (voltsV.length < 8) return { ok: false, reason: 'too few points' }
  const vt = thermalVoltageV(tempC)
  const at = (n: number, rsOhm: number): Inner | undefined => linearPart(voltsV, currentsA, n * vt, rsOhm)
  const start = coarse(at, voltsV, currentsA)
  if (!start) return { ok: false, reason: 'no junction' }
  const rows = Float64Array.from(voltsV, (_, i) => i)
  const fit = fitNonlinear({
    model: ([n, rs]) => { const inner = at(n!, rs!); return i => inner?.fitted[i] ?? NaN },
    x: rows, y: currentsA, start, startIsNear: true,
  })
  const [n, rsOhm] = fit.ok ? fit.parameters as [number, number] : start
  const inner = at(n, rsOhm)
  if (!fit.ok || !inner?.junction || !(inner.shuntS > 0)) return { ok: false, reason: 'no junction' }
  const { iphA, isA, shuntS, rmseA } = inner
  return { ok: true, n, rsOhm, iphA, isA, rshOhm: 1 / shuntS, rmseA }
}

interface Inner {
  iphA: number
  isA: number
  shuntS: number
  rmseA: number
  fitted: Float64Array
  /** True when the current of the junction stands out of noise and rounding. */
  junction: boolean
}

/** Best Iph, Is and shunt conductance for given n·VT and Rs. */
function linearPart(
  voltsV: ArrayLike<number>, currentsA: ArrayLike<number>, nVt: number, rsOhm: number,
): Inner | undefined {
  if (!(nVt > 0)) return undefined
  const inside = Float64Array.from(voltsV, (v, i) => v + currentsA[i]! * rsOhm)
  const most = inside.reduce((a, b) => Math.max(a, b))
  // scaled by the greatest value, so that no exponential overflows
  const rise = inside.map(v => Math.exp((v - most) / nVt) - Math.exp(-most / nVt))
  const fit = fitLinear({ columns: [rise.map(v => -v), inside.map(v => -v)], y: currentsA })
  if (!fit.ok) return undefined
  const [iphA, scaled, shuntS] = fit.coefficients as [number, number, number]
  const rss = fit.residuals.reduce((s, r) => s + r * r, 0)
  return {
    iphA, isA: scaled * Math.exp(-most / nVt), shuntS, rmseA: Math.sqrt(rss / voltsV.length),
    fitted: fit.residuals.map((r, i) => currentsA[i]! - r),
    junction: scaled > Math.max(3 * fit.standardErrors[1]!, 1e-9 * spanOf(currentsA)),
  }
}

/** n and Rs on a coarse grid, the best where Is and the shunt come out above 0. */
function coarse(
  at: (n: number, rsOhm: number) => Inner | undefined,
  voltsV: ArrayLike<number>, currentsA: ArrayLike<number>,
): [n: number, rsOhm: number] | undefined {
  const spanA = spanOf(currentsA)
  const mostOhm = 0.3 * spanOf(voltsV) / spanA
  let best: { rmseA: number; point: [number, number] } | undefined
  for (let n = 0.9; n < 3; n += 0.1) {
    for (let step = 0; step <= 20; step++) {
      const rsOhm = Math.max(1e-3, step) / 20 * mostOhm
      const inner = at(n, rsOhm)
      if (!inner || !(inner.isA > 0 && inner.shuntS > 0)) continue
      if (!best || inner.rmseA < best.rmseA) best = { rmseA: inner.rmseA, point: [n, rsOhm] }
    }
  }
  return best?.point
}

const spanOf = (values: ArrayLike<number>): number =>
  Math.max(...Array.from(values)) - Math.min(...Array.from(values))
