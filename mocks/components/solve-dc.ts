/**
 * What a part does at DC with up to two sources on it. Each source stands in one of three states: it forces
 * its value, or its limit holds it on one side or the other. For given states the volts come from Newton's
 * rounds with limited steps; then one source whose state does not fit changes it, until all fit.
 */
import type { Conditions, DcStamp, Slope } from './element.ts'
import { solveReal } from './linear.ts'
import type { Network } from './network.ts'

/** A source with its high lead at terminal `high`, its low lead at `low`; `limit` of the other quantity. */
export interface Drive {
  readonly high: number
  readonly low: number
  readonly mode: 'voltage' | 'current'
  readonly value: number
  readonly limit: number
}

export interface DriveResult { readonly volts: number; readonly amps: number; readonly limited: boolean }

export interface DcResult {
  /** Of each terminal, against terminal 0 or the low lead of the first source. */
  readonly volts: readonly number[]
  /** Of all nodes, those inside too. */
  readonly nodeVolts: readonly number[]
  /** Into each terminal, A. */
  readonly amps: readonly number[]
  readonly drives: readonly DriveResult[]
  /** Rounds that it took, and the current that is left over at the worst node, A. */
  readonly rounds: number
  readonly leftA: number
}

/** Insulation of nodes that hang in the air, which gives them a voltage; and of those that a source holds. */
const airS = 1e-13
const heldS = 1e-15
const roundsMax = 400
const changesMax = 24
/** Steps in which sources are raised where need be. */
const raisesMax = 200
/**
 * How close two rounds must come, until that many rounds: a node that hangs on teraohms beside ohms has volts
 * that rounding moves, by a hundredth of a millivolt at times.
 */
const voltsClose = [[30, 1e-9], [100, 1e-6], [200, 1e-4], [Infinity, 1e-3]] as const
/**
 * Most volts that a node moves in one round, until that many rounds: a node in the air would go to a million,
 * and rounds that go to and fro between two places end when they are short.
 */
const stepsMaxV = [[60, 10], [140, 1], [240, 0.1], [roundsMax, 0.01]] as const
/** How far beyond its bounds a current gets its volts. */
const yieldV = 1e-3

type State = 'force' | 'high' | 'low'
interface Solution { readonly x: Float64Array; readonly rounds: number }

export function solveDc(network: Network, drives: readonly Drive[], conditions: Conditions): DcResult {
  const direct = settled(new System(network, drives, conditions), drives.map(() => 'force'))
  if (direct !== null) return direct
  return raised(network, drives, conditions)
}

/** Where all at once leads nowhere, sources are raised little by little, each step from the one before. */
function raised(network: Network, drives: readonly Drive[], conditions: Conditions): DcResult {
  let system = new System(network, drives, conditions)
  const states: State[] = drives.map(() => 'force')
  for (let share = 1 / raisesMax; share <= 1; share += 1 / raisesMax) {
    const lower = drives.map(drive => ({ ...drive, value: drive.value * share, limit: drive.limit * share }))
    const next = new System(network, lower, conditions, system)
    settled(next, states)
    system = next
  }
  const result = settled(new System(network, drives, conditions, system), states)
  if (result === null) throw new Error('the network has no solution')
  return result
}

/** Solves, and changes `states` one at a time until all fit; null where the rounds do not end. */
function settled(system: System, states: State[]): DcResult | null {
  for (let change = 0; change < changesMax; change++) {
    const solution = system.solve(states)
    if (solution === null) return null
    const next = misfit(system, states, solution)
    if (next === null) return system.result(states, solution)
    states[next.index] = next.state
  }
  return null
}

/** States are not changed for the rounding of a solution. */
const slackShare = 1e-9

/** Which source stands in a state that does not fit, and the one it goes to. */
function misfit(
  system: System, states: readonly State[], { x }: Solution,
): { index: number; state: State } | null {
  for (const [index, drive] of system.drives.entries()) {
    const state = states[index]!
    const { volts, amps } = system.seen(index, x)
    const [forced, other] = drive.mode === 'voltage' ? [volts, amps] : [amps, volts]
    const most = drive.limit * (1 + slackShare)
    const slack = slackShare * Math.abs(drive.value) + 1e-18
    if (state === 'force' && other > most) return { index, state: 'high' }
    if (state === 'force' && other < -most) return { index, state: 'low' }
    if (state === 'high' && forced > drive.value + slack) return { index, state: 'force' }
    if (state === 'low' && forced < drive.value - slack) return { index, state: 'force' }
  }
  return null
}

class System implements DcStamp {
  readonly drives: readonly Drive[]
  readonly #network: Network
  readonly #conditions: Conditions
  readonly #reference: number
  readonly #held: ReadonlySet<number>
  readonly #size: number
  readonly #matrix: Float64Array
  readonly #right: Float64Array
  readonly #left: Float64Array
  readonly #elementStates: readonly Float64Array[]
  #volts: Float64Array
  /** Current that leaves each node by the elements, at the volts of this round. */
  #leaving: Float64Array

  /** `from`: where the solution begins; at no volts when left out. */
  constructor(network: Network, drives: readonly Drive[], conditions: Conditions, from?: System) {
    this.#network = network
    this.drives = drives
    this.#conditions = conditions
    this.#reference = drives[0]?.low ?? 0
    this.#held = new Set(drives.flatMap(({ high, low }) => [high, low]))
    this.#size = network.nodes + drives.length
    this.#matrix = new Float64Array(this.#size ** 2)
    this.#right = new Float64Array(this.#size)
    this.#left = new Float64Array(this.#size)
    this.#volts = from ? from.#volts.slice() : new Float64Array(network.nodes)
    this.#leaving = new Float64Array(network.nodes)
    this.#elementStates = network.elements.map(({ states }, i) =>
      from ? from.#elementStates[i]!.slice() : new Float64Array(states))
  }

  current(from: number, to: number, amps: number, slopes: readonly Slope[]): void {
    const n = this.#size
    let constant = amps
    for (const [node, siemens] of slopes) {
      this.#matrix[from * n + node]! += siemens
      this.#matrix[to * n + node]! -= siemens
      constant -= siemens * this.#volts[node]!
    }
    this.#right[from]! -= constant
    this.#right[to]! += constant
    this.#leaving[from]! += amps
    this.#leaving[to]! -= amps
  }

  /** From where the last solution stands; null where the rounds do not end or lead nowhere. */
  solve(states: readonly State[]): Solution | null {
    for (let rounds = 0; rounds < roundsMax; rounds++) {
      const exact = this.#steadyRound(states)
      if (exact === null) return null
      const mostV = stepsMaxV.find(([until]) => rounds < until)![1]
      let furthest = 0
      for (let node = 0; node < this.#network.nodes; node++) {
        const step = this.#left[node]! - this.#volts[node]!
        furthest = Math.max(furthest, Math.abs(step) / (1 + Math.abs(this.#left[node]!)))
        this.#volts[node] = Math.abs(step) <= mostV ? this.#left[node]!
          : this.#volts[node]! + Math.sign(step) * mostV
      }
      const close = voltsClose.find(([until]) => rounds < until)![1]
      if (exact && furthest < close) return { x: this.#left.slice(), rounds }
    }
    return null
  }

  /** Volts across a source and amperes out of its high lead. */
  seen(index: number, x: Float64Array): { volts: number; amps: number } {
    const { high, low } = this.drives[index]!
    const volts = x[high]! - x[low]!
    return { volts, amps: x[this.#network.nodes + index]! }
  }

  result(states: readonly State[], { x, rounds }: Solution): DcResult {
    this.#round(states, 0)
    const { terminals, nodes } = this.#network
    const drives = this.drives.map((_, index) =>
      ({ ...this.seen(index, x), limited: states[index] !== 'force' }))
    const amps = Array.from({ length: terminals }, () => 0)
    drives.forEach((drive, index) => {
      amps[this.drives[index]!.high]! += drive.amps
      amps[this.drives[index]!.low]! -= drive.amps
    })
    let leftA = 0
    for (let node = 0; node < nodes; node++) {
      if (node === this.#reference) continue
      leftA = Math.max(leftA, Math.abs(this.#leaving[node]! - (amps[node] ?? 0)))
    }
    const nodeVolts = Array.from(x.subarray(0, nodes))
    return { volts: nodeVolts.slice(0, terminals), nodeVolts, amps, drives, rounds, leftA }
  }

  /** A round; where it leads nowhere, one that holds every node to where it stands, as loosely as will do. */
  #steadyRound(states: readonly State[]): boolean | null {
    for (const holdS of [0, 1e-9, 1e-3, 1e3]) {
      const exact = this.#round(states, holdS)
      if (exact !== null && this.#left.every(value => Math.abs(value) < 1e30)) return exact && holdS === 0
    }
    return null
  }

  /**
   * One linear solution about `volts`, into `left`: whether all elements were linearised where they stand,
   * null where there is none. `holdS`: from each node to the volts that it has.
   */
  #round(states: readonly State[], holdS: number): boolean | null {
    const n = this.#size
    this.#matrix.fill(0)
    this.#right.fill(0)
    this.#leaving.fill(0)
    let exact = true
    this.#network.elements.forEach((element, i) => {
      if (!element.dc(this.#volts, this.#elementStates[i]!, this, this.#conditions)) exact = false
    })
    const reference = this.#reference
    for (let node = 0; node < this.#network.nodes; node++) {
      const siemens = this.#held.has(node) ? heldS : airS
      this.current(node, reference, siemens * this.#volts[node]!, [[node, siemens]])
      this.#matrix[node * n + node]! += holdS
      this.#right[node]! += holdS * this.#volts[node]!
    }
    this.drives.forEach((drive, index) => this.#source(drive, states[index]!, index))
    // The reference is at zero volts; what it takes is what all others give.
    this.#matrix.fill(0, reference * n, reference * n + n)
    this.#matrix[reference * n + reference] = 1
    this.#right[reference] = 0
    this.#left.set(this.#right)
    return solveReal(this.#matrix, this.#left, n) ? exact : null
  }

  #source({ high, low, mode, value, limit }: Drive, state: State, index: number): void {
    const n = this.#size
    const branch = this.#network.nodes + index
    this.#matrix[high * n + branch]! -= 1
    this.#matrix[low * n + branch]! += 1
    const standing = state === 'force' ? value : state === 'high' ? limit : -limit
    const isVolts = (mode === 'voltage') === (state === 'force')
    this.#right[branch] = standing
    if (isVolts) {
      this.#matrix[branch * n + high]! += 1
      this.#matrix[branch * n + low]! -= 1
      return
    }
    this.#matrix[branch * n + branch] = 1
    const [least, most] = mode === 'current' ? [-limit, limit]
      : state === 'high' ? [-Infinity, value] : [value, Infinity]
    this.#yield(branch, high, low, Math.abs(standing), least, most)
  }

  /**
   * A current that would go beyond volts at which its state no longer fits yields a little, so that nothing
   * is solved at a million volts; that it went there shows, and the state is changed.
   */
  #yield(branch: number, high: number, low: number, amps: number, least: number, most: number): void {
    const across = this.#volts[high]! - this.#volts[low]!
    const slack = (bound: number): number => slackShare * Math.abs(bound)
    const bound = across > most + slack(most) ? most + slack(most)
      : across < least - slack(least) ? least - slack(least) : null
    if (bound === null) return
    const siemens = Math.max(amps, 1e-12) / yieldV
    this.#matrix[branch * this.#size + high]! += siemens
    this.#matrix[branch * this.#size + low]! -= siemens
    this.#right[branch]! += siemens * bound
  }
}
