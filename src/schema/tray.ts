/**
 * A tray: numbered positions whose parts a scanner leads to terminals 1 and 2 of the jig one by one. Below
 * touch-safe alone. SI units.
 */
import { z } from 'zod'
import type { ScannerPath } from './instrument-classes.ts'
import type { Jig, JigReach, Residuals } from './jig.ts'

export interface Tray {
  /** In the order of the bench file. */
  readonly positions: readonly string[]
  readonly path: ScannerPath
  /** What reaches a part through the scanner. */
  readonly reach: JigReach
  /**
   * Closes the channel of this position alone, `null` opens all. Nothing is led to the scanner while its
   * contacts move. What it resolves with holds until the next call.
   */
  close(position: string | null): Promise<Jig>
  /** Of ohms that are read in the smallest range that holds `mostOhm`; NaN where nobody knows. */
  ohmsU(ohm: number, mostOhm: number): number
  /** What is taken off at this position from now on; `null`: nothing is known of it. */
  compensate(position: string, residuals: Residuals | null): void
}

/** What a person lays on a position. */
export const laidKinds = ['part', 'standard', 'wire'] as const

/** How a position of the laying in hand stands. */
export const slotStands = [
  'to lay', 'measuring', 'through', 'nothing seen', 'not still', 'in doubt', 'put off', 'as before',
] as const

export const traySlot = z.strictObject({
  position: z.string(),
  what: z.enum(laidKinds),
  id: z.string(),
  stands: z.enum(slotStands),
  /** What was told of it last. */
  says: z.string().nullable(),
})
export type TraySlot = z.infer<typeof traySlot>

export const trayStatus = z.strictObject({
  /** What is asked for: nothing at all on the tray, bare wires, or parts and standards. */
  stage: z.enum(['empty tray', 'wires', 'parts']),
  /** Counted from 1, layings of parts alone; 0 before the first. */
  laying: z.number().int(),
  of: z.number().int(),
  slots: z.array(traySlot),
})
export type TrayStatus = z.infer<typeof trayStatus>

/** One laying as the plan shows it: what goes where; `done` has its result already and may stay away. */
export const trayLaying = z.strictObject({
  leads: z.string(),
  measures: z.string(),
  slots: z.array(z.strictObject({
    position: z.string(), what: z.enum(laidKinds), id: z.string(), done: z.boolean(),
  })),
})

export const trayPlan = z.strictObject({
  layings: z.array(trayLaying),
  /** Two-legged parts that the path through the scanner is too coarse or too weak for. */
  byHand: z.array(z.strictObject({ id: z.string(), why: z.string() })),
  /** What is asked for before parts: the empty tray, and bare wires in patterns that prove its wiring. */
  wires: z.array(z.array(z.string())),
  isResumed: z.boolean(),
  /** Parts taken in hand one by one without the tray, and times that the tray is laid with it. */
  handlings: z.strictObject({ byHand: z.number().int(), layings: z.number().int() }),
  /** Hands are busy for so long with the tray; tied to the jig for so long without it. */
  handsS: z.number(),
  oneByOneS: z.number(),
})
export type ShownTrayPlan = z.infer<typeof trayPlan>
