/**
 * Flash-overs inside a part: its volts fall in one step at a bus that stands still, and
 * come back. Pure; SI units.
 */
import type { Machine } from './watch.ts'

export interface FlashInput {
  readonly busV: number
  /** Set-point of the bus: only readings at one set-point are compared. */
  readonly askedV: number
  readonly partV: number
}

export interface FlashState {
  readonly last: FlashInput | null
  /** Volts lost in the step that the last reading showed; 0 where it showed none. */
  readonly stepV: number
  readonly flashV: number
  readonly atV: number
}

/**
 * A step of the part's volts of this share ends the forming (trade reference, modelling
 * choice of its authors).
 */
export const flashShare = 0.02
/** A bus that moved more than this share between two readings explains a step by itself. */
const stillShare = 0.005
/** Come back by this share of the step: what stays down is a short, and the current limit's. */
const backShare = 0.5

export const flashMachine: Machine<FlashState, FlashInput> = {
  fresh: { last: null, stepV: 0, flashV: 0, atV: 0 },
  step: ({ last, stepV, flashV, atV }, input) => {
    const isStill = last !== null && input.askedV === last.askedV && input.askedV > 0
      && Math.abs(input.busV - last.busV) < stillShare * input.askedV
    if (!isStill) return { last: input, stepV: 0, flashV, atV }
    if (stepV > 0 && input.partV - last.partV >= backShare * stepV) {
      return { last: input, stepV: 0, flashV: stepV, atV: last.busV }
    }
    const fellV = last.partV - input.partV
    return { last: input, stepV: fellV >= flashShare * input.askedV ? fellV : 0, flashV, atV }
  },
  says: ({ flashV, atV }) => flashV > 0
    ? `lost ${flashV.toPrecision(3)} V of ${atV.toFixed(0)} V in one step and took them up again: `
      + 'it flashes over inside, or its contact is loose'
    : null,
}
