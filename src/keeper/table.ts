/** The safe-off table: everything the keeper needs to make a bench safe without the daemon. Pure. */
import { assert } from '../base/assert.ts'
import type { Energising, RelayBoard, Roles, SafeOffStep } from '../schema/roles.ts'

export interface LinkStep { link: string; step: SafeOffStep }

export interface SafeOffTable {
  /** Done in order; `gapMs` passes before a phase begins. Links of one phase are written to in parallel. */
  phases: readonly { gapMs: number; steps: readonly LinkStep[] }[]
  /** The lines that keep hold-in contactors closed, one a link. Sent only while armed. */
  refreshes: readonly Refresh[]
  /** What is sent only while armed. */
  energising: readonly (Energising & { link: string })[]
}

export interface Refresh { readonly link: string; readonly command: string; readonly everyMs: number }

/** A bench with nothing to make safe. */
export const emptyTable: SafeOffTable = { phases: [], refreshes: [], energising: [] }

/** Several refreshes fit into one hold time, so that one lost line does not open the contactor. */
const refreshesPerHold = 4

/**
 * Compiles the table of a bench. Phase 1 mutes the drive of a unit, opens its mains and the cutoff, and turns
 * supply and sources off, told in this order and in one turn: no link waits for another. The cutoff comes
 * before the supply, which cannot sink, and whose output-off may short what is charged. Phase 2, after the
 * cutoff has settled, releases positions and bleed, and the board of a jig with a cover: that locks it and
 * puts its bleeder across what lies there. Loads stay as they are: a valve stage that still has power must
 * not run without one. `linkOf` gives the link of an instrument by its name; without it a link bears the
 * instrument's name. `quietLines`: lines to the positions' board that hold relays which lead no energy to a
 * part.
 */
export function compileTable(
  roles: Pick<Roles, GuardedRole>
    & { readonly coverBoard?: RelayBoard | undefined },
  linkOf: (name: string) => string = name => name,
  quietLines: readonly string[] = [],
): SafeOffTable {
  const {
    cutoff, supply, positions, bleed, source, 'second-source': second, generator, 'mains-switch': mains,
    coverBoard,
  } = roles
  // Contacts of a jig move once the output of its source is down.
  const gapMs = Math.max(cutoff?.settleMs ?? 0, coverBoard ? source?.settleMs ?? 0 : 0)
  const phases = [
    { gapMs: 0, steps: stepsOf([generator, mains, cutoff, supply, source, second], linkOf) },
    { gapMs, steps: stepsOf([positions, bleed, coverBoard], linkOf) },
  ].filter(phase => phase.steps.length > 0)
  const refreshes = [cutoff, mains].flatMap(held => held === undefined || held.holdMs === 0 ? [] : [
    { link: linkOf(held.name), command: held.refreshCommand, everyMs: held.holdMs / refreshesPerHold },
  ])
  const guarded = [supply, cutoff, positions, bleed, source, second, generator, mains, coverBoard]
  const energising = guarded.flatMap(instrument =>
    (instrument?.energising ?? []).map(({ begins, but }) => (
      {
        link: linkOf(instrument!.name), begins, but: instrument === positions ? [...but, ...quietLines] : but,
      }
    )))
  return { phases, refreshes, energising }
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

type GuardedRole = 'cutoff' | 'supply' | 'positions' | 'bleed' | 'source' | 'second-source' | 'generator'
  | 'mains-switch'
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
