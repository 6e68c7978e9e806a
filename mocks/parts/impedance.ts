/** What a bridge sees of a part: electrolyte in line with lossy oxide, leakage and absorption branches. */
import { formedAtRatio } from './truth.ts'
import type { PartTruth } from './truth.ts'

export interface Complex { re: number; im: number }
export interface SmallSignal { hertz: number; shuntS: number; electrolyteOhm: number; formedRatio: number }

const referenceHz = 120

/**
 * Impedance at a small signal without bias, ohm. The oxide's loss tangent is constant, so its capacitance
 * must fall as f^-p with p = 2/π·atan(loss). Oxide that has de-formed is thinner and reads high
 * (`deformedExcess`).
 */
export function impedanceOf(truth: PartTruth, at: SmallSignal): Complex {
  const w = 2 * Math.PI * at.hertz
  const fall = 2 / Math.PI * Math.atan(truth.oxideLoss)
  const deformed = Math.max(0, 1 - at.formedRatio / formedAtRatio)
  const c = truth.capacitanceF * (1 + truth.deformedExcess * deformed) * (at.hertz / referenceHz) ** -fall
  let g = at.shuntS + w * c * truth.oxideLoss
  let b = w * c
  for (const branch of truth.branches) {
    const wt = w * branch.timeConstantS
    const scale = branch.capacitanceF / branch.timeConstantS * wt / (1 + wt * wt)
    g += scale * wt
    b += scale
  }
  const y2 = g * g + b * b
  return { re: at.electrolyteOhm + g / y2, im: -b / y2 }
}
