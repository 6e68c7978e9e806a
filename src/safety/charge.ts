/**
 * Charge that one part took while it was formed, and how much it may take before it is
 * given up. Pure; SI units.
 */
import type { Machine } from './watch.ts'

/**
 * Forming charge allowed per farad and volt (derived: about three times what a stale part of the forming
 * model needs); it bounds the gas that is made, too.
 */
export const chargeBudgetPerCv = 600

/** Coulombs that a part of `farad` may take on its way to `volts`. */
export const chargeBudgetC = (farad: number, volts: number): number => chargeBudgetPerCv * farad * volts

export interface ChargeInput { readonly atMs: number; readonly amps: number }
export interface ChargeState { readonly last: ChargeInput | null; readonly coulombs: number }

/**
 * Adds up positive current between readings. What flows back out on the bleeder is not
 * taken off: it formed nothing.
 */
export function chargeMachine(budgetC: number): Machine<ChargeState, ChargeInput> {
  return {
    fresh: { last: null, coulombs: 0 },
    step: ({ last, coulombs }, input) => {
      if (last === null) return { last: input, coulombs }
      const meanA = (Math.max(0, last.amps) + Math.max(0, input.amps)) / 2
      return { last: input, coulombs: coulombs + meanA * Math.max(0, input.atMs - last.atMs) / 1000 }
    },
    says: ({ coulombs }) => coulombs < budgetC ? null
      : `took ${coulombs.toPrecision(3)} C, ${budgetC.toPrecision(3)} C at most in one night`,
  }
}
