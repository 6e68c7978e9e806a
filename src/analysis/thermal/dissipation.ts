/**
 * Heat of an output stage in class B, of a drive programme, and what junctions come to by it. An ideal stage:
 * what its rails give less what its load gets. W, V, Ω, K/W, °C.
 */
import { assert } from '../../base/assert.ts'
import type { Estimate } from '../decay-fit.ts'

/** Mean of the rectified wave over its root mean square. */
export const meanOfRms = { sine: 2 * Math.SQRT2 / Math.PI, noise: Math.sqrt(2 / Math.PI) } as const
export type Wave = keyof typeof meanOfRms

export interface OutputStage {
  /** One rail to ground; of a stage with one supply, half of it. */
  readonly railV: number
  readonly loadOhm: number
  /** Heat without a signal, W; 0 where the ideal stage alone is meant. */
  readonly idleW?: number
}
export interface StageHeat { readonly supplyW: number; readonly heatW: number }

/** Output power of the largest sine that the rails let through, W. */
export const largestSineW = ({ railV, loadOhm }: OutputStage): number => railV ** 2 / (2 * loadOhm)

/** Most heat of an ideal stage is at this share of the largest sine, and is this share of it. */
export const worstShare = 4 / Math.PI ** 2

/**
 * What the rails give and what the devices of one channel turn to heat, all together. Idle heat is added
 * whole: a driven stage makes less of it, so the sum is at most too high. Equation read on a page on heat
 * sinks (its equation 9); noise by its mean. Asserts a sine that the rails let through.
 */
export function classBHeat(stage: OutputStage, outputW: number, wave: Wave = 'sine'): StageHeat {
  const { railV, loadOhm, idleW = 0 } = stage
  assert(railV > 0 && loadOhm > 0, 'rails and loads are above 0')
  assert(outputW >= 0 && idleW >= 0, 'powers are 0 or more')
  assert(wave !== 'sine' || outputW <= largestSineW(stage) * (1 + 1e-9),
    `${outputW} W is more than the rails let through, ${largestSineW(stage)} W`)
  const rmsV = Math.sqrt(outputW * loadOhm)
  const supplyW = railV * meanOfRms[wave] * rmsV / loadOhm + idleW
  return { supplyW, heatW: supplyW - outputW }
}

export interface DriveStep { readonly outputW: number; readonly wave: Wave; readonly forS: number }

/** Mean heat over the steps of a programme, and the hottest of them. Asserts a step that lasts. */
export function heatOfSteps(
  stage: OutputStage, steps: Iterable<DriveStep>,
): { meanW: number; mostW: number } {
  let [joules, seconds, mostW] = [0, 0, 0]
  for (const { outputW, wave, forS } of steps) {
    const { heatW } = classBHeat(stage, outputW, wave)
    joules += heatW * forS
    seconds += forS
    mostW = Math.max(mostW, heatW)
  }
  assert(seconds > 0, 'a programme lasts a while')
  return { meanW: joules / seconds, mostW }
}

/**
 * Junction temperature: `fromC` (of case or air) and the heat of one device through resistances in a row. An
 * estimate: figures of data sheets are for a case that is one temperature all over.
 */
export function junctionC(fromC: Estimate, heatW: Estimate, kPerW: readonly Estimate[]): Estimate {
  assert(kPerW.length > 0, 'heat passes through a resistance')
  const sumK = kPerW.reduce((sum, { value }) => sum + value, 0)
  const uSum = Math.hypot(...kPerW.map(({ u }) => u))
  const u = Math.hypot(fromC.u, heatW.u * sumK, heatW.value * uSum)
  return { value: fromC.value + heatW.value * sumK, u }
}

/** Most that may stand between a case and the air for a junction to stay at or below `junctionMaxC`, K/W. */
export function heatSinkMostKPerW(
  junctionMaxC: number, airC: number, heatW: number, innerKPerW: number,
): number {
  assert(heatW > 0, `a heat sink is chosen for heat, got ${heatW} W`)
  return (junctionMaxC - airC) / heatW - innerKPerW
}
