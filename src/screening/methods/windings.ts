/** Which of four legs are a winding: two pairs that conduct, and nothing between them. */
import type { Jig, Pair } from '../../schema/jig.ts'

/** More than this is no winding (common practice: the finest have some kilohms). */
export const mostWindingOhm = 1e4

export const sixPairs: readonly Pair[] = [
  { high: 1, low: 2 }, { high: 3, low: 4 }, { high: 1, low: 3 }, { high: 1, low: 4 }, { high: 2, low: 3 },
  { high: 2, low: 4 },
]

export type FoundWindings =
  | readonly [Pair, Pair]
  | { readonly fault: 'open' | 'other kind'; readonly says: string }

export async function findWindings(jig: Jig): Promise<FoundWindings> {
  const through: Pair[] = []
  for (const pair of sixPairs) {
    const { quality } = await jig.resistance(pair, { mostOhm: mostWindingOhm, wires: 2 })
    if (quality === 'good') through.push(pair)
  }
  return judgeWindings(through)
}

/** Pure: what it means that these of the six pairs conduct. */
export function judgeWindings(through: readonly Pair[]): FoundWindings {
  const [first, second] = through
  if (!first) return { fault: 'open', says: 'no winding conducts' }
  const apart = (one: Pair, other: Pair): boolean =>
    new Set([one.high, one.low, other.high, other.low]).size === 4
  if (!second) {
    const { high, low } = sixPairs.find(pair => apart(pair, first))!
    return { fault: 'open', says: `the winding between legs ${high} and ${low} is open` }
  }
  if (through.length === 2 && apart(first, second)) return [first, second]
  const words = through.map(({ high, low }) => `${high} and ${low}`).join(', ')
  return { fault: 'other kind', says: `legs ${words} conduct: no two windings apart from each other` }
}
