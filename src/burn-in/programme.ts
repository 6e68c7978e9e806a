/**
 * What a burn-in asks of its unit at each moment of the time that counts: mains, signal, level. A pure
 * function of that time, so that a restart goes on where the clock stands. Noise and music are made of one
 * tone that steps: their frequencies and levels are drawn by the number of the step. Powers as shares of
 * rated power.
 */
import { assert } from '../base/assert.ts'
import { SeededRandom } from '../base/random.ts'

export type ProgrammePhase = { readonly forS: number } & (
  | { readonly kind: 'idle' }
  | { readonly kind: 'tone'; readonly frequencyHz: number; readonly powerShare: number }
  /** Equal power in each octave of the band, as pink noise has; levels of the steps as of noise. */
  | { readonly kind: 'noise'; readonly lowHz: number; readonly highHz: number; readonly powerShare: number }
  /** As noise, with loud and soft passages. */
  | { readonly kind: 'music'; readonly lowHz: number; readonly highHz: number; readonly powerShare: number }
  /** Mains on and off again and again; a tone while on, once the unit has settled. */
  | {
    readonly kind: 'cycles'; readonly onS: number; readonly offS: number
    readonly frequencyHz: number; readonly powerShare: number
  })
export interface DriveProgramme {
  readonly phases: readonly ProgrammePhase[]
  /** Of the draws. */
  readonly seed: string
}
export interface Due {
  /** Index into the phases; null once the programme is over: then all is off. */
  readonly phase: number | null
  readonly mains: 'on' | 'off'
  /** Null: muted. */
  readonly tone: { readonly frequencyHz: number; readonly powerShare: number } | null
  /** Nothing changes before this much counted time, s. */
  readonly untilS: number
  /** Names what is asked, the same for all steps of one phase: drive is constant while it is the same. */
  readonly drive: string
}

/**
 * One eighth of rated power: normal heating of an amplifier (IEC 62368-1, second hand; 16 CFR 432.3, read).
 */
export const oneEighth = 1 / 8
/** Music: no step above rated power. */
const shareMost = 1
/** Steps of noise and music, s, and passages of music. */
const stepS = 2
const passageS = 60
/** Soft passages have this much less power, loud ones what makes the mean right (our choice). */
const softShare = 0.25
/** After the mains come on and before they go, the drive is muted (our choice). */
const settleS = 10
const muteS = 2

export const programmeS = ({ phases }: DriveProgramme): number =>
  phases.reduce((sum, { forS }) => sum + forS, 0)

/** What is due when `countedS` have counted. Asserts a time of 0 or more and phases that last. */
export function dueAt({ phases, seed }: DriveProgramme, countedS: number): Due {
  assert(countedS >= 0, `counted time is 0 or more, got ${countedS}`)
  let startS = 0
  for (const [index, phase] of phases.entries()) {
    assert(phase.forS > 0, `phase ${index + 1} lasts ${phase.forS} s`)
    if (countedS < startS + phase.forS) {
      const due = dueIn(phase, `${seed}:${index}`, countedS - startS)
      const untilS = startS + Math.min(phase.forS, due.untilS)
      return { ...due, phase: index, untilS, drive: `${index + 1} ${due.drive}` }
    }
    startS += phase.forS
  }
  return { phase: null, mains: 'off', tone: null, untilS: Infinity, drive: 'over' }
}

type InPhase = Omit<Due, 'phase'>

function dueIn(phase: ProgrammePhase, seed: string, atS: number): InPhase {
  switch (phase.kind) {
    case 'idle': return { mains: 'on', tone: null, untilS: Infinity, drive: 'idle' }
    case 'tone': return { mains: 'on', tone: toneOf(phase), untilS: Infinity, drive: 'tone' }
    case 'noise': return steps(phase, seed, atS, () => 1)
    case 'music': return steps(phase, seed, atS, passage => loudness(`${seed}:${passage}`))
    case 'cycles': return cycle(phase, atS)
  }
}

const toneOf = ({ frequencyHz, powerShare }: { frequencyHz: number; powerShare: number }) =>
  ({ frequencyHz, powerShare })

function cycle(phase: Extract<ProgrammePhase, { kind: 'cycles' }>, atS: number): InPhase {
  const { onS, offS } = phase
  assert(onS > settleS + muteS && offS > 0,
    `a cycle is on for more than ${settleS + muteS} s, and off for a while`)
  const start = Math.floor(atS / (onS + offS)) * (onS + offS)
  const inS = atS - start
  const muted = { mains: 'on', tone: null, drive: 'cycles on' } as const
  if (inS < settleS) return { ...muted, untilS: start + settleS }
  if (inS < onS - muteS) return { ...muted, tone: toneOf(phase), untilS: start + onS - muteS }
  if (inS < onS) return { ...muted, untilS: start + onS }
  return { mains: 'off', tone: null, untilS: start + onS + offS, drive: 'cycles off' }
}

/** Passages come in pairs, one soft and one loud, whose mean is 1. */
function loudness(seed: string): number {
  const passage = Number(seed.slice(seed.lastIndexOf(':') + 1))
  const pair = new SeededRandom(`${seed.slice(0, seed.lastIndexOf(':'))}:pair ${passage >> 1}`)
  const isSoft = (passage % 2 === 0) === pair.next() < 0.5
  return isSoft ? softShare : 2 - softShare
}

function steps(
  phase: Extract<ProgrammePhase, { kind: 'noise' | 'music' }>, seed: string, atS: number,
  loud: (passage: number) => number,
): InPhase {
  const { lowHz, highHz, powerShare, kind } = phase
  assert(lowHz > 0 && highHz > lowHz, `a band from ${lowHz} to ${highHz} Hz is none`)
  const step = Math.floor(atS / stepS)
  const random = new SeededRandom(`${seed}:step ${step}`)
  const frequencyHz = lowHz * (highHz / lowHz) ** random.next()
  const wanted = powerShare * loud(Math.floor(atS / passageS)) * powerOfStep(random.next())
  const level = Math.min(shareMost, wanted)
  return { mains: 'on', tone: { frequencyHz, powerShare: level }, untilS: (step + 1) * stepS, drive: kind }
}

/**
 * Power of narrow noise about its mean is exponential; cut at four times the mean, and its mean made 1 again.
 */
const cutAt = 4
const meanOfCut = -Math.expm1(-cutAt)
const powerOfStep = (chance: number): number => Math.min(cutAt, -Math.log1p(-chance)) / meanOfCut
