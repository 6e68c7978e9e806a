/** Whether what is wrong with a part shows at all in what a parts list asks of such a part. */
import type { Component } from '../components/component.ts'
import { makeComponent } from '../components/make-component.ts'

/** As a bridge or an ohm-meter would look at it. */
const lookHz = 1000
/** What changes the impedance of a part by less than this may pass for a part that is sound (ours). */
const showsFrom = 0.01
const linear = /^(resistor|inductor|contact|.*-capacitor)$/

/**
 * Of resistors, inductors, contacts and capacitors: what is wrong changes their impedance by less than a
 * hundredth; a capacitor of another dielectric and the same value, unless class 1 was asked for. Of zeners
 * and light-emitting diodes: what they leak below their volts; of transistors less gain than their kind has,
 * but for silicon ones, of which the list of the drawer states it.
 */
export function isFaint(part: Component, seed: string): boolean {
  const { marked, kind, rating, defect } = part.truth
  if (defect === 'low-gain') return marked !== 'npn' && marked !== 'pnp'
  if (defect === 'leaky' && (marked === 'zener' || marked === 'led')) return true
  if (!linear.test(marked)) return false
  // Of class 1 little loss is asked, which class 2 does not have.
  if (marked === 'class-1-capacitor' && defect === 'mislabelled') return false
  if (defect === 'mislabelled') return marked.endsWith('-capacitor') && kind.endsWith('-capacitor')
  const sound = makeComponent(marked, rating, seed).impedance(lookHz)
  const { re, im } = part.impedance(lookHz)
  return Math.hypot(re - sound.re, im - sound.im) < showsFrom * Math.hypot(sound.re, sound.im)
}
