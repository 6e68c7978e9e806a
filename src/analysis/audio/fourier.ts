/**
 * Discrete Fourier transform of real samples of any number: e^(−2πi·kn/N), not divided by anything. By the
 * library where N is a power of two, through a convolution of such a length (Bluestein) where it is not.
 */
import FFT from 'fft.js'

/** Bins 0 to N/2. */
export interface Bins { readonly re: Float64Array; readonly im: Float64Array }

const isPowerOfTwo = (n: number): boolean => n >= 2 && Number.isInteger(Math.log2(n))

/** RangeError below 4 samples. */
export function realTransform(samples: ArrayLike<number>): Bins {
  if (!(samples.length >= 4)) throw new RangeError('a transform needs 4 samples or more')
  return isPowerOfTwo(samples.length) ? halved(samples) : convolved(samples)
}

/** Tables and room of one size: making them takes as long as a transform. */
interface Plan {
  readonly fft: FFT
  readonly input: number[]
  readonly output: number[]
  readonly turns: Float64Array
}
const plans = new Map<number, Plan>()
const plansMost = 4

function planOf(size: number): Plan {
  const kept = plans.get(size)
  if (kept) return kept
  const fft = new FFT(size)
  const turns = new Float64Array(2 * size + 2)
  for (let k = 0; k <= size; k++) {
    turns[2 * k] = Math.cos(Math.PI * k / size)
    turns[2 * k + 1] = -Math.sin(Math.PI * k / size)
  }
  const plan = { fft, input: fft.createComplexArray(), output: fft.createComplexArray(), turns }
  if (plans.size >= plansMost) plans.delete(plans.keys().next().value!)
  plans.set(size, plan)
  return plan
}

/** Even samples as real and odd ones as imaginary parts of half as many: half the work, then taken apart. */
function halved(samples: ArrayLike<number>): Bins {
  const half = samples.length / 2
  const { fft, input, output: z, turns } = planOf(half)
  for (let i = 0; i < samples.length; i++) input[i] = samples[i]!
  fft.transform(z, input)
  const re = new Float64Array(half + 1)
  const im = new Float64Array(half + 1)
  re[0] = z[0]! + z[1]!
  re[half] = z[0]! - z[1]!
  for (let k = 1, a = 2, b = 2 * half - 2; k < half; k++, a += 2, b -= 2) {
    const evenRe = (z[a]! + z[b]!) / 2
    const evenIm = (z[a + 1]! - z[b + 1]!) / 2
    const oddRe = (z[a + 1]! + z[b + 1]!) / 2
    const oddIm = (z[b]! - z[a]!) / 2
    const c = turns[a]!
    const s = turns[a + 1]!
    re[k] = evenRe + c * oddRe - s * oddIm
    im[k] = evenIm + c * oddIm + s * oddRe
  }
  return { re, im }
}

function convolved(samples: ArrayLike<number>): Bins {
  const n = samples.length
  const size = 2 ** Math.ceil(Math.log2(2 * n - 1))
  const { fft } = planOf(size)
  const chirp = chirpOf(n)
  const [signal, kernel] = [fft.createComplexArray(), fft.createComplexArray()]
  for (let i = 0; i < n; i++) {
    const [c, s] = [chirp[2 * i]!, chirp[2 * i + 1]!]
    signal[2 * i] = samples[i]! * c
    signal[2 * i + 1] = samples[i]! * s
    for (const at of i === 0 ? [0] : [i, size - i]) { kernel[2 * at] = c; kernel[2 * at + 1] = -s }
  }
  const [a, b] = [fft.createComplexArray(), fft.createComplexArray()]
  fft.transform(a, signal)
  fft.transform(b, kernel)
  for (let i = 0; i < 2 * size; i += 2) {
    const [re, im] = [a[i]! * b[i]! - a[i + 1]! * b[i + 1]!, a[i]! * b[i + 1]! + a[i + 1]! * b[i]!]
    a[i] = re
    a[i + 1] = im
  }
  fft.inverseTransform(b, a)
  const half = Math.floor(n / 2)
  const bins = { re: new Float64Array(half + 1), im: new Float64Array(half + 1) }
  for (let k = 0; k <= half; k++) {
    const [c, s] = [chirp[2 * k]!, chirp[2 * k + 1]!]
    bins.re[k] = b[2 * k]! * c - b[2 * k + 1]! * s
    bins.im[k] = b[2 * k]! * s + b[2 * k + 1]! * c
  }
  return bins
}

/** e^(−πi·k²/n), interleaved; k² is kept whole, modulo 2n, so that no angle loses digits. */
function chirpOf(n: number): Float64Array {
  const chirp = new Float64Array(2 * n)
  for (let k = 0, square = 0; k < n; k++) {
    const angle = -Math.PI * square / n
    chirp[2 * k] = Math.cos(angle)
    chirp[2 * k + 1] = Math.sin(angle)
    square = (square + 2 * k + 1) % (2 * n)
  }
  return chirp
}

/** Samples whose transform these bins are; their number must be a power of two. */
export function realInverse({ re, im }: Bins): Float64Array {
  const count = 2 * (re.length - 1)
  if (!isPowerOfTwo(count)) throw new RangeError('an inverse needs a power of two')
  const { fft, input, output } = planOf(count)
  for (let k = 0; k < re.length; k++) {
    input[2 * k] = re[k]!
    input[2 * k + 1] = im[k]!
    if (k === 0 || 2 * k === count) continue
    input[2 * (count - k)] = re[k]!
    input[2 * (count - k) + 1] = -im[k]!
  }
  fft.inverseTransform(output, input)
  return Float64Array.from({ length: count }, (_, i) => output[2 * i]!)
}
