/**
 * How far every quantity went between two looks under the same drive, both warm. A look is the mean of a
 * stretch of time; of each drive the first and the last are kept. Pure; s, and the units of the quantities.
 */
import type { Drift } from '../schema/unit-findings.ts'

/** Sums of one quantity over the stretch that is open. */
interface Sums {
  readonly n: number; readonly mean: number; readonly squares: number
  /** Of neighbours' deviations, and the reading before: those that resemble one another tell less. */
  readonly products: number; readonly before: number
  /** Largest standard uncertainty that a reading of it stated. */
  readonly u: number
}
export interface Mean { readonly value: number; readonly u: number; readonly scatterU: number }
/** Means by quantity, and the counted time at their middle. */
export interface Look { readonly atS: number; readonly means: Readonly<Record<string, Mean>> }

export interface Stretch {
  readonly key: string
  readonly fromS: number
  readonly sums: Readonly<Record<string, Sums>>
}
export interface LookBook {
  readonly open: Stretch | null
  /** First and last look by drive. */
  readonly byDrive: Readonly<Record<string, { readonly first: Look; readonly last: Look }>>
}
export const freshBook: LookBook = { open: null, byDrive: {} }

/** A good reading. */
export interface Seen { readonly of: string; readonly value: number; readonly u: number }

/**
 * What was read at `atS` of the counted time, warm and with every condition holding, under the drive of
 * `key`. A stretch of `lookS` makes a look; another drive, or `key` null, throws away what is open.
 */
export function seeAt(
  book: LookBook, lookS: number, key: string | null, atS: number, seen: readonly Seen[],
): LookBook {
  if (key === null) return book.open === null ? book : { ...book, open: null }
  const { open } = book
  if (open === null || open.key !== key) return { ...book, open: { key, fromS: atS, sums: summed({}, seen) } }
  if (atS - open.fromS < lookS) return { ...book, open: { ...open, sums: summed(open.sums, seen) } }
  const look: Look = { atS: (open.fromS + atS) / 2, means: meansOf(open.sums) }
  const first = book.byDrive[key]?.first ?? look
  return {
    open: { key, fromS: atS, sums: summed({}, seen) },
    byDrive: { ...book.byDrive, [key]: { first, last: look } },
  }
}

function summed(before: Stretch['sums'], seen: readonly Seen[]): Stretch['sums'] {
  if (seen.length === 0) return before
  const sums = { ...before }
  for (const { of, value, u } of seen) sums[of] = added(sums[of], value, u)
  return sums
}

function added(sums: Sums | undefined, value: number, u: number): Sums {
  if (sums === undefined) return { n: 1, mean: value, squares: 0, products: 0, before: value, u }
  const n = sums.n + 1
  const mean = sums.mean + (value - sums.mean) / n
  return {
    n, mean, before: value, u: Math.max(sums.u, u),
    squares: sums.squares + (value - sums.mean) * (value - mean),
    products: sums.products + (sums.before - mean) * (value - mean),
  }
}

function meansOf(sums: Stretch['sums']): Look['means'] {
  return Object.fromEntries(Object.entries(sums).map(([of, { n, mean, squares, products, u }]) => {
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
  const longest = Object.values(book.byDrive)
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
