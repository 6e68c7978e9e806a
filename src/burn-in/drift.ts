/**
 * How far every quantity went between two looks under the same drive, both warm. A look is the mean of a
 * stretch of time; of each drive the first and the last are kept. s, and the units of the quantities.
 */
import type { Drift } from '../schema/unit-findings.ts'

/** Sums of one quantity over the stretch that is open: added to in place, once a second for days. */
interface Sums {
  n: number
  mean: number
  squares: number
  /** Of neighbours' deviations, and the reading before: those that resemble one another tell less. */
  products: number
  before: number
  /** Largest standard uncertainty that a reading of it stated. */
  u: number
}
export interface Mean { readonly value: number; readonly u: number; readonly scatterU: number }
/** Means by quantity, and the counted time at their middle. */
export interface Look { readonly atS: number; readonly means: Readonly<Record<string, Mean>> }

/** A good reading. */
export interface Seen { readonly of: string; readonly value: number; readonly u: number }

export class LookBook {
  readonly #lookS: number
  #open: { readonly key: string; readonly fromS: number; readonly sums: Map<string, Sums> } | null = null
  /** First and last look by drive. */
  readonly byDrive = new Map<string, { readonly first: Look; readonly last: Look }>()

  constructor(lookS: number) { this.#lookS = lookS }

  /**
   * What was read at `atS` of the counted time, warm and with every condition holding, under the drive of
   * `key`. A whole stretch makes a look; another drive, or `key` null, throws away what is open.
   */
  see(key: string | null, atS: number, seen: readonly Seen[]): void {
    if (key === null) { this.#open = null; return }
    if (this.#open !== null && this.#open.key === key && atS - this.#open.fromS >= this.#lookS) {
      const { fromS, sums } = this.#open
      const look: Look = { atS: (fromS + atS) / 2, means: meansOf(sums) }
      this.byDrive.set(key, { first: this.byDrive.get(key)?.first ?? look, last: look })
      this.#open = null
    }
    if (this.#open?.key !== key) this.#open = { key, fromS: atS, sums: new Map() }
    for (const { of, value, u } of seen) add(this.#open.sums, of, value, u)
  }
}

function add(all: Map<string, Sums>, of: string, value: number, u: number): void {
  const sums = all.get(of)
  if (sums === undefined) {
    all.set(of, { n: 1, mean: value, squares: 0, products: 0, before: value, u })
    return
  }
  const fromOld = value - sums.mean
  sums.n++
  sums.mean += fromOld / sums.n
  sums.squares += fromOld * (value - sums.mean)
  sums.products += (sums.before - sums.mean) * (value - sums.mean)
  sums.before = value
  sums.u = Math.max(sums.u, u)
}

function meansOf(sums: ReadonlyMap<string, Sums>): Look['means'] {
  return Object.fromEntries([...sums].map(([of, { n, mean, squares, products, u }]) => {
    const alike = squares > 0 ? Math.min(alikeMost, Math.max(0, products / squares)) : 0
    const scatterU = n < 2 ? 0 : Math.sqrt(squares / (n - 1) / n * (1 + alike) / (1 - alike))
    return [of, { value: mean, u: Math.hypot(u, scatterU), scatterU }]
  }))
}
/** Readings that are nearly one and the same tell of no more than a fortieth of their number (our choice). */
const alikeMost = 0.95

/**
 * One meter reads both looks: what it is off at the one it is off at the other, but for what it drifts itself
 * in hours to days, and with the room. Of its stated uncertainty so much does not cancel (our choice).
 */
const ownShare = 1 / 3

/** How a quantity goes with the mains: its share for one share of volts. */
export type MainsPower = (of: string) => number

/**
 * Drifts under the drive whose first and last look are furthest apart; none where there is one look alone.
 * What a difference of the mains between the two explains is in the uncertainty.
 */
export function driftsOf(book: LookBook, unitOf: (of: string) => string, byMains: MainsPower): Drift[] {
  const longest = [...book.byDrive.values()]
    .sort((a, b) => b.last.atS - b.first.atS - (a.last.atS - a.first.atS))[0]
  if (!longest || longest.last === longest.first) return []
  const { first, last } = longest
  const mains = [first, last].map(({ means }) => means[mainsVolts]?.value)
  const mainsShare = mains[0] && mains[1] ? mains[1] / mains[0] - 1 : 0
  return Object.entries(first.means).flatMap(([of, start]) => {
    const end = last.means[of]
    if (end === undefined) return []
    const explained = Math.abs(start.value * mainsShare * byMains(of)) / Math.sqrt(3)
    const u = Math.hypot(start.scatterU, end.scatterU, ownShare * start.u, ownShare * end.u, explained)
    return [{
      of, unit: unitOf(of), start: { value: start.value, u: start.u }, end: { value: end.value, u: end.u },
      change: end.value - start.value, u, hours: (last.atS - first.atS) / 3600,
    }]
  })
}
export const mainsVolts = 'mains.voltage'
