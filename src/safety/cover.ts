/**
 * What must be so before volts above touch-safe come to a jig, and while they are there: a pure step machine,
 * (state, input) → state. A press counts only as an act, from not pressed to pressed, both seen with the
 * cover closed, after it was asked for; and only where the cover was seen open since it was locked last: a
 * contact that never opens tells nothing. A look that failed counts as nothing seen.
 */

/** One look at the cover contact and the button. */
export interface Look { readonly coverClosed: boolean; readonly present: boolean }

export type Cover =
  /**
   * `opened`: the cover was seen open since it was locked last. `ready`: it was seen closed and the button
   * not pressed, and the cover was not seen open since.
   */
  | { readonly is: 'asked'; readonly opened: boolean; readonly ready: boolean; readonly untilMs: number }
  | { readonly is: 'pressed' }
  /** Locked, nothing energised: somebody pulls at it, and presses where it holds. `ready` as above. */
  | { readonly is: 'pulled'; readonly ready: boolean; readonly untilMs: number }
  /** Nobody pressed in time. */
  | { readonly is: 'unpressed' }
  /** Locked: `closedMs` is when the contact was last asked, and was closed, monotonic. */
  | { readonly is: 'watched'; readonly closedMs: number }
  | { readonly is: 'tripped'; readonly why: string }

export type CoverInput =
  /** `askedMs`: when the question left; what it answers may be as old as that. */
  | { readonly type: 'look'; readonly look: Look | null; readonly askedMs: number }
  /** Time has passed: judged on every input; this one only makes sure that there is one. */
  | { readonly type: 'tick' }

/** So often cover and button are looked at, ms. */
export const coverPollMs = 100
/** A contact that was not read as closed for so long counts as open, ms: a few looks (modelling choice). */
export const coverStaleMs = 500

export const askedFrom = (nowMs: number, withinMs: number, opened: boolean): Cover =>
  ({ is: 'asked', opened, ready: false, untilMs: nowMs + withinMs })
export const pulledFrom = (nowMs: number, withinMs: number): Cover =>
  ({ is: 'pulled', ready: false, untilMs: nowMs + withinMs })
export const watchedFrom = (askedMs: number): Cover => ({ is: 'watched', closedMs: askedMs })

export function stepCover(cover: Cover, input: CoverInput, nowMs: number): Cover {
  const look = input.type === 'look' ? input.look : undefined
  if (cover.is === 'asked') return asked(cover, look, nowMs)
  if (cover.is === 'pulled') return pulled(cover, look, nowMs)
  return cover.is === 'watched' ? watched(cover, input, nowMs) : cover
}

function asked(cover: Cover & { is: 'asked' }, look: Look | null | undefined, nowMs: number): Cover {
  if (nowMs >= cover.untilMs) return { is: 'unpressed' }
  if (look === undefined) return cover
  if (look === null) return { ...cover, ready: false }
  if (!look.coverClosed) return { ...cover, opened: true, ready: false }
  if (!look.present) return { ...cover, ready: cover.opened }
  return cover.ready ? { is: 'pressed' } : cover
}

function pulled(cover: Cover & { is: 'pulled' }, look: Look | null | undefined, nowMs: number): Cover {
  if (look?.coverClosed === false) {
    return { is: 'tripped', why: 'the bolt does not hold: the locked cover came open' }
  }
  if (nowMs >= cover.untilMs) return { is: 'unpressed' }
  if (look === undefined) return cover
  if (look === null) return { ...cover, ready: false }
  if (!look.present) return { ...cover, ready: true }
  return cover.ready ? { is: 'pressed' } : cover
}

function watched(cover: Cover & { is: 'watched' }, input: CoverInput, nowMs: number): Cover {
  const look = input.type === 'look' ? input.look : null
  if (look?.coverClosed === false) return { is: 'tripped', why: 'the cover was opened under volts' }
  const silentMs = nowMs - cover.closedMs
  if (silentMs >= coverStaleMs) {
    return { is: 'tripped', why: `the cover contact was not read for ${Math.round(silentMs)} ms under volts` }
  }
  // A late answer may have been closed when it was asked, and open since.
  const isClosed = input.type === 'look' && look !== null
  return isClosed ? { is: 'watched', closedMs: Math.max(cover.closedMs, input.askedMs) } : cover
}
