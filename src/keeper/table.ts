/** The safe-off table: everything the keeper needs to make a bench safe without the daemon. Pure. */
import { assert } from '../base/assert.ts'
import type { Roles, SafeOffStep } from '../schema/roles.ts'

export interface LinkStep { link: string; step: SafeOffStep }

export interface SafeOffTable {
  /** Done in order; `gapMs` passes before a phase begins. Links of one phase are written to in parallel. */
  phases: readonly { gapMs: number; steps: readonly LinkStep[] }[]
  /** The line that keeps a hold-in cutoff closed, or null where there is none. Sent only while armed. */
  refresh: { link: string; command: string; everyMs: number } | null
}

/** A bench with nothing to make safe. */
export const emptyTable: SafeOffTable = { phases: [], refresh: null }

/** Several refreshes fit into one hold time, so that one lost line does not open the cutoff. */
const refreshesPerHold = 4

/**
 * Compiles the table of a bench. Phase 1 opens the cutoff and turns the supply off, cutoff first (a supply
 * cannot sink, and its output-off may short what is charged). Phase 2, after the cutoff has settled, releases
 * positions and bleed. `linkOf` gives the link of an instrument by its name; without it a link bears the
 * instrument's name.
 */
export function compileTable(
  roles: Pick<Roles, 'cutoff' | 'supply' | 'positions' | 'bleed'>,
  linkOf: (name: string) => string = name => name,
): SafeOffTable {
  const { cutoff, supply, positions, bleed } = roles
  const phases = [
    { gapMs: 0, steps: stepsOf([cutoff, supply], linkOf) },
    { gapMs: cutoff?.settleMs ?? 0, steps: stepsOf([positions, bleed], linkOf) },
  ].filter(phase => phase.steps.length > 0)
  const refresh = cutoff !== undefined && cutoff.holdMs > 0
    ? { link: linkOf(cutoff.name), command: cutoff.refreshCommand, everyMs: cutoff.holdMs / refreshesPerHold }
    : null
  return { phases, refresh }
}

/** Every line the table sends, by link: what may still be written while the bench is being made safe. */
export function tableCommands(table: SafeOffTable): Map<string, Set<string>> {
  const commands = new Map<string, Set<string>>()
  for (const { link, step } of table.phases.flatMap(phase => phase.steps)) {
    const known = commands.get(link) ?? new Set()
    for (const command of step.commands) known.add(command)
    commands.set(link, known)
  }
  return commands
}

interface Switchable { name: string; safeOff: SafeOffStep }

/** Positions and bleed may be one board: the same step on the same link is sent once. */
function stepsOf(instruments: (Switchable | undefined)[], linkOf: (name: string) => string): LinkStep[] {
  const steps: LinkStep[] = []
  for (const instrument of instruments) {
    if (instrument === undefined) continue
    const step = instrument.safeOff
    assert(step.commands.length > 0, `${instrument.name} has no command that makes it safe`)
    const link = linkOf(instrument.name)
    const same = steps.some(
      other => other.link === link && JSON.stringify(other.step) === JSON.stringify(step)
    )
    if (!same) steps.push({ link, step })
  }
  return steps
}
