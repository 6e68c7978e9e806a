/** Whether what the bridge sees in a jig is what it saw there before. Pure; SI units. */
import type { Behind, Held } from '../schema/behind.ts'
import type { ImpedanceReading } from '../schema/jig.ts'

/** What two readings of one part differ by is less, in their standard uncertainties. */
const sameFactor = 6
/** Volts change class 2 ceramic and oxide by a few per cent, a clip that let go by much more. */
const nearShare = 0.1

type Seen = Pick<Behind, 'xOhm' | 'xU'>

/** By what it is known again; null: by nothing. */
export const seenOf = (reading: ImpedanceReading | null): Omit<Held, 'volts' | 'forMs'> => ({
  frequencyHz: reading?.frequencyHz ?? null, levelV: reading?.levelV ?? null,
  xOhm: reading?.xOhm.value ?? null, xU: reading?.xOhm.u ?? null,
})

/** After it was under volts. What was never seen is not seen again. */
export function isNear({ xOhm, xU }: Seen, now: ImpedanceReading): boolean {
  if (xOhm === null || xU === null || now.xOhm.quality !== 'good') return false
  const apart = Math.abs(now.xOhm.value - xOhm)
  return apart <= Math.max(nearShare * Math.abs(xOhm), sameFactor * Math.hypot(now.xOhm.u, xU))
}
