/** Shared refusals: arrays that no calculation here may be given. */
import { assert } from '../base/assert.ts'

/** Asserts that `values` holds at least `atLeast` numbers and every one is finite. */
export function assertNumbers(values: ArrayLike<number>, name: string, atLeast = 1): void {
  assert(values.length >= atLeast, `${name} needs at least ${atLeast} values, has ${values.length}`)
  assert(allFinite(values), `${name} holds a value that is not a finite number`)
}

/** Asserts that two arrays run side by side. */
export function assertSameLength(a: ArrayLike<unknown>, b: ArrayLike<unknown>, names: string): void {
  assert(a.length === b.length, `${names} differ in length: ${a.length} and ${b.length}`)
}

/** Asserts that times rise strictly. */
export function assertAscending(tS: ArrayLike<number>, name = 'tS'): void {
  assert(isAscending(tS), `${name} does not rise strictly`)
}

export function isAscending(tS: ArrayLike<number>): boolean {
  for (let i = 1; i < tS.length; i++) if (!(tS[i]! > tS[i - 1]!)) return false
  return true
}

export function allFinite(values: ArrayLike<number>): boolean {
  for (let i = 0; i < values.length; i++) if (!Number.isFinite(values[i])) return false
  return true
}

export function allPositive(values: ArrayLike<number>): boolean {
  for (let i = 0; i < values.length; i++) if (!(values[i]! > 0 && values[i]! < Infinity)) return false
  return true
}
