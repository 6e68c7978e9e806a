/**
 * What a sequence of a person's own is made of: the whole of what `nightbench/sequence` promises. It sees the
 * bench through `SequenceBench` alone, so that nothing it does goes round supervisor, envelope and proof of
 * dead. All values SI; times in seconds unless the name says otherwise.
 */
import type { z } from 'zod'
import type { PlanStep } from './application.ts'
import type { Refusal } from './refusals.ts'
import type { BenchFile } from './bench.ts'
import type { PartProfile } from './part-profile.ts'
import type { Measured } from './reading.ts'
import type { BridgeReading, RoleName } from './roles.ts'
import type { Criterion, Disposition, LoadedPart, Stage } from './run.ts'

export interface OwnSequence<P = unknown> {
  /** Small letters, digits and hyphens; no name of another sequence. */
  readonly name: string
  /** One line for lists. */
  readonly summary: string
  /** What a person confirms before a start, beside the cautions that every sequence has. */
  readonly cautions?: readonly string[]
  /** Made with `z` of this module; give every parameter a default and a reason (`.describe`). */
  readonly parameters: z.ZodType<P>
  /** Whether it puts energy on the bus. One that does not has no `connect` and no `moveBus`. */
  readonly energises: boolean
  /** Roles it needs beside those that energy needs. */
  readonly roles?: readonly RoleName[]
  /**
   * Fastest rise of the bus, V/s, 20 at most; 1 when left out. The supply's current limit follows from it.
   */
  readonly slewVPerS?: number
  /** Pure: what would be done. The program adds the envelope, with its refusals, by itself. */
  plan(input: OwnPlanInput<P>): OwnPlan
  /**
   * Called armed, with the bus at zero and all parts released. Whatever it does or throws, safe-off follows.
   */
  run(bench: SequenceBench, parameters: P): Promise<void>
}

export interface OwnPlanInput<P> {
  readonly bench: BenchFile
  readonly parts: readonly { readonly loaded: LoadedPart; readonly profile: PartProfile }[]
  readonly parameters: P
  /** The lowest rated voltage on the rack; 0 without parts. */
  readonly ratedV: number
}

export interface OwnPlan {
  /**
   * The highest the bus will go. Above it every set-point is refused. Left out where nothing is energised.
   */
  readonly targetV?: number
  /** In order, with the shortest and the longest stay; what comes after them is added by the program. */
  readonly steps: readonly PlanStep[]
  /** Reasons of its own not to start, beside those of the envelope. */
  readonly refusals?: readonly Refusal[]
  readonly warnings?: readonly string[]
}

/** One part, as it is now: its fields change while a run goes on. */
export interface BenchPart {
  readonly position: string
  readonly part: string
  readonly profile: PartProfile
  /** `dropped` once it left the run; it cannot come back. */
  readonly stage: Stage
  readonly onBus: boolean
  /** Volts on the part itself; null until measured. */
  readonly volts: number | null
  /** Last good current into the part, A; null where the last reading was not good. */
  readonly currentA: number | null
  readonly caseC: number | null
}

export type OwnStage = 'checking' | 'forming' | 'soaking' | 'watching' | 'measuring'

/** One comparison of a measured value with its limits; at least one of them. Same unit throughout. */
export interface Comparison {
  readonly name: Criterion['name']
  readonly value: number
  /** Standard uncertainty. */
  readonly u: number
  readonly unit: string
  readonly limitLow?: number
  readonly limitHigh?: number
  /** Where the limit comes from, in words. */
  readonly source: string
}

export interface FormalLeakage {
  readonly leakage: Measured
  readonly volts: number
  readonly limitA: number
  /** Seconds from arrival at voltage to the reading. */
  readonly afterS: number
  /** Where the limit comes from. */
  readonly source: string
}

/** What a sequence can do. Every call rejects when the run ends; let it: safe-off follows. */
export interface SequenceBench {
  readonly targetV: number
  readonly parts: readonly BenchPart[]
  /** Volts the bus is set to. */
  readonly setV: number
  /** Aborts when the run must end. */
  readonly signal: AbortSignal
  /** Seconds since the run was handed to the sequence. */
  elapsedS(): number
  /** What all parts are at from now on, for screens and the record. */
  stage(name: OwnStage): void
  /** A sentence for the record. */
  note(text: string, data?: Readonly<Record<string, string | number | boolean | null>>): Promise<void>
  /** Waits. */
  rest(seconds: number): Promise<void>
  /** The next good reading of `bus.voltage`, `supply.current`, `P03.current` or `P03.case`. */
  next(channel: string): Promise<Measured>
  /**
   * Puts all parts that are not dropped on the bus, at zero volts, and makes the polarity stop at a few
   * volts: parts stuck there are dropped. Once a run.
   */
  connect(): Promise<void>
  /** Moves the bus in small steps and waits until its meter agrees. Refused above the target of the plan. */
  moveBus(toV: number, slewVPerS?: number): Promise<void>
  /** Takes one part out of the run, onto its bleeder, with its verdict; the rest goes on. */
  drop(
    part: BenchPart, verdict: { grade: 'reject' | 'cannot tell'; disposition: Disposition; reason: string }
  ): Promise<void>
  /** Leakage limit of a part at `volts` from its profile, with where it comes from. */
  leakageLimit(part: BenchPart, volts: number): { limitA: number; afterS: number; source: string }
  /** The formal leakage reading of every part on the bus, one after another; words where there is none. */
  formalReadings(): Promise<ReadonlyMap<string, FormalLeakage | string>>
  /**
   * Releases all parts onto their bleeders and follows them down; by position, whether each was proved dead.
   */
  bleed(): Promise<ReadonlyMap<string, boolean>>
  /** Opens the bleeders under watch; by position, the highest volts that came back. */
  watchRecovery(seconds: number): Promise<ReadonlyMap<string, number>>
  /**
   * Capacitance, ESR and loss of a part that was proved dead and seen to give its charge back; words or null
   * where there is no reading.
   */
  bridge(part: BenchPart): Promise<BridgeReading | string | null>
  /**
   * Grades by comparison with uncertainty: the worst comparison decides. A part not proved dead gets no such
   * grade.
   */
  judge(part: BenchPart, comparisons: readonly Comparison[], more?: {
    provisional?: boolean; figures?: Readonly<Record<string, number>>
  }): void
  /** No grade, and why. */
  cannotTell(part: BenchPart, reason: string): void
}
