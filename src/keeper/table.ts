/** The safe-off table: everything the keeper needs to make a bench safe without the daemon. Pure. */
import { assert } from '../base/assert.ts'
import type { Energising, RelayBoard, Roles, SafeOffStep } from '../schema/roles.ts'

export interface LinkStep { link: string; step: SafeOffStep }

export interface SafeOffTable {
  /** Done in order; `gapMs` passes before a phase begins. Links of one phase are written to in parallel. */
  phases: readonly { gapMs: number; steps: readonly LinkStep[] }[]
  /** The line that keeps a hold-in cutoff closed, or null where there is none. Sent only while armed. */
  refresh: { link: string; command: string; everyMs: number } | null
  /** What is sent only while armed. */
  energising: readonly (Energising & { link: string })[]
}

/** A bench with nothing to make safe. */
export const emptyTable: SafeOffTable = { phases: [], refresh: null, energising: [] }

/** Several refreshes fit into one hold time, so that one lost line does not open the cutoff. */
const refreshesPerHold = 4

/**
 * Compiles the table of a bench. Phase 1 opens the cutoff and turns supply and sources off, cutoff first (a
 * supply cannot sink, and its output-off may short what is charged). Phase 2, after the cutoff has settled,
 * releases positions and bleed, and the board of a jig with a cover: that locks it and puts its bleeder
 * across what lies there. `linkOf` gives the link of an instrument by its name; without it a link
 * bears the instrument's name. `quietLines`: lines to the positions' board that hold relays which lead no
 * energy to a part.
 */
export function compileTable(
  roles: Pick<Roles, 'cutoff' | 'supply' | 'positions' | 'bleed' | 'source' | 'second-source'>
    & { readonly coverBoard?: RelayBoard | undefined },
  linkOf: (name: string) => string = name => name,
  quietLines: readonly string[] = [],
): SafeOffTable {
  const { cutoff, supply, positions, bleed, source, 'second-source': second, coverBoard } = roles
  // Contacts of a jig move once the output of its source is down.
  const gapMs = Math.max(cutoff?.settleMs ?? 0, coverBoard ? source?.settleMs ?? 0 : 0)
  const phases = [
    { gapMs: 0, steps: stepsOf([cutoff, supply, source, second], linkOf) },
    { gapMs, steps: stepsOf([positions, bleed, coverBoard], linkOf) },
  ].filter(phase => phase.steps.length > 0)
  const refresh = cutoff !== undefined && cutoff.holdMs > 0
    ? { link: linkOf(cutoff.name), command: cutoff.refreshCommand, everyMs: cutoff.holdMs / refreshesPerHold }
    : null
  const energising = [supply, cutoff, positions, bleed, source, second, coverBoard].flatMap(instrument =>
    (instrument?.energising ?? []).map(({ begins, but }) => (
      {
        link: linkOf(instrument!.name), begins, but: instrument === positions ? [...but, ...quietLines] : but,
      }
    )))
  return { phases, refresh, energising }
}

/**
 * The first part of a line to `link` that can put energy on, or null. Parts that only ask cannot. Colon and
 * case of a header say nothing.
 */
export function energisingPart(table: SafeOffTable, link: string, line: string): string | null {
  const lines = table.energising.filter(entry => entry.link === link)
  const energises = (part: string): boolean => lines.some(({ begins, but }) =>
    plain(part).startsWith(plain(begins)) && !but.some(harmless => plain(harmless) === plain(part)))
  return line.split(';').find(part => !asks(part) && energises(part)) ?? null
}

/** A part of a line that asks and does not command. Quotes get no special care. */
export const asks = (part: string): boolean => /^\s*[^\s?"']+\?(\s|$)/.test(part)
const plain = (text: string): string => text.trimStart().replace(/^:/, '').toUpperCase()

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

/** Whether a line may follow a safe-off that is done: the table has it for that, and it energises nothing. */
export function mayFollow(table: SafeOffTable, link: string, line: string): boolean {
  const steps = table.phases.flatMap(phase => phase.steps)
  return energisingPart(table, link, line) === null
    && steps.some(({ link: its, step }) => its === link && step.afterwards?.includes(line) === true)
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
