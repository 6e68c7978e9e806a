/**
 * Least squares of A·cos ωt + B·sin ωt + C to equally spaced samples, with ω known (three parameters) or
 * found (four). Standard uncertainties hold for a residual that is white; harmonics in it make them too
 * large.
 */
import { inverse, Matrix } from 'ml-matrix'
import { largestLine } from './largest-line.ts'
import { transformed } from './spectrum.ts'

export interface Estimate { readonly value: number; readonly u: number }

export interface SineFit {
  readonly frequencyHz: Estimate
  /** Peak, in what the samples are in. */
  readonly amplitude: Estimate
  /** Of amplitude·cos(ωt + phase), radians, at the first sample. */
  readonly phaseRad: number
  readonly dc: Estimate
  /** What the fit leaves, root mean square. */
  readonly residualRms: number
}

const iterationsMost = 20
/** So often a sine is turned on by one step before it is reckoned anew: no digit is lost by then. */
const turnsMost = 32
/** Steps below this share of the frequency that the record can tell at all end the search. */
const stepLeast = 1e-13

/** RangeError where no frequency between 0 and half the rate fits. `fromHz` left out: the largest line. */
export function fitSine(samples: ArrayLike<number>, sampleHz: number, fromHz?: number): SineFit {
  const startHz = fromHz ?? largestLine(transformed(samples, sampleHz)).value * sampleHz / samples.length
  let omega = 2 * Math.PI * startHz / sampleHz
  let known = solved(samples, omega, null)
  for (let i = 0; i < iterationsMost; i++) {
    const next = solved(samples, omega, known)
    omega += next.step
    if (!(omega > 0 && omega < Math.PI)) throw new RangeError('no sine fits these samples')
    known = next
    if (Math.abs(next.step) < stepLeast * omega) break
  }
  return told(samples, sampleHz, omega, known)
}

/** The same at a frequency that is known. */
export function fitSineAt(samples: ArrayLike<number>, sampleHz: number, frequencyHz: number): SineFit {
  const omega = 2 * Math.PI * frequencyHz / sampleHz
  return told(samples, sampleHz, omega, solved(samples, omega, null))
}

interface Solved {
  readonly a: number
  readonly b: number
  readonly c: number
  /** Change of ω, radians a sample. */
  readonly step: number
  /** Inverse of the normal equations; times the variance of the residual that of the parameters. */
  readonly spread: Matrix
}

/** One step; time is counted from the middle, so that frequency and phase go apart. */
function solved(samples: ArrayLike<number>, omega: number, around: Solved | null): Solved {
  const size = around === null ? 3 : 4
  const count = samples.length
  const middle = (count - 1) / 2
  const normal = new Float64Array(size * size)
  const right = new Float64Array(size)
  const row = new Float64Array(size)
  row[2] = 1
  const [turnCos, turnSin] = [Math.cos(omega), Math.sin(omega)]
  let [cos, sin] = [0, 0]
  for (let i = 0; i < count; i++) {
    const t = i - middle
    if (i % turnsMost === 0) { cos = Math.cos(omega * t); sin = Math.sin(omega * t) }
    else [cos, sin] = [cos * turnCos - sin * turnSin, sin * turnCos + cos * turnSin]
    row[0] = cos
    row[1] = sin
    if (around !== null) row[3] = t / middle * (around.b * cos - around.a * sin)
    const y = samples[i]!
    for (let r = 0; r < size; r++) {
      right[r]! += row[r]! * y
      for (let c = r; c < size; c++) normal[r * size + c]! += row[r]! * row[c]!
    }
  }
  const matrix = new Matrix(size, size)
  for (let r = 0; r < size; r++) {
    for (let c = 0; c < size; c++) matrix.set(r, c, normal[Math.min(r, c) * size + Math.max(r, c)]!)
  }
  const spread = inverse(matrix)
  const found = spread.mmul(Matrix.columnVector([...right])).to1DArray()
  return { a: found[0]!, b: found[1]!, c: found[2]!, step: size === 4 ? found[3]! / middle : 0, spread }
}

function told(samples: ArrayLike<number>, sampleHz: number, omega: number, known: Solved): SineFit {
  const { a, b, c, spread } = known
  const count = samples.length
  const middle = (count - 1) / 2
  let squares = 0
  for (let i = 0; i < count; i++) {
    const angle = omega * (i - middle)
    squares += (samples[i]! - a * Math.cos(angle) - b * Math.sin(angle) - c) ** 2
  }
  const variance = squares / Math.max(1, count - spread.rows)
  const u = (i: number): number => Math.sqrt(variance * spread.get(i, i))
  const phase = Math.atan2(-b, a) - omega * middle
  const amplitude = Math.hypot(a, b)
  const uOmega = spread.rows === 4 ? u(3) / middle : 0
  return {
    frequencyHz: { value: omega * sampleHz / (2 * Math.PI), u: uOmega * sampleHz / (2 * Math.PI) },
    amplitude: { value: amplitude, u: amplitude === 0 ? u(0) : Math.hypot(a * u(0), b * u(1)) / amplitude },
    phaseRad: Math.atan2(Math.sin(phase), Math.cos(phase)),
    dc: { value: c, u: u(2) },
    residualRms: Math.sqrt(squares / count),
  }
}
