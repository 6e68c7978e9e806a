/** Whether a load is the one that a unit is claimed for. Pure. */

/** Of its ohms (common practice). */
const tolerance = 0.1

/** Null: it stands open. */
export const isLoad = (ohm: number | null, wantedOhm: number): boolean =>
  ohm !== null && Math.abs(ohm - wantedOhm) <= tolerance * wantedOhm
