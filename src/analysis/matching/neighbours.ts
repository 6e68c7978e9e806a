import type { DistanceTable } from './distance.ts'

/** So many neighbours at one and the same distance: parts that read alike shall not crowd out all others. */
const alikeAtMost = 3

/**
 * Each part joined to its `count` nearest that may pair with it and are no further than `most`. Among those
 * at one distance the next in the order of the parts are taken, round and round, so that parts that read
 * alike form a chain. Pairs, each once. O(n²) distances.
 */
export function nearestNeighbours(
  table: DistanceTable, count: number, most = Infinity,
): [a: number, b: number][] {
  const { n } = table
  const pairs = new Map<number, [number, number]>()
  for (let a = 0; a < n; a++) {
    const near = new Nearest(count, alikeAtMost)
    for (let step = 1; step < n; step++) {
      const b = a + step < n ? a + step : a + step - n
      const distance = table.between(a, b)
      if (distance <= most && distance < Infinity) near.offer(b, distance)
    }
    for (const b of near.parts) {
      const pair: [number, number] = a < b ? [a, b] : [b, a]
      pairs.set(pair[0] * n + pair[1], pair)
    }
  }
  return [...pairs.values()]
}

/** The nearest few offered so far, nearest first, of one distance no more than `alike`. */
export class Nearest {
  readonly parts: number[] = []
  readonly distances: number[] = []
  readonly #count: number
  readonly #alike: number
  constructor(count: number, alike = count) { this.#count = count; this.#alike = alike }

  offer(part: number, distance: number): void {
    const { parts, distances } = this
    const full = parts.length === this.#count
    if (full && distance >= distances[parts.length - 1]!) return
    let at = parts.length
    while (at > 0 && distances[at - 1]! > distance) at--
    if (at >= this.#alike && distances[at - this.#alike] === distance) return
    if (full) { parts.pop(); distances.pop() }
    parts.splice(at, 0, part)
    distances.splice(at, 0, distance)
  }
}
