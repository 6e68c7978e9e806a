/** What the main thread and the store's worker say to each other. */
import { AssertionFault } from '../base/assert.ts'
import { asBenchError, BenchError, type ErrorCode, type ErrorContext } from '../base/errors.ts'
import type { Store } from '../schema/store.ts'

export type Call = keyof Store

/** A call. Readings travel as the buffer of their columns, handed over and not copied. */
export interface Request { readonly id: number; readonly call: Call; readonly given: readonly unknown[] }

export type Answer =
  | { readonly id: number; readonly value: unknown }
  | { readonly id: number; readonly fault: Fault }

/** The answer to opening carries this id. */
export const openingId = 0

interface Fault {
  readonly code: ErrorCode | 'ASSERT'; readonly message: string; readonly context: ErrorContext
}

/** An error as plain data: structured clone keeps neither its class nor its code. */
export function faultOf(error: unknown): Fault {
  if (error instanceof AssertionFault) return { code: 'ASSERT', message: error.message, context: {} }
  const { code, message, context } = asBenchError(error)
  return { code, message, context }
}

export function errorOf(fault: Fault): Error {
  if (fault.code === 'ASSERT') return new AssertionFault(fault.message)
  const error = new BenchError(fault.code, fault.message, fault.context)
  // The message is whole already; the constructor has just put the context before it once more.
  error.message = fault.message
  return error
}
