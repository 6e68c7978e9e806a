/**
 * Capacitors for the mains. Of class X: how long what lies across them takes to make them safe to touch once
 * the plug is out. Of class Y: what they lead to earth at the mains, reckoned from C, V and f. Pure; SI.
 */
import { formatSi } from '../../base/format.ts'
import { found, type Finding, type Proof } from '../proof.ts'
import type { Limit, MainsPart } from '../to-prove.ts'

interface Known { readonly value: number; readonly u: number }

/** Mains are up to a tenth above their nominal volts (common practice). */
export const highestV = ({ voltageV }: Pick<MainsPart, 'voltageV'>): number => 1.1 * voltageV

/** Pins of a plug: below 60 V, 2 s after it was pulled. */
export const touch = { volts: 60, afterS: 2 } as const
const touchLimit: Limit = {
  high: touch.afterS,
  source: 'below 60 V, 2 s after the plug is pulled: the time read in a printed test report form, the volts '
    + 'from memory; no text of a standard was read',
}
/** Below this no bleeder is asked for (second-hand account of an equipment standard, read). */
const exemptF = 0.1e-6

/** Time from the peak of the mains to `volts`, s. */
export const bleedS = (ohm: number, farad: number, fromV: number, volts: number): number =>
  ohm * farad * Math.log(fromV / volts)

/** The largest bleeder that makes it in time, ohms. */
export const bleederMostOhm = (
  farad: number, fromV: number, { volts, afterS }: { volts: number; afterS: number },
): number => afterS / (farad * Math.log(fromV / volts))

export const earthLeakageA = (farad: number, volts: number, hertz: number): number =>
  2 * Math.PI * hertz * farad * volts

const peakV = (mains: MainsPart): number => Math.SQRT2 * highestV(mains)

const earthLimit: Limit = {
  high: 3.5e-3,
  source: 'touch current of earthed equipment with a plug, 3.5 mA (an excerpt of an equipment standard, '
    + 'read)',
}
/** What equipment without earth may lead (from memory). */
const unearthedA = 0.25e-3

/** What it does at the mains: by where it sits, and else by what it is marked for. */
const does = (letter: 'X' | 'Y', { classes, sits }: MainsPart): boolean =>
  sits === null ? isMarked(letter, classes) : sits === (letter === 'X' ? 'across' : 'to earth')

const isMarked = (letter: string, classes: readonly string[]): boolean =>
  classes.some(name => name.startsWith(letter))

/** A part of class Y may lie across the mains too, one of class X never to earth (common practice). */
function unmarked({ classes, sits }: MainsPart): string[] {
  if (sits === null || isMarked('Y', classes)) return []
  if (sits === 'to earth') return ['it leads from the mains to earth, and carries no class Y']
  return isMarked('X', classes) ? [] : ['it lies across the mains, and carries no class X']
}

/** What its capacitance alone says. */
export function mainsFindings(mains: MainsPart, farad: Known): Proof {
  const notes = [
    'what it stands at the peaks of the mains and in surges is not shown: a dielectric test belongs to a '
      + 'qualified person',
    ...unmarked(mains),
  ]
  if (does('X', mains) && mains.bleeder === null && farad.value > exemptF) {
    const most = bleederMostOhm(farad.value, peakV(mains), touch)
    notes.push('it holds the mains when the plug is pulled: the unit needs a bleeder of at most '
      + formatSi(most, 'Ω'))
  }
  if (!does('Y', mains)) return found([], {}, notes)
  const volts = highestV(mains)
  const amps = earthLeakageA(farad.value, volts, mains.frequencyHz)
  const finding: Finding = {
    name: 'earth leakage', unit: 'A', limit: earthLimit,
    measured: { value: amps, u: amps * farad.u / farad.value },
    conditions: `reckoned for ${formatSi(volts, 'V')} and ${formatSi(mains.frequencyHz, 'Hz')}`,
  }
  if (amps > unearthedA) {
    notes.push(`it leads ${formatSi(amps, 'A', 2)} to earth: too much for a unit without an earth, where `
      + '0.25 mA are allowed (from memory)')
  }
  return found([finding], { earthLeakageA: amps }, notes)
}

/** From what flows through it at DC: how long it takes to be safe to touch. */
export function bleederFindings(
  mains: MainsPart, { voltage, current, farad }: { voltage: Known; current: Known; farad: Known },
): Proof {
  const ohm = voltage.value / current.value
  const seconds = bleedS(ohm, farad.value, peakV(mains), touch.volts)
  const u = seconds * Math.hypot(voltage.u / voltage.value, current.u / current.value, farad.u / farad.value)
  const finding: Finding = {
    name: 'time to touch-safe', unit: 's', limit: touchLimit, measured: { value: seconds, u: Math.abs(u) },
    conditions: `from ${formatSi(peakV(mains), 'V')}, by its capacitance and the bleeder across it`,
  }
  const figures = { bleederOhm: ohm, touchSafeS: seconds }
  const limit = mains.bleeder?.ohm
  if (!limit) return found([finding], figures)
  const uOhm = Math.abs(ohm) * Math.hypot(voltage.u / voltage.value, current.u / current.value)
  const resistance: Finding = {
    name: 'resistance', unit: 'Ω', limit, measured: { value: ohm, u: uOhm },
    conditions: 'of what lies across it',
  }
  return found([finding, resistance], figures)
}
