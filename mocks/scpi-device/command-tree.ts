/** The headers a device knows, as a tree in which every accepted spelling is a path. */
import { shortForm, type Parameter, type Value } from './parameters.ts'
import { refuse } from './status.ts'

/** An answer that takes time: sampled when the wait is over. */
export interface Deferred { readonly waitMs: number; finish(): string | undefined }

export interface Command {
  /**
   * `[SOURce:]VOLTage[:LEVel]`, short form in capitals, `[…]` may be left out, `#` a number, `?` at the end:
   * query.
   */
  readonly pattern: string
  readonly parameters?: readonly Parameter[]
  /** `suffixes`: the numbers of `#` keywords in order, 1 where left out. Refuses by throwing Refusal. */
  run(values: readonly Value[], suffixes: readonly number[]): string | Deferred | undefined | void
}

export interface TreeNode {
  readonly children: Map<string, TreeNode>
  /** Keyword with the digits taken off, where a number may follow. */
  readonly numbered: Set<string>
  set?: Command
  query?: Command
}

const newNode = (): TreeNode => ({ children: new Map(), numbered: new Set() })

export function buildTree(commands: readonly Command[]): TreeNode {
  const root = newNode()
  for (const command of commands) {
    const isQuery = command.pattern.endsWith('?')
    const header = isQuery ? command.pattern.slice(0, -1) : command.pattern
    for (const path of expand(header)) {
      let nodes = [root]
      for (const keyword of path) nodes = nodes.map(node => grow(node, keyword))
      for (const node of nodes) node[isQuery ? 'query' : 'set'] = command
    }
  }
  return root
}

/**
 * Where a header leads from `from`, the node its last keyword hangs on, and its numbers. Throws -113 when
 * nowhere.
 */
export function resolve(from: TreeNode, header: string): {
  node: TreeNode; parent: TreeNode; suffixes: number[],
} {
  let node = from
  let parent = from
  const suffixes: number[] = []
  for (const keyword of header.toUpperCase().split(':')) {
    parent = node
    let next = node.children.get(keyword)
    if (next) {
      if (node.numbered.has(keyword)) suffixes.push(1)
    } else {
      const match = /^([A-Z_]+)(\d+)$/.exec(keyword)
      if (match && node.numbered.has(match[1]!)) {
        next = node.children.get(match[1]!)
        suffixes.push(Number(match[2]))
      }
    }
    if (!next) return refuse(keyword.length > 12 ? -112 : -113, header)
    node = next
  }
  return { node, parent, suffixes }
}

/** Every way to write a header: each `[…]` in or out. */
function expand(header: string): string[][] {
  const open = header.indexOf('[')
  if (open < 0) return [header.split(':').filter(keyword => keyword !== '')]
  const close = header.indexOf(']', open)
  const before = header.slice(0, open)
  const after = header.slice(close + 1)
  return [...expand(before + after), ...expand(before + header.slice(open + 1, close) + after)]
}

/** The one child for a keyword, reachable by its long and its short form. */
function grow(node: TreeNode, keyword: string): TreeNode {
  const isNumbered = keyword.endsWith('#')
  const word = isNumbered ? keyword.slice(0, -1) : keyword
  const forms = [shortForm(word) || word, word.toUpperCase()]
  const child = node.children.get(forms[0]!) ?? node.children.get(forms[1]!) ?? newNode()
  for (const form of forms) {
    node.children.set(form, child)
    if (isNumbered) node.numbered.add(form)
  }
  return child
}
