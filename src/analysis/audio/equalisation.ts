/**
 * What a phono input is to do to what a record gives, dB against 1 kHz. Time constants as public pages give
 * them for IEC 60098 and the practice before it (read second hand).
 */

/** 3180, 318 and 75 µs; `iec` has 7950 µs below as well. */
const slowS = 3180e-6
const middleS = 318e-6
const fastS = 75e-6
const rumbleS = 7950e-6

const one = (hz: number, tauS: number): number => Math.hypot(1, 2 * Math.PI * hz * tauS)
const riaaGain = (hz: number): number => one(hz, middleS) / (one(hz, slowS) * one(hz, fastS))
const iecGain = (hz: number): number =>
  riaaGain(hz) * 2 * Math.PI * hz * rumbleS / one(hz, rumbleS)

const decibels = (gain: (hz: number) => number) => (hz: number): number =>
  20 * Math.log10(gain(hz) / gain(1000))

export const equalisations = { riaa: decibels(riaaGain), iec: decibels(iecGain) } as const
export type EqualisationName = keyof typeof equalisations
export const equalisationNames = Object.keys(equalisations) as EqualisationName[]
