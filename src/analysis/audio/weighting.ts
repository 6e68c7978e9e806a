/** How much noise of each frequency counts, as a gain that is 1 at 1 kHz. */

/** Poles of the A and C curves, Hz (IEC 61672-1, Annex E, by a second-hand transcription; re-derived). */
const poles = {
  f1: 20.598997057618316, f2: 107.65264864304629, f3: 737.8622307362901, f4: 12194.217147998012,
} as const

const cRaw = (hz: number): number => {
  const f2 = hz * hz
  return poles.f4 ** 2 * f2 / ((f2 + poles.f1 ** 2) * (f2 + poles.f4 ** 2))
}
const aRaw = (hz: number): number => {
  const f2 = hz * hz
  return cRaw(hz) * f2 / Math.sqrt((f2 + poles.f2 ** 2) * (f2 + poles.f3 ** 2))
}

/** The network of ITU-R BS.468 as polynomials in Hz; coefficients from memory, held to its table. */
function noiseRaw(hz: number): number {
  const f2 = hz * hz
  const h1 = ((-4.737338981378384e-24 * f2 + 2.043828333606125e-15) * f2 - 1.363894795463638e-7) * f2 + 1
  const h2 = hz * ((1.306612257412824e-19 * f2 - 2.118150887518656e-11) * f2 + 5.559488023498642e-4)
  return hz / Math.hypot(h1, h2)
}

/** Gains, 1 at 1 kHz. `itu468` is the curve alone: its quasi-peak meter is not part of it. */
export const weightings = {
  flat: (): number => 1,
  A: (hz: number): number => aRaw(hz) / aRaw(1000),
  C: (hz: number): number => cRaw(hz) / cRaw(1000),
  itu468: (hz: number): number => noiseRaw(hz) / noiseRaw(1000),
} as const

export type WeightingName = keyof typeof weightings
export const weightingNames = Object.keys(weightings) as WeightingName[]

/** What a result must be called: which detector read it belongs to it. */
export const weightingTitles: Record<WeightingName, string> = {
  flat: 'unweighted, RMS', A: 'A-weighted, RMS', C: 'C-weighted, RMS',
  itu468: 'ITU-R 468 curve, RMS (not quasi-peak)',
}
