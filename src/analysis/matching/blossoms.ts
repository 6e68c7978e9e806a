/**
 * The nested odd cycles ("blossoms") of a matching search, and the matching itself. Vertices are 0…n-1,
 * blossoms take numbers from n up. Edmonds' structure, from memory of the open literature.
 */

/** An edge as two vertices: `from` in one child or tree node, `to` in the next. */
export interface Link { from: number; to: number }

export class Blossoms {
  readonly n: number
  /** Partner of each vertex, -1 when it has none. */
  readonly mate: Int32Array
  /** The blossom a vertex or blossom lies in directly, -1 when outermost. */
  readonly parent: Int32Array
  /** The vertex of each blossom whose partner is outside (or that has none). */
  readonly base: Int32Array
  /** Dual of each blossom, 0 or more. */
  readonly z: Float64Array
  /** Children in cyclic order, the one with the base first; link k joins child k to the next. */
  readonly children: (number[] | undefined)[]
  readonly links: (Link[] | undefined)[]
  readonly #unused: number[] = []
  // Vertices of a blossom stand in one chain, first and last known: the chains of its children, joined.
  readonly #first: Int32Array
  readonly #last: Int32Array
  readonly #next: Int32Array
  readonly #size: Int32Array
  // Each vertex knows its set, each set its outermost blossom: joining relabels the smaller sets alone.
  readonly #set: Int32Array
  readonly #topOfSet: Int32Array
  readonly #unusedSets: number[] = []

  constructor(n: number) {
    const room = n + (n >> 1) + 1
    this.n = n
    this.mate = new Int32Array(n).fill(-1)
    this.parent = new Int32Array(room).fill(-1)
    this.base = Int32Array.from({ length: room }, (_, v) => v)
    this.z = new Float64Array(room)
    this.children = new Array<number[] | undefined>(room)
    this.links = new Array<Link[] | undefined>(room)
    for (let b = room - 1; b >= n; b--) this.#unused.push(b)
    const itself = (_: unknown, v: number): number => v
    this.#first = Int32Array.from({ length: room }, itself)
    this.#last = Int32Array.from({ length: room }, itself)
    this.#next = new Int32Array(n).fill(-1)
    this.#size = new Int32Array(room).fill(1)
    this.#set = Int32Array.from({ length: n }, itself)
    this.#topOfSet = Int32Array.from({ length: n }, itself)
  }

  /** Outermost blossom (or the vertex itself) that holds vertex v. */
  top(v: number): number { return this.#topOfSet[this.#set[v]!]! }

  /** Calls `visit` with every vertex inside b. */
  eachVertex(b: number, visit: (v: number) => void): void {
    const last = this.#last[b]!
    for (let v = this.#first[b]!; ; v = this.#next[v]!) {
      visit(v)
      if (v === last) return
    }
  }

  /** Every vertex inside b, as a list. */
  vertices(b: number): number[] {
    const list: number[] = []
    this.eachVertex(b, v => { list.push(v) })
    return list
  }

  /** Makes a blossom of `children`, which were outermost; the first holds the base. */
  add(children: number[], links: Link[]): number {
    const b = this.#unused.pop()!
    this.children[b] = children
    this.links[b] = links
    this.base[b] = this.base[children[0]!]!
    this.parent[b] = -1
    this.z[b] = 0
    for (const child of children) this.parent[child] = b
    this.#chain(b, children)
    this.#joinSets(b, children)
    return b
  }

  #chain(b: number, children: number[]): void {
    this.#first[b] = this.#first[children[0]!]!
    this.#last[b] = this.#last[children.at(-1)!]!
    for (let k = 1; k < children.length; k++) {
      this.#next[this.#last[children[k - 1]!]!] = this.#first[children[k]!]!
    }
    this.#size[b] = children.reduce((total, child) => total + this.#size[child]!, 0)
  }

  #joinSets(b: number, children: number[]): void {
    const largest = this.#largest(children)
    const set = this.#set[this.#first[largest]!]!
    this.#topOfSet[set] = b
    for (const child of children) {
      if (child === largest) continue
      this.#unusedSets.push(this.#set[this.#first[child]!]!)
      this.eachVertex(child, v => { this.#set[v] = set })
    }
  }

  #largest(children: number[]): number {
    return children.reduce((most, child) => (this.#size[child]! > this.#size[most]! ? child : most))
  }

  /** Takes the outermost blossom b apart; its children become outermost. */
  remove(b: number): void {
    const children = this.children[b]!
    const largest = this.#largest(children)
    for (const child of children) {
      this.parent[child] = -1
      const set = child === largest ? this.#set[this.#first[child]!]! : this.#unusedSets.pop()!
      this.#topOfSet[set] = child
      if (child !== largest) this.eachVertex(child, v => { this.#set[v] = set })
    }
    this.children[b] = undefined
    this.links[b] = undefined
    this.#unused.push(b)
  }

  /** The child of b that holds vertex v. */
  childWith(b: number, v: number): number {
    let t = v
    while (this.parent[t] !== b) t = this.parent[t]!
    return t
  }

  /** From child `k` to the base child along an even number of links: the index step and the wrapped start. */
  wayToBase(b: number, k: number): { step: 1 | -1; start: number } {
    return k % 2 === 1 ? { step: 1, start: k - this.children[b]!.length } : { step: -1, start: k }
  }

  /** Child number j and the link from it to the child `step` further on, as (from, to). */
  linkAt(b: number, j: number, step: 1 | -1): Link {
    const links = this.links[b]!
    if (step === 1) return links.at(j)!
    const { from, to } = links.at(j - 1)!
    return { from: to, to: from }
  }

  /** Makes v the base of b (which may be v itself) by changing partners along the way inside. */
  rebase(b: number, v: number): void {
    if (b < this.n) return
    const child = this.childWith(b, v)
    this.rebase(child, v)
    const children = this.children[b]!
    const k = children.indexOf(child)
    const { step, start } = this.wayToBase(b, k)
    for (let j = start; j !== 0; j += 2 * step) {
      const { from, to } = this.linkAt(b, j + step, step)
      this.rebase(children.at(j + step)!, from)
      this.rebase(children.at(j + 2 * step)!, to)
      this.mate[from] = to
      this.mate[to] = from
    }
    this.children[b] = [...children.slice(k), ...children.slice(0, k)]
    this.links[b] = [...this.links[b]!.slice(k), ...this.links[b]!.slice(0, k)]
    this.base[b] = v
  }
}
