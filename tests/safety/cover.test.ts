/** The machine that decides when a part behind a cover may be put under volts, and when that ends. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  askedFrom, coverPollMs, coverStaleMs, stepCover, watchedFrom, type Cover, type Look,
} from '../../src/safety/cover.ts'

const look = (coverClosed: boolean, present: boolean): Look => ({ coverClosed, present })
const [open, openPressed, closed, pressed] = [look(false, false), look(false, true), look(true, false), look(true, true)]

/** One look every tenth of a second. */
const after = (from: Cover, looks: readonly (Look | null)[]): Cover =>
  looks.reduce((cover, one, i) => stepCover(cover, { type: 'look', look: one, askedMs: (i + 1) * coverPollMs }, (i + 1) * coverPollMs), from)
const asked = (looks: readonly (Look | null)[], withinMs = 60_000): string => after(askedFrom(0, withinMs, true), looks).is

describe('a press', () => {
  it('counts as an act with the cover closed, both seen', () => {
    expect(asked([open, open, closed, pressed])).toBe('pressed')
    expect(asked([closed, pressed])).toBe('pressed')
  })

  it.each([
    ['a cover that is closed', [open, closed, closed, closed]],
    ['a button that is held from before', [openPressed, pressed, pressed, pressed]],
    ['a press before the cover was closed, let go after', [open, openPressed, pressed, closed, closed]],
    ['a press with the cover open', [open, openPressed, open, closed]],
    ['a press after the cover was seen open again', [closed, open, pressed, pressed]],
    ['a button held while the cover is opened and closed', [closed, openPressed, pressed]],
    ['a press after a look that failed, for nobody saw it let go', [closed, null, pressed]],
    ['looks that fail', [null, null, null]],
  ])('is not %s', (_what, looks) => { expect(asked(looks)).toBe('asked') })

  it('counts only where the contact was seen open since it was locked last', () => {
    const never = (looks: readonly (Look | null)[]): string => after(askedFrom(0, 60_000, false), looks).is
    expect(never([closed, pressed, closed, pressed, null, closed, pressed])).toBe('asked')
    expect(never([closed, open, closed, pressed])).toBe('pressed')
  })

  it('comes in time or not at all', () => {
    expect(asked([closed, closed, pressed], 3 * coverPollMs)).toBe('unpressed')
    expect(stepCover(askedFrom(0, 100, true), { type: 'tick' }, 100).is).toBe('unpressed')
    expect(after({ is: 'unpressed' }, [closed, pressed])).toEqual({ is: 'unpressed' })
  })

  it('is, of any looks, one where the last two were: closed and let go, closed and pressed', () => {
    const any = fc.constantFrom(open, openPressed, closed, pressed, null)
    fc.assert(fc.property(fc.array(any, { maxLength: 30 }), looks => {
      const at = looks.findIndex((_, i) => asked(looks.slice(0, i + 1)) === 'pressed')
      if (at < 0) return
      expect(looks[at]).toBe(pressed)
      const before = looks.slice(0, at).reverse()
      expect(before.find(one => one !== pressed)).toBe(closed)
    }))
  })
})

describe('a cover under volts', () => {
  const watched = (looks: readonly (Look | null)[]): Cover => after(watchedFrom(0), looks)

  it('may be seen closed for ever, whatever the button does', () => {
    expect(watched([closed, pressed, closed, pressed]).is).toBe('watched')
  })

  it('trips at the first look that sees it open, for good', () => {
    expect(watched([closed, open, closed, closed])).toEqual({ is: 'tripped', why: 'the cover was opened under volts' })
  })

  it('trips where its contact is not read, and where an answer comes too late', () => {
    const most = coverStaleMs / coverPollMs
    expect(watched(Array.from({ length: most - 1 }, () => null)).is).toBe('watched')
    expect(watched(Array.from({ length: most }, () => null)).is).toBe('tripped')
    expect(stepCover(watchedFrom(0), { type: 'tick' }, coverStaleMs - 1).is).toBe('watched')
    expect(stepCover(watchedFrom(0), { type: 'tick' }, coverStaleMs).is).toBe('tripped')
    expect(stepCover(watchedFrom(0), { type: 'look', look: closed, askedMs: coverStaleMs }, coverStaleMs).is).toBe('tripped')
    // An answer is as old as its question.
    const late = stepCover(watchedFrom(0), { type: 'look', look: closed, askedMs: 10 }, coverStaleMs - 10)
    expect(stepCover(late, { type: 'tick' }, coverStaleMs).is).toBe('watched')
    expect(stepCover(late, { type: 'tick' }, coverStaleMs + 10).is).toBe('tripped')
  })
})
