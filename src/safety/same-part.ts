/** Whether what the bridge sees in a jig is what it saw there before. Pure; SI units. */
import type { Behind, Held } from '../schema/behind.ts'
import type { ImpedanceReading } from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'

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

/** A lid or a hand beside the terminals changes so much of what lies beside them (ours). */
const besideF = 1e-12
/** Contacts that nobody touched come back within this, Ω (ours). */
const contactOhm = 0.02

/** Before it is put under volts: the very part that was measured, and nothing has touched it since. */
export function isSame(before: ImpedanceReading, now: ImpedanceReading): boolean {
  const { rOhm, xOhm } = before
  if (now.xOhm.quality !== 'good' || now.rOhm.quality !== 'good') return false
  const beside = 2 * Math.PI * before.frequencyHz * besideF * Math.hypot(rOhm.value, xOhm.value)
  const within = (one: Measured, other: Measured, slackOhm: number): boolean =>
    Math.abs(one.value - other.value) <= sameFactor * Math.hypot(one.u, other.u) + slackOhm
  return within(xOhm, now.xOhm, contactOhm + beside * Math.abs(xOhm.value))
    && within(rOhm, now.rOhm, contactOhm + 2 * beside * Math.abs(rOhm.value))
}
