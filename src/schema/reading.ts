/** A reading: what every arrow between driver and store carries. SI units throughout. */

export const qualities =
  ['good', 'over-range', 'not-a-number', 'stale', 'stuck', 'implausible', 'missing'] as const
/** Only `good` is a number to reason with; everything else is a fault that happens to have a time. */
export type Quality = (typeof qualities)[number]

export const quantities = {
  voltage: 'V', current: 'A', temperature: '°C', capacitance: 'F', resistance: 'Ω', power: 'W', charge: 'C',
  ratio: '1', time: 's',
} as const
export type Quantity = keyof typeof quantities
export type Unit = (typeof quantities)[Quantity]

/** A measured value. `u` is the standard uncertainty in the unit of the value; `atMs` is monotonic. */
export interface Measured {
  readonly value: number
  readonly u: number
  readonly quality: Quality
  readonly atMs: number
}

/**
 * Where readings of one kind come from within one run. `index` is dense from 0, for the
 * store and the hot path.
 */
export interface Channel {
  readonly index: number
  /** e.g. `bus.voltage`, `P03.current`, `P03.case`. */
  readonly name: string
  readonly quantity: Quantity
  readonly unit: Unit
  /** Position name when the channel belongs to one part. */
  readonly position?: string
}

export interface Reading extends Measured { readonly channel: Channel }
