/** A figure that was measured on a unit, with what it was measured under. */
import { z } from 'zod'

export const figureQuantities = [
  'output power', 'thd', 'thd+n', 'intermodulation', 'response deviation', 'noise', 'signal to noise', 'hum',
  'separation', 'damping factor', 'input sensitivity', 'gain', 'dc offset', 'equalisation error',
  'power bandwidth low', 'power bandwidth high', 'response low', 'response high', 'overload recovery',
  'channel balance',
] as const
export type FigureQuantity = (typeof figureQuantities)[number]

/** Shares are 1 (not %), levels against another are dB. */
export const figureUnits: Readonly<Record<FigureQuantity, 'W' | '1' | 'dB' | 'V' | 'Hz' | 's'>> = {
  'output power': 'W', thd: '1', 'thd+n': '1', intermodulation: '1', 'response deviation': 'dB', noise: 'V',
  'signal to noise': 'dB', hum: 'V', separation: 'dB', 'damping factor': '1', 'input sensitivity': 'V',
  gain: 'dB', 'dc offset': 'V', 'equalisation error': 'dB', 'power bandwidth low': 'Hz',
  'power bandwidth high': 'Hz', 'response low': 'Hz', 'response high': 'Hz', 'overload recovery': 's',
  'channel balance': 'dB',
}

export const weightings = ['flat', 'A', 'C', '468'] as const
export const intermodulationForms = ['smpte', 'difference', 'transient'] as const

/**
 * Left out: does not belong to that quantity, or was not stated. SI units. A band is what was measured in
 * where a frequency stands beside it, and of noise; else it is the frequencies for which the figure holds,
 * all of them.
 */
export const conditions = z.strictObject({
  /** Of the sine that was driven. */
  frequencyHz: z.number().positive().optional(),
  bandLowHz: z.number().positive().optional(),
  bandHighHz: z.number().positive().optional(),
  /** Both tones of intermodulation. */
  toneLowHz: z.number().positive().optional(),
  toneHighHz: z.number().positive().optional(),
  loadOhm: z.number().positive().optional(),
  /**
   * The level, or what a level in dB is below. Of two tones that of a sine with their peak; of a power
   * bandwidth what its ends still give.
   */
  outputW: z.number().positive().optional(),
  outputV: z.number().positive().optional(),
  /** Share, not %. */
  distortion: z.number().positive().optional(),
  distortionOf: z.enum(['thd', 'thd+n']).optional(),
  /** Highest harmonic that is counted. */
  orders: z.number().int().min(2).optional(),
  driven: z.enum(['one', 'all']).optional(),
  weighting: z.enum(weightings).optional(),
  detector: z.enum(['rms', 'average', 'quasi-peak']).optional(),
  /** 0 where the input is shorted. */
  sourceOhm: z.number().min(0).optional(),
  form: z.enum(intermodulationForms).optional(),
  /** How products are summed, where there are several usages. */
  arithmetic: z.string().max(80).optional(),
  curve: z.enum(['riaa', 'iec']).optional(),
  /** To what a level in dB is referred, where no watts or volts say so. */
  reference: z.string().max(80).optional(),
  mainsV: z.number().positive().optional(),
  ambientC: z.number().optional(),
  /** How far the response is down at the end of a band. */
  bandDb: z.number().positive().optional(),
  /** How far beyond the level at which it clips it was driven before it recovered. */
  overloadDb: z.number().positive().optional(),
})
export type Conditions = z.infer<typeof conditions>

/**
 * Quantities that go either way from 0 have their sign. Of a deviation over a band there are two figures, the
 * most and the least.
 */
export interface Figure {
  readonly quantity: FigureQuantity
  /** Of the unit profile; null where it is of the unit as a whole. */
  readonly channel: string | null
  readonly value: number
  readonly unit: (typeof figureUnits)[FigureQuantity]
  /** Standard uncertainty, in the unit of the value. */
  readonly u: number
  /**
   * The value is at most, or at least, this: the bench could not tell it from its own floor, or was not let
   * further.
   */
  readonly bound?: 'at most' | 'at least'
  readonly conditions: Conditions
  /** What the figure rests on and leaves out, one sentence each. */
  readonly notes: readonly string[]
}
