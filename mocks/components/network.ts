/** A part as a network: elements between nodes, of which the first are its terminals. */
import type { Element } from './element.ts'

export interface Network {
  /** Terminals are nodes 0 to `terminals` - 1. */
  readonly terminals: number
  /** All nodes, those inside counted too. */
  readonly nodes: number
  readonly elements: readonly Element[]
}

/** Collects elements and gives out nodes inside. */
export class NetworkBuilder {
  readonly #terminals: number
  readonly #elements: Element[] = []
  #nodes: number

  constructor(terminals: number) {
    this.#terminals = terminals
    this.#nodes = terminals
  }

  /** A new node inside. */
  inside(): number { return this.#nodes++ }

  add(...elements: readonly Element[]): this {
    this.#elements.push(...elements)
    return this
  }

  build(): Network {
    return { terminals: this.#terminals, nodes: this.#nodes, elements: this.#elements }
  }
}
