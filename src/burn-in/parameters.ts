/** What a person writes of a burn-in: its drive programme, and under which conditions its time counts. */
import { z } from 'zod'
import { usualCriterion, type SteadyName } from '../analysis/thermal/steady-state.ts'
import { usualConditions } from './conditions.ts'
import { oneEighth, programmeS, type DriveProgramme } from './programme.ts'

const forS = z.number().min(30).max(60 * 86_400).describe('How long, of the time that counts')
const powerShare = z.number().positive().max(1).default(oneEighth)
  .describe('Mean share of the rated power (one eighth is the usual heating of an amplifier, second hand)')
const frequencyHz = z.number().min(10).max(100_000).default(1000)
const band = {
  lowHz: z.number().min(10).max(100_000).default(40), highHz: z.number().min(10).max(100_000).default(10_000),
}
/** Loud passages go to nearly twice the mean. */
const musicShare = powerShare.refine(share => share <= 0.5, 'at most 0.5')
const isBand = ({ lowHz, highHz }: { lowHz: number; highHz: number }): boolean => highHz > lowHz
const noBand = { path: ['highHz'], message: 'above lowHz' }

export const programmePhase = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('idle'), forS }),
  z.strictObject({ kind: z.literal('tone'), forS, frequencyHz, powerShare }),
  z.strictObject({ kind: z.literal('noise'), forS, ...band, powerShare }).refine(isBand, noBand),
  z.strictObject({ kind: z.literal('music'), forS, ...band, powerShare: musicShare }).refine(isBand, noBand),
  z.strictObject({
    kind: z.literal('cycles'), forS,
    onS: z.number().min(30).max(86_400).default(900), offS: z.number().min(10).max(86_400).default(300),
    frequencyHz, powerShare,
  }),
])

const steadyNames = [
  'three-in-thirty', 'two-an-hour-twice', 'two-in-an-hour', 'one-in-fifteen', 'three-within-one',
] as const satisfies readonly SteadyName[]

const day = 86_400

export const burnInParameters = z.strictObject({
  programme: z.array(programmePhase).min(1).max(100)
    .prefault([{ kind: 'tone', forS: day }]).describe('One phase after the other'),
  seed: z.string().min(1).max(64).default('burn-in').describe('Of the draws of noise and music'),
  alreadyCountedS: z.number().min(0).default(0)
    .describe('Counted by earlier runs of the same programme on this specimen: it goes on from there'),
  failedAtS: z.number().min(0).default(0)
    .describe('When, of that time, it last failed by its own fault: only hours after that show anything'),
  conditions: z.strictObject({
    airMinC: z.number().default(usualConditions.airMinC),
    airMaxC: z.number().default(usualConditions.airMaxC),
    mainsTolerance: z.number().positive().max(0.2).default(usualConditions.mainsTolerance),
    driveTolerance: z.number().positive().max(0.5).default(usualConditions.driveTolerance),
  }).prefault({}).describe('Time counts only while they hold'),
  steadyBy: z.enum(steadyNames).default(usualCriterion).describe('When a temperature is called steady'),
  warmMostS: z.number().min(600).max(day).default(4 * 3600)
    .describe('Under one drive for so long a unit counts as warm, steady or not (our choice)'),
  standS: z.number().min(5).max(600).default(30)
    .describe('After mains comes on, until rails must stand and the drive begins'),
  pauseAfterS: z.number().min(30).max(day).default(300)
    .describe('A condition that fails for longer opens the mains, until a person says to go on'),
  lookS: z.number().min(120).max(3600).default(600)
    .describe('Over so long what is compared at start and end is averaged'),
  spotEveryS: z.number().min(60).max(day).default(3600).describe('Between two looks at the distortion'),
  restEveryS: z.number().min(600).max(60 * day).default(6 * 3600)
    .describe('Between two looks at idle currents, for which the drive is muted for some seconds'),
  thdMost: z.number().positive().max(1).default(0.1).describe('More trips, in two looks in a row'),
  dropoutsMost: z.number().int().min(1).max(1000).default(3)
    .describe('So many times an output may leave its level while all else holds; the next trips'),
  restS: z.number().min(10).max(3600).default(60)
    .describe('At the end, without drive, before the unit is judged at rest'),
  gain: z.number().positive().max(1e5).optional()
    .describe('Volts at the output for one volt in, where no digitizer is at the outputs'),
})
export type BurnInParameters = z.infer<typeof burnInParameters>

export const programmeOf = ({ programme, seed }: BurnInParameters): DriveProgramme =>
  ({ phases: programme, seed })

/** Time that is asked for, earlier runs included, s. */
export const askedS = (parameters: BurnInParameters): number => programmeS(programmeOf(parameters))

export type Phase = BurnInParameters['programme'][number]

export const isDriven = (phase: Phase): phase is Exclude<Phase, { kind: 'idle' }> => phase.kind !== 'idle'

/** What a phase asks, without how long: two phases of the same drive heat a unit alike. */
export function driveKey(phase: Phase): string {
  const { forS: _, ...drive } = phase
  return JSON.stringify(drive)
}

/** A phase in words. */
export function phaseWords(phase: Phase): string {
  const share = isDriven(phase) ? `${Number(phase.powerShare.toPrecision(3))} of rated power` : ''
  switch (phase.kind) {
    case 'idle': return 'idle'
    case 'tone': return `a tone of ${phase.frequencyHz} Hz at ${share}`
    case 'noise': return `noise from ${phase.lowHz} to ${phase.highHz} Hz at ${share}`
    case 'music': return `like music from ${phase.lowHz} to ${phase.highHz} Hz at ${share}`
    case 'cycles':
      return `${phase.onS} s on and ${phase.offS} s off, ${phase.frequencyHz} Hz at ${share}`
  }
}
