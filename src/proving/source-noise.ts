/**
 * The noise of the muted generator: what the unit makes of it is not the unit's own. In loop-back it is heard
 * together with that of the digitizer and of the source resistance; data sheets say what each has at most.
 */
import { audioBand } from '../analysis/audio/spectrum.ts'
import { silentAt, silentPower } from './floor.ts'
import { loopRange } from './listen.ts'
import type { Known } from './port.ts'
import type { Proving } from './proving.ts'

const boltzmann = 1.380649e-23
const roomK = 295

/** V²/Hz into an open end: the middle between what it has at least and at most, equal chance between. */
export function generatorDensity(proving: Proving, channel: string, sampleHz: number): Known {
  const { generator, digitizer } = proving.port
  const rangeV = loopRange(proving, Math.min(...digitizer.rangesV))
  const silence = silentAt(proving.floor, channel, rangeV, sampleHz)
  if (silence === null) return { value: 0, u: 0 }
  const told = silentPower(silence, audioBand)
  const heard = told.value / (audioBand.toHz - audioBand.fromHz)
  const most = Math.min(heard, (generator.noiseVPerRootHz ?? Infinity) ** 2)
  const others = (digitizer.noiseVPerRootHz ?? Infinity) ** 2 + 4 * boltzmann * roomK * generator.sourceOhm
  const least = Math.min(most, Math.max(0, heard - others))
  const apartU = (most - least) / 2 / Math.sqrt(3)
  return { value: (most + least) / 2, u: Math.hypot(apartU, told.u / told.value * most) }
}
