/**
 * Whether the rails of a unit may be called dead after its mains opened. A reading near zero shows nothing by
 * itself: the same probe must have read the volts of its rail before, and seen them go as charge goes. Pure.
 */
/** What a probe has shown of its rail, volts without sign. */
export interface RailTrace {
  /** The most since mains came after none. */
  readonly seenV: number
  readonly lastV: number | null
  /** What it stood at when nearly all of it went between two looks; null where it never did, or is back. */
  readonly brokeAtV: number | null
  /** Good looks since the mains opened. */
  readonly looks: number
}
export const freshTrace: RailTrace = { seenV: 0, lastV: null, brokeAtV: null, looks: 0 }

export type RailDeadness =
  | { readonly verdict: 'dead'; readonly volts: number }
  | { readonly verdict: 'live'; readonly volts: number }
  | { readonly verdict: 'unmeasured'; readonly why: string }

/** A probe counts as on its rail once it showed this share of what stands there (modelling choice). */
const shownShare = 0.2
/** A rail that loses all but this share between two looks did not bleed: its probe came off. */
const leftShare = 0.05
/** One low look may be a probe between two contacts. */
const looksLeast = 3

/** One good look. `isOpen`: the mains was open by then. */
export function seeRail(trace: RailTrace, volts: number, isOpen: boolean, touchSafeV: number): RailTrace {
  const { lastV, seenV, brokeAtV, looks } = trace
  const broke = lastV !== null && lastV >= touchSafeV && volts < leftShare * lastV ? lastV : null
  const isBack = brokeAtV !== null && volts >= leftShare * brokeAtV
  return {
    seenV: Math.max(seenV, volts), lastV: volts, brokeAtV: broke ?? (isBack ? null : brokeAtV),
    looks: isOpen ? looks + 1 : 0,
  }
}

/** `uV`: standard uncertainty of the last look. */
export function judgeRail(
  { seenV, lastV, brokeAtV, looks }: RailTrace, uV: number, nominalV: number, touchSafeV: number,
): RailDeadness {
  if (lastV === null || looks === 0) {
    return { verdict: 'unmeasured', why: 'no good reading since the mains opened' }
  }
  if (lastV + 2 * uV >= touchSafeV) return { verdict: 'live', volts: lastV }
  // What never stands above touch-safe needs no proof that it did.
  const mayBeHigh = Math.max(nominalV, seenV) >= touchSafeV
  if (mayBeHigh && seenV < shownShare * nominalV) {
    return { verdict: 'unmeasured', why: 'its probe never showed its volts' }
  }
  if (mayBeHigh && brokeAtV !== null) {
    const why = `it went from ${brokeAtV.toFixed(0)} V to nothing at once: the probe may have come off`
    return { verdict: 'unmeasured', why }
  }
  if (looks < looksLeast) return { verdict: 'unmeasured', why: 'looked at too few times' }
  return { verdict: 'dead', volts: lastV }
}

/** What is said, and recorded, of touching the unit. */
export function deadWords(
  rails: readonly (readonly [string, RailDeadness])[], touchSafeV: number, atWallMs: number,
): { readonly isDead: boolean; readonly text: string } {
  const bad = rails.filter(([, { verdict }]) => verdict !== 'dead')
  if (bad.length > 0) {
    const each = bad.map(([name, found]) =>
      found.verdict === 'live' ? `${name} ${found.volts.toFixed(1)} V`
        : `${name}: ${found.verdict === 'unmeasured' ? found.why : ''}`)
    const what = bad.some(([, { verdict }]) => verdict === 'unmeasured') ? ': UNMEASURED' : ''
    return { isDead: false, text: `NOT SAFE TO TOUCH${what} (${each.join('; ')})` }
  }
  if (rails.length === 0) {
    return { isDead: false, text: 'NOT SAFE TO TOUCH: UNMEASURED (no rail of this unit has a probe)' }
  }
  const clock = new Date(atWallMs).toISOString().slice(11, 16)
  return {
    isDead: true,
    text: `every rail measured below ${touchSafeV} V at ${clock} UTC; prove dead before touching`,
  }
}
