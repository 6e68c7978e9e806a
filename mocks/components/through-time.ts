/** Parts that hold charge, taken through time in steps that grow while nothing changes. */
import type { Conditions } from './element.ts'
import type { Network } from './network.ts'
import { solveDc, type DcResult, type Drive } from './solve-dc.ts'

/** The first step after a change, s, and each next one as a share of the time since. */
const firstStepS = 1e-4
const stepShare = 0.1
const leastStepS = 1e-7

export class ThroughTime {
  /** What was done last, and for how long, s. */
  #done = ''
  #sinceS = 0

  /** `doing`: with another one the steps begin anew. What it answers is so at the end. */
  pass(
    network: Network, drives: readonly Drive[], seconds: number, doing: string,
    conditions: Pick<Conditions, 'celsius' | 'afterS'>,
  ): DcResult {
    if (doing !== this.#done) this.#sinceS = 0
    this.#done = doing
    let leftS = Math.max(seconds, leastStepS)
    for (;;) {
      const growing = Math.max(firstStepS, stepShare * this.#sinceS)
      const stepS = leftS <= growing * 1.5 ? leftS : growing
      const result = solveDc(network, drives, { ...conditions, stepS })
      for (const element of network.elements) element.settle?.(result.nodeVolts, stepS)
      this.#sinceS += stepS
      leftS -= stepS
      if (leftS <= 0) return result
    }
  }
}
