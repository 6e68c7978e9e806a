/** What a drop says of the part that was dropped. */
import type { Disposition, Grade } from '../schema/run.ts'

export interface Verdict { readonly grade: Grade; readonly disposition: Disposition }

/**
 * The part itself was seen past what a sound part does (an abort condemns: modelling
 * choice of the forming rules).
 */
export const condemned: Verdict = { grade: 'reject', disposition: 'replace' }

/** What was seen does not tell whether the part or its sensor is at fault. */
export const untold: Verdict = { grade: 'cannot tell', disposition: 'retest' }

/**
 * Forming goes on another night. A part that no longer improves was condemned by its sequence long before;
 * one that gets here was still on its way (design of the forming rules, modelling choice).
 */
export const unfinished: Verdict = { grade: 'cannot tell', disposition: 'form' }
