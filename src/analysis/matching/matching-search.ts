/**
 * Minimum-cost matching in a sparse general graph, where leaving a vertex without partner costs too: Edmonds'
 * primal-dual method, one tree at a time, with events in a heap (from memory of the open literature). Costs
 * are whole numbers, edge costs even: all arithmetic is then exact. In a graph with two sides no odd cycle
 * arises and this is the Hungarian method.
 *
 * What proves the result (checked by `proof.ts`): duals y, z with z >= 0, y <= cost of leaving out, and for
 * each edge y_i + y_j - (z of all blossoms holding both) <= cost.
 */
import { assert, unreachable } from '../../base/assert.ts'
import { Blossoms, type Link } from './blossoms.ts'
import { EventHeap } from './event-heap.ts'
import type { SparseGraph } from './sparse-graph.ts'

const outside = 0, even = 1, odd = 2
/** Growth of y per unit of time: vertices of the tree at even depth pay more, at odd depth less. */
const rate = [0, 1, -1] as const
const root: Link = { from: -1, to: -1 }

export class MatchingSearch {
  readonly blossoms: Blossoms
  /** Dual of each vertex. */
  readonly y: Float64Array
  readonly #graph: SparseGraph
  readonly #leftOver: Float64Array
  readonly #label: Uint8Array
  /** How a labelled outermost blossom was reached. */
  readonly #reached: Link[]
  /** Time up to which y and z are written down. */
  readonly #since: Float64Array
  readonly #events = new EventHeap()
  readonly #touched: number[] = []
  #now = 0

  /** `leftOver`: what it costs to leave each vertex without partner, a whole number. */
  constructor(graph: SparseGraph, leftOver: Float64Array) {
    this.#graph = graph
    this.#leftOver = leftOver
    this.blossoms = new Blossoms(graph.n)
    const room = this.blossoms.parent.length
    this.y = new Float64Array(graph.n)
    this.#label = new Uint8Array(room)
    this.#reached = new Array<Link>(room).fill(root)
    this.#since = new Float64Array(room)
    this.#startDuals()
    this.#startMatching()
  }

  /** Runs to the optimum. */
  run(): this {
    const { mate } = this.blossoms
    for (let v = 0; v < mate.length; v++) {
      if (mate[v]! < 0 && this.y[v]! < this.#leftOver[v]!) this.#growFrom(v)
    }
    return this
  }

  /** Half the cheapest edge, or the cost of leaving out if that is less: a dual that breaks no rule. */
  #startDuals(): void {
    const { n, start, cost } = this.#graph
    for (let v = 0; v < n; v++) {
      let least = Infinity
      for (let e = start[v]!; e < start[v + 1]!; e++) least = Math.min(least, cost[e]!)
      this.y[v] = Math.min(this.#leftOver[v]!, least / 2)
    }
  }

  /** Raises each free vertex as far as its edges allow and takes a partner that then costs nothing more. */
  #startMatching(): void {
    const { n, start, to, cost } = this.#graph
    const { mate } = this.blossoms
    for (let v = 0; v < n; v++) {
      if (mate[v]! >= 0) continue
      let room = this.#leftOver[v]!
      for (let e = start[v]!; e < start[v + 1]!; e++) room = Math.min(room, cost[e]! - this.y[to[e]!]!)
      this.y[v] = room
      for (let e = start[v]!; e < start[v + 1]! && mate[v]! < 0; e++) {
        const w = to[e]!
        if (mate[w]! < 0 && this.#slack(e) === 0) { mate[v] = w; mate[w] = v }
      }
    }
  }

  /** One tree from a free vertex: ends when it has a partner, or another vertex is left out in its place. */
  #growFrom(v: number): void {
    this.#now = 0
    this.#events.clear()
    this.#touched.length = 0
    this.#setEven(this.blossoms.top(v), root)
    let done = false
    while (!done) {
      const event = this.#events.pop()
      assert(event !== undefined, 'a matching search ran out of events')
      this.#now = event.time
      done = this.#take(event.code)
    }
    this.#endTree()
  }

  // Codes of events: entry of the edge lists; then vertices; then blossoms.
  #limitCode(v: number): number { return this.#graph.to.length + v }
  #emptyCode(b: number): number { return this.#graph.to.length + this.#graph.n + b }

  #take(code: number): boolean {
    const edges = this.#graph.to.length
    if (code < edges) return this.#takeEdge(code)
    if (code < edges + this.#graph.n) return this.#takeLimit(code - edges)
    return this.#takeEmpty(code - edges - this.#graph.n)
  }

  /** An edge from an even vertex has no slack left (or the event is stale, and is put right). */
  #takeEdge(e: number): boolean {
    const { from, to } = this.#graph
    const [i, j] = [from[e]!, to[e]!]
    const [bi, bj] = [this.blossoms.top(i), this.blossoms.top(j)]
    if (bi === bj || this.#label[bi] !== even || this.#label[bj] === odd) return false
    if (this.#slack(e) > 0) { this.#pushEdge(e); return false }
    if (this.#label[bj] === even) { this.#joinTrees(i, j); return false }
    const inner = this.blossoms.base[bj]!
    if (this.blossoms.mate[inner]! >= 0) { this.#extend(bj, { from: i, to: j }); return false }
    this.blossoms.rebase(bj, j)
    this.blossoms.mate[j] = i
    this.#augment(i, j)
    return true
  }

  /** An even vertex has come to cost as much as leaving it out: it is left out in the root's place. */
  #takeLimit(v: number): boolean {
    if (this.#label[this.blossoms.top(v)] !== even) return false
    if (this.#yNow(v) < this.#leftOver[v]!) { this.#pushLimit(v); return false }
    this.#augment(v, -1)
    return true
  }

  #takeEmpty(b: number): boolean {
    if (this.#label[b] !== odd || this.blossoms.parent[b]! >= 0 || !this.blossoms.children[b]) return false
    if (this.#zNow(b) > 0) this.#pushEmpty(b)
    else this.#expand(b)
    return false
  }

  /** Labels b odd and the blossom of its partner even. */
  #extend(b: number, link: Link): void {
    this.#setOdd(b, link)
    const base = this.blossoms.base[b]!
    const partner = this.blossoms.mate[base]!
    this.#setEven(this.blossoms.top(partner), { from: base, to: partner })
  }

  #setLabel(b: number, label: number, link: Link): void {
    this.blossoms.eachVertex(b, v => { this.#since[v] = this.#now; this.#touched.push(v) })
    this.#since[b] = this.#now
    this.#label[b] = label
    this.#reached[b] = link
  }

  #setOdd(b: number, link: Link): void {
    this.#setLabel(b, odd, link)
    if (b >= this.#graph.n) this.#pushEmpty(b)
  }

  #setEven(b: number, link: Link): void {
    this.#setLabel(b, even, link)
    this.blossoms.eachVertex(b, v => this.#scan(v))
  }

  /** Puts down when each edge of the even vertex v, and v itself, will matter. */
  #scan(v: number): void {
    this.#pushLimit(v)
    for (let e = this.#graph.start[v]!; e < this.#graph.start[v + 1]!; e++) this.#pushEdge(e)
  }

  #pushEdge(e: number): void {
    const there = this.blossoms.top(this.#graph.to[e]!)
    if (this.#label[there] === odd || there === this.blossoms.top(this.#graph.from[e]!)) return
    const slack = this.#slack(e)
    this.#events.push(this.#now + (this.#label[there] === even ? slack / 2 : slack), e)
  }

  #pushLimit(v: number): void {
    this.#events.push(this.#now + this.#leftOver[v]! - this.#yNow(v), this.#limitCode(v))
  }

  #pushEmpty(b: number): void { this.#events.push(this.#now + this.#zNow(b) / 2, this.#emptyCode(b)) }

  #yNow(v: number): number {
    const growth = rate[this.#label[this.blossoms.top(v)] as 0 | 1 | 2]
    return growth === 0 ? this.y[v]! : this.y[v]! + growth * (this.#now - this.#since[v]!)
  }

  #zNow(b: number): number {
    const growth = rate[this.#label[b] as 0 | 1 | 2]
    const then = this.blossoms.z[b]!
    return growth === 0 ? then : then + 2 * growth * (this.#now - this.#since[b]!)
  }

  /** Slack of an edge between two outermost blossoms. */
  #slack(e: number): number {
    return this.#graph.cost[e]! - this.#yNow(this.#graph.from[e]!) - this.#yNow(this.#graph.to[e]!)
  }

  /** Writes down the duals of an outermost blossom and its vertices as they stand now. */
  #settle(b: number): void {
    this.blossoms.eachVertex(b, v => this.#settleVertex(v))
    this.#settleBlossom(b)
  }

  #settleVertex(v: number): void {
    this.y[v] = this.#yNow(v)
    this.#since[v] = this.#now
  }

  #settleBlossom(b: number): void {
    if (b < this.#graph.n) return
    this.blossoms.z[b] = this.#zNow(b)
    this.#since[b] = this.#now
  }

  /** The odd cycle that the edge i–j between two even nodes closes becomes one even node. */
  #joinTrees(i: number, j: number): void {
    const [one, other] = [this.blossoms.top(i), this.blossoms.top(j)]
    const meeting = this.#meeting(one, other)
    const up = this.#wayUp(one, meeting)
    const down = this.#wayUp(other, meeting)
    const children = [meeting, ...up.nodes.reverse(), ...down.nodes]
    const links = [...up.links.reverse(), { from: i, to: j },
      ...down.links.map(({ from, to }) => ({ from: to, to: from }))]
    const wereOdd = children.filter(c => this.#label[c] === odd)
    // vertices of even children go on as before; their duals need not be written down
    for (const c of children) if (this.#label[c] === odd) this.#settle(c); else this.#settleBlossom(c)
    const b = this.blossoms.add(children, links)
    this.#label[b] = even
    this.#reached[b] = this.#reached[meeting]!
    this.#since[b] = this.#now
    for (const c of wereOdd) this.blossoms.eachVertex(c, v => this.#scan(v))
    for (const c of children) this.#label[c] = outside
  }

  #meeting(a: number, b: number): number {
    const seen = new Set<number>()
    let [one, other] = [a, b]
    for (;;) {
      if (one >= 0) {
        if (seen.has(one)) return one
        seen.add(one)
        one = this.#above(one)
      }
      [one, other] = [other, one]
    }
  }

  /** The tree node that b hangs from, -1 at the root. */
  #above(b: number): number {
    const { from } = this.#reached[b]!
    return from < 0 ? -1 : this.blossoms.top(from)
  }

  #wayUp(b: number, end: number): { nodes: number[]; links: Link[] } {
    const [nodes, links]: [number[], Link[]] = [[], []]
    for (let at = b; at !== end; at = this.#above(at)) {
      nodes.push(at)
      links.push(this.#reached[at]!)
    }
    return { nodes, links }
  }

  /** Opens an odd blossom whose dual has come to 0: its way through stays in the tree, the rest leaves it. */
  #expand(b: number): void {
    const { blossoms } = this
    this.#settle(b)
    blossoms.z[b] = 0
    const children = blossoms.children[b]!
    const k = children.indexOf(blossoms.childWith(b, this.#reached[b]!.to))
    const { step, start } = blossoms.wayToBase(b, k)
    const way: { child: number; link: Link }[] = [{ child: children.at(start)!, link: this.#reached[b]! }]
    for (let j = start; j !== 0; j += step) {
      way.push({ child: children.at(j + step)!, link: blossoms.linkAt(b, j, step) })
    }
    this.#label[b] = outside
    blossoms.remove(b)
    way.forEach(({ child }, depth) => { this.#label[child] = depth % 2 === 0 ? odd : even })
    way.forEach(({ child, link }, depth) => this.#relabel(child, depth % 2 === 0, link))
    for (const child of children) {
      if (this.#label[child] === outside) blossoms.eachVertex(child, v => this.#scanBack(v))
    }
  }

  #relabel(child: number, isOdd: boolean, link: Link): void {
    if (isOdd) { this.#setOdd(child, link); return }
    const base = this.blossoms.base[child]!
    this.#setEven(child, { from: this.blossoms.mate[base]!, to: base })
  }

  /** Edges from even vertices to v, which has just left the tree. */
  #scanBack(v: number): void {
    const { start, to } = this.#graph
    for (let e = start[v]!; e < start[v + 1]!; e++) {
      if (this.#label[this.blossoms.top(to[e]!)] === even) this.#pushEdge(this.#twin(e))
    }
  }

  /** The entry of the same edge in the other vertex's list. */
  #twin(e: number): number {
    const { start, to, from } = this.#graph
    const w = to[e]!
    for (let t = start[w]!; t < start[w + 1]!; t++) if (to[t] === from[e]) return t
    throw unreachable(e as never)
  }

  /** Even vertex v takes the partner (-1: none) and all above it change theirs, up to the root. */
  #augment(v: number, partner: number): void {
    const { blossoms } = this
    let [at, mate] = [v, partner]
    for (;;) {
      const b = blossoms.top(at)
      const above = this.#reached[b]!
      blossoms.rebase(b, at)
      blossoms.mate[at] = mate
      if (above.from < 0) return
      const oddNode = blossoms.top(above.from)
      const { from, to } = this.#reached[oddNode]!
      blossoms.rebase(oddNode, to)
      blossoms.mate[to] = from
      ;[at, mate] = [from, to]
    }
  }

  #endTree(): void {
    for (const v of this.#touched) this.#settleVertex(v)
    const nodes = new Set(this.#touched.map(v => this.blossoms.top(v)))
    for (const b of nodes) this.#settleBlossom(b)
    for (const b of nodes) this.#label[b] = outside
    for (const b of nodes) this.#open(b)
  }

  /** Opens blossoms whose dual is 0: they no longer say anything. */
  #open(b: number): void {
    if (b < this.#graph.n || this.blossoms.z[b]! > 0) return
    const children = this.blossoms.children[b]!
    this.blossoms.remove(b)
    for (const child of children) this.#open(child)
  }
}
