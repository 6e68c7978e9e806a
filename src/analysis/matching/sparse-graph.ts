/** A graph held as lists of neighbours in flat arrays; each edge stands in both its vertices' lists. */
export interface SparseGraph {
  n: number
  /** Neighbours of v are entries start[v] … start[v+1]-1. */
  start: Int32Array
  to: Int32Array
  cost: Float64Array
  /** The vertex whose list an entry stands in. */
  from: Int32Array
}

/** Builds the lists; `edges` are vertex pairs, each once, in any order. */
export function sparseGraph(
  n: number, edges: readonly (readonly [a: number, b: number])[], costOf: (a: number, b: number) => number,
): SparseGraph {
  const start = new Int32Array(n + 1)
  for (const [a, b] of edges) { start[a + 1]!++; start[b + 1]!++ }
  for (let v = 0; v < n; v++) start[v + 1] = start[v + 1]! + start[v]!
  const next = start.slice(0, n)
  const [to, from] = [new Int32Array(2 * edges.length), new Int32Array(2 * edges.length)]
  const cost = new Float64Array(2 * edges.length)
  for (const [a, b] of edges) {
    const value = costOf(a, b)
    for (const [u, v] of [[a, b], [b, a]] as const) {
      const entry = next[u]!++
      from[entry] = u
      to[entry] = v
      cost[entry] = value
    }
  }
  return { n, start, to, cost, from }
}
