/**
 * A sum of sines as whole multiples of one or two frequencies. All that a chain without memory makes of such
 * a sum stands on their lattice, so that it can be computed on one period, or one patch, exactly.
 */
import type { SourceTone } from './world.ts'

/** A tone at m·basis[0] + n·basis[1]; x(t) = Re((re + j·im)·exp(2πj·f·t)), t from the start of the world. */
export interface LatticeTone {
  readonly m: number; readonly n: number; readonly re: number; readonly im: number
}
export interface Lattice {
  /** One or two frequencies, Hz; empty for silence. */
  readonly basisHz: readonly number[]
  readonly tones: readonly LatticeTone[]
  /** Tones on no lattice of two: weak ones are carried through linearly. */
  readonly strays: readonly SourceTone[]
}

/** The largest multiple that a tone of the source may be of a base frequency. */
const multipleMax = 40
/** Frequencies from one clock agree this well, as a share. */
const sameShare = 1e-11

export function latticeOf(tones: readonly SourceTone[]): Lattice {
  const loudFirst = tones.filter(({ peakV }) => peakV !== 0)
    .sort((a, b) => Math.abs(b.peakV) - Math.abs(a.peakV) || a.frequencyHz - b.frequencyHz)
  const basis: number[] = []
  for (const { frequencyHz: hz } of loudFirst) {
    if (placeOf(hz, basis)) continue
    const finer = basis.length === 1 ? commonBase(hz, basis[0]!) : undefined
    if (finer !== undefined) basis[0] = finer
    else if (basis.length < 2) basis.push(hz)
  }
  const placed: LatticeTone[] = []
  const strays: SourceTone[] = []
  for (const tone of loudFirst) {
    const place = placeOf(tone.frequencyHz, basis)
    if (!place) { strays.push(tone); continue }
    // A sine: Re(−j·peak·exp(j·phase)·exp(j·ω·t)).
    const { peakV, phaseRad } = tone
    placed.push({ ...place, re: peakV * Math.sin(phaseRad), im: -peakV * Math.cos(phaseRad) })
  }
  return { basisHz: basis, tones: placed, strays }
}

function placeOf(hz: number, basis: readonly number[]): { m: number; n: number } | undefined {
  const [first, second] = basis
  if (first === undefined) return undefined
  const slack = sameShare * hz
  if (second === undefined) {
    const m = Math.round(hz / first)
    return m >= 1 && m <= multipleMax && Math.abs(m * first - hz) <= slack ? { m, n: 0 } : undefined
  }
  for (let reach = 0; reach <= multipleMax; reach++) {
    for (const n of reach === 0 ? [0] : [reach, -reach]) {
      const m = Math.round((hz - n * second) / first)
      if (Math.abs(m) <= multipleMax && Math.abs(m * first + n * second - hz) <= slack) return { m, n }
    }
  }
  return undefined
}

/** The largest frequency of which both are whole multiples, where they are small ones. */
function commonBase(a: number, b: number): number | undefined {
  const ratio = a / b
  for (let q = 1; q <= multipleMax; q++) {
    const p = Math.round(ratio * q)
    if (p >= 1 && p <= multipleMax && Math.abs(p / q - ratio) <= sameShare * ratio) return a / p
  }
  return undefined
}
