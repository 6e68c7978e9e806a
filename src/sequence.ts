/**
 * `import { defineSequence, z } from 'nightbench/sequence'`: all that a sequence of a person's own needs.
 * What is exported here is kept stable; nothing else of this package is meant to be imported.
 */
import type { OwnSequence } from './schema/own-sequence.ts'

/** Declares a sequence with its types checked. Export it as the default of a file in `sequences/`. */
export function defineSequence<P>(sequence: OwnSequence<P>): OwnSequence<P> { return sequence }

export { z } from 'zod'
export type {
  BenchPart, Comparison, FormalLeakage, OwnPlan, OwnPlanInput, OwnSequence, OwnStage, SequenceBench,
} from './schema/own-sequence.ts'
export type { PlanStep } from './schema/application.ts'
export type { Refusal } from './schema/refusals.ts'
export type { BenchFile } from './schema/bench.ts'
export type { PartProfile } from './schema/part-profile.ts'
export type { Measured, Quality } from './schema/reading.ts'
export type { BridgeReading, RoleName } from './schema/roles.ts'
export type { Criterion, Disposition, Grade, LoadedPart, Stage } from './schema/run.ts'
