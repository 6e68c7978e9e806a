/**
 * The Fourier transform of the simulated units, radix 2, double precision; written for them, so that they
 * share no arithmetic with what measures them.
 */
import { assert } from '../../src/base/assert.ts'

const tables = new Map<number, { cos: Float64Array; sin: Float64Array }>()

function tableOf(size: number): { cos: Float64Array; sin: Float64Array } {
  let table = tables.get(size)
  if (!table) {
    const half = size / 2
    table = { cos: new Float64Array(half), sin: new Float64Array(half) }
    for (let k = 0; k < half; k++) {
      table.cos[k] = Math.cos(2 * Math.PI * k / size)
      table.sin[k] = Math.sin(2 * Math.PI * k / size)
    }
    tables.set(size, table)
  }
  return table
}

/** Smallest power of two at or above `least`, 2 at least. */
export function powerOfTwo(least: number): number {
  let size = 2
  while (size < least) size *= 2
  return size
}

/** In place: x_n = Σ X_k·exp(sign·2πi·k·n/size), without a factor. */
export function transform(re: Float64Array, im: Float64Array, sign: 1 | -1): void {
  const size = re.length
  assert((size & (size - 1)) === 0 && im.length === size, 'a transform takes a power of two')
  reorder(re, im)
  const { cos, sin } = tableOf(size)
  for (let half = 1; half < size; half *= 2) {
    const skip = size / (2 * half)
    for (let first = 0; first < size; first += 2 * half) {
      for (let k = 0; k < half; k++) {
        const wr = cos[k * skip]!
        const wi = sign * sin[k * skip]!
        const a = first + k
        const b = a + half
        const xr = re[b]! * wr - im[b]! * wi
        const xi = re[b]! * wi + im[b]! * wr
        re[b] = re[a]! - xr
        im[b] = im[a]! - xi
        re[a] = re[a]! + xr
        im[a] = im[a]! + xi
      }
    }
  }
}

function reorder(re: Float64Array, im: Float64Array): void {
  const size = re.length
  for (let i = 1, j = 0; i < size; i++) {
    let bit = size >> 1
    for (; j & bit; bit >>= 1) j ^= bit
    j ^= bit
    if (i >= j) continue
    const r = re[i]!
    const m = im[i]!
    re[i] = re[j]!
    im[i] = im[j]!
    re[j] = r
    im[j] = m
  }
}

/**
 * The real series x_n = Σ X_k·exp(2πi·k·n/size) whose X_k for k = 0 … size/2 are given; the rest mirrors
 * them.
 */
export function realSeries(re: Float64Array, im: Float64Array): Float64Array {
  const half = re.length - 1
  const zr = new Float64Array(half)
  const zi = new Float64Array(half)
  for (let k = 0; k < half; k++) {
    const c = Math.cos(Math.PI * k / half)
    const s = Math.sin(Math.PI * k / half)
    const dr = re[k]! - re[half - k]!
    const di = im[k]! + im[half - k]!
    zr[k] = re[k]! + re[half - k]! - (dr * s + di * c)
    zi[k] = im[k]! - im[half - k]! + (dr * c - di * s)
  }
  transform(zr, zi, 1)
  const series = new Float64Array(2 * half)
  for (let n = 0; n < half; n++) {
    series[2 * n] = zr[n]!
    series[2 * n + 1] = zi[n]!
  }
  return series
}
