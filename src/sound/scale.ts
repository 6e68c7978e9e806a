/** From shares of full scale to volts: what one converter has at one setting of its controls. */
import { z } from 'zod'

/** A file that a calibration step wrote. */
export const soundScale = z.strictObject({
  nightbench: z.literal('sound-scale-1').describe('what this file is'),
  fullScaleV: z.number().positive().describe('volts, peak, that fill the converter'),
  /** Standard uncertainty as a share: that of the meter, of its setting, and of the reading. */
  uShare: z.number().min(0).max(0.5).describe('standard uncertainty of it, as a share'),
  on: z.iso.datetime().describe('when it was found'),
  note: z.string().max(500).default('').describe('which input, at which setting'),
})
export type SoundScale = z.infer<typeof soundScale>

/** The scale by a tone whose true volts a meter told. `toneRms`: in shares of full scale. */
export function scaleBy(
  told: { readonly volts: number; readonly u: number },
  toneRms: { readonly value: number; readonly u: number },
  onMs: number, note: string,
): SoundScale {
  return {
    nightbench: 'sound-scale-1', fullScaleV: told.volts / toneRms.value,
    uShare: Math.hypot(told.u / told.volts, toneRms.u / toneRms.value),
    on: new Date(onMs).toISOString(), note,
  }
}
