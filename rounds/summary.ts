/** The figures of one kind of round. */
import type { Kind } from './kinds.ts'
import type { RoundOutcome } from './round.ts'

export interface KindSummary {
  kind: string
  rounds: number
  /** Rounds in which energy was on when it happened: those that have a time to off. */
  live: number
  energised: number
  shownReadings: number
  lostReadings: number
  corrupt: number
  offMsP50: number | null
  offMsP99: number | null
  offMsMost: number | null
  /** What the 99th percentile should be at most, and how a full disk was made. */
  statedMs: number | null
  disk: string | null
}

export function summary(kind: Kind, outcomes: readonly RoundOutcome[], disk: string | null): KindSummary {
  const offMs = outcomes.flatMap(({ offMs: ms }) => ms ?? []).sort((a, b) => a - b)
  const sum = (of: (outcome: RoundOutcome) => number): number =>
    outcomes.reduce((total, one) => total + of(one), 0)
  return {
    kind: kind.name, rounds: outcomes.length, live: offMs.length,
    energised: sum(({ energised }) => energised === null ? 0 : 1),
    shownReadings: sum(({ shownReadings }) => shownReadings),
    lostReadings: sum(({ lostReadings }) => lostReadings),
    corrupt: sum(({ corrupt }) => corrupt === null ? 0 : 1),
    offMsP50: quantile(offMs, 0.5), offMsP99: quantile(offMs, 0.99), offMsMost: offMs.at(-1) ?? null,
    statedMs: kind.p99Ms, disk,
  }
}

/** The smallest that this share of them does not exceed: of fewer than a hundred, the 99th is the most. */
function quantile(sorted: readonly number[], share: number): number | null {
  return sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)] ?? null
}

export function tableLine(one: KindSummary): string {
  const ms = (value: number | null): string => (value === null ? '–' : value.toFixed(0)).padStart(6)
  const count = (value: number): string => String(value).padStart(4)
  return `${one.kind.padEnd(16)} rounds ${count(one.rounds)}  live ${count(one.live)}`
    + `  energised ${one.energised}  lost ${one.lostReadings} of ${one.shownReadings}  corrupt ${one.corrupt}`
    + `  off p50 ${ms(one.offMsP50)}  p99 ${ms(one.offMsP99)}  stated ${ms(one.statedMs)} ms`
    + (one.disk === null ? '' : `  (${one.disk})`)
}
