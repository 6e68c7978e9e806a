/** Some of the last few: what must show more than once before it counts. Pure. */

/** Whether each of the last readings was past, oldest first. */
export type PastFlags = readonly boolean[]

/** The last `of` of them, with this one. */
export const flagged = (flags: PastFlags, isPast: boolean, of: number): PastFlags =>
  [...flags, isPast].slice(-of)

/** `count` in a row are `count` of `count`. */
export const isEnough = (flags: PastFlags, count: number): boolean =>
  flags.filter(flag => flag).length >= count
