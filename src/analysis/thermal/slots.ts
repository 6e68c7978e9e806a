/**
 * Long records made short: means over equal slots of time, so that a fit of days costs no more than one of
 * hours.
 */
import { assert } from '../../base/assert.ts'
import type { Series } from '../trend.ts'

export interface Slots { tS: number[]; y: number[]; u: number[] }

/**
 * At most `most` points: the mean time and value of the readings in each slot, empty slots left out. `u` is
 * the random part of one reading's standard uncertainty; that of a mean of n is u/√n. Left as they are where
 * there are no more than `most`. Times in s, rising; asserts a slot or more.
 */
export function slotMeans({ tS, y, u }: Series, most = 200): Slots {
  assert(most >= 1, `a record needs a slot, got ${most}`)
  const n = y.length
  if (n <= most) return { tS: Array.from(tS), y: Array.from(y), u: Array.from(u) }
  const widthS = (tS[n - 1]! - tS[0]!) / most
  const slots: Slots = { tS: [], y: [], u: [] }
  for (let from = 0; from < n;) {
    const slot = slotOf(tS[from]!, tS[0]!, widthS, most)
    let [sumT, sumY, sumU2, count] = [0, 0, 0, 0]
    for (; from < n && slotOf(tS[from]!, tS[0]!, widthS, most) === slot; from++, count++) {
      sumT += tS[from]! - tS[0]!
      sumY += y[from]!
      sumU2 += u[from]! ** 2
    }
    slots.tS.push(tS[0]! + sumT / count)
    slots.y.push(sumY / count)
    slots.u.push(Math.sqrt(sumU2) / count)
  }
  return slots
}

const slotOf = (tS: number, startS: number, widthS: number, most: number): number =>
  Math.min(most - 1, Math.floor((tS - startS) / widthS))
