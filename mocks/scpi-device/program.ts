/**
 * One received line as a list of ready calls. Parsing happens once per distinct text; lines repeat all night.
 */
import { resolve, type Command, type TreeNode } from './command-tree.ts'
import { parseParameters, splitTopLevel, type Value } from './parameters.ts'
import { Refusal } from './status.ts'

interface Call {
  readonly command: Command
  readonly isQuery: boolean
  readonly values: readonly Value[]
  readonly suffixes: readonly number[]
}
export type Step = Call | { readonly refusal: Refusal; readonly isQuery: boolean }

export interface Program {
  readonly text: string
  readonly steps: readonly Step[]
  /** True when nothing in it changes the instrument. */
  readonly queriesOnly: boolean
}

/** Distinct texts kept; set-point lines differ all night, so the store starts afresh when it is full. */
const programsMax = 4096

export class ProgramCache {
  #programs = new Map<string, Program>()
  readonly #root: TreeNode
  constructor(root: TreeNode) { this.#root = root }

  get(text: string): Program {
    const known = this.#programs.get(text)
    if (known) return known
    if (this.#programs.size >= programsMax) this.#programs.clear()
    const program = parse(text, this.#root)
    this.#programs.set(text, program)
    return program
  }
}

/**
 * Units are split at `;`. The first starts at the root; each later one where the last keyword of the one
 * before hung; a leading `:` goes back to the root; `*` units neither use nor change the place.
 */
export function parse(text: string, root: TreeNode): Program {
  const steps: Step[] = []
  let place = root
  for (const unit of splitTopLevel(text, ';')) {
    const trimmed = unit.trim()
    if (trimmed === '') continue
    const { header, rest } = splitHeader(trimmed)
    const isQuery = header.endsWith('?')
    try {
      const { step, parent } = readUnit(header, rest, isQuery, header.startsWith('*') ? root : place, root)
      if (!header.startsWith('*')) place = parent
      steps.push(step)
    } catch (error) {
      if (!(error instanceof Refusal)) throw error
      steps.push({ refusal: error, isQuery })
    }
  }
  return { text, steps, queriesOnly: steps.every(step => step.isQuery) }
}

function splitHeader(unit: string): { header: string; rest: string } {
  let end = 0
  while (end < unit.length && unit.charCodeAt(end) > 32) end++
  return { header: unit.slice(0, end), rest: unit.slice(end).trim() }
}

function readUnit(
  header: string, rest: string, isQuery: boolean, place: TreeNode, root: TreeNode,
): { step: Step; parent: TreeNode } {
  const bare = isQuery ? header.slice(0, -1) : header
  if (!/^[*:]?[A-Za-z_][\w:]*$/.test(bare)) throw new Refusal(-101, header)
  const isRooted = bare.startsWith(':')
  const { node, parent, suffixes } = resolve(isRooted ? root : place, isRooted ? bare.slice(1) : bare)
  const command = isQuery ? node.query : node.set
  if (!command) throw new Refusal(-113, header)
  const values = parseParameters(rest, command.parameters ?? [])
  return { step: { command, isQuery, values, suffixes }, parent }
}
