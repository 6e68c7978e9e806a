import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Deadness } from '../../src/safety/dead.ts'
import { connected, followed, found, isKnownLow, isOpen, left, mayBeCharged, readLow, unread, type Held } from '../../src/safety/held.ts'

const touchSafeV = 60
const dead: Deadness = { verdict: 'dead', belowV: touchSafeV, atWallMs: 0, text: 'measured below 60 V' }
const volts = fc.double({ min: 0, max: 500, noNaN: true })

type Step = (held: Held) => Held
const proof = fc.boolean().map((emptied): Step => held => followed(held, dead, 400, emptied))
const others = fc.oneof(
  fc.constant<Step>(held => readLow(held, touchSafeV)), fc.constant<Step>(connected), fc.constant<Step>(left),
  fc.tuple(fc.option(volts), fc.boolean()).map(([stoodV, emptied]): Step => held =>
    followed(held, { verdict: 'unmeasured', text: 'NOT SAFE TO TOUCH: UNMEASURED (no reading)' },
      stoodV === null ? held.presumedV : Math.max(stoodV, held.presumedV ?? 0), emptied)),
)
const walk = (steps: readonly Step[], from: Held): Held => steps.reduce((held, step) => step(held), from)

describe('what a position is known to hold', () => {
  it('forgets presumed volts by a proof of dead alone', () => {
    fc.assert(fc.property(volts, fc.array(others, { maxLength: 12 }), (mostV, steps) => {
      const held = walk(steps, found(mostV))
      expect(held.presumedV).toBeGreaterThanOrEqual(mostV)
      expect(isKnownLow(held)).toBe(false)
      if (mostV >= touchSafeV) expect(isOpen(held, touchSafeV)).toBe(true)
      expect(followed(held, dead, held.presumedV, true)).toMatchObject({ state: 'dead', presumedV: null })
    }))
  })

  it('has words that it is not safe to touch in every state but read low and dead', () => {
    fc.assert(fc.property(fc.array(fc.oneof(others, proof), { maxLength: 12 }), steps => {
      const held = walk(steps, unread)
      expect(held.words.startsWith('NOT SAFE TO TOUCH')).toBe(!isKnownLow(held))
    }))
  })

  it('is open from the first contact with the bus until it is proved dead', () => {
    fc.assert(fc.property(fc.array(fc.oneof(others, proof), { maxLength: 12 }), steps => {
      const held = left(connected(walk(steps, unread)))
      expect(held.emptied).toBe(false)
      expect(isOpen(connected(held), touchSafeV)).toBe(true)
      expect(isOpen(held, touchSafeV)).toBe(true)
      expect(isOpen(followed(held, dead, 400, true), touchSafeV)).toBe(false)
    }))
  })

  it('stays open when it was looked at, nothing could be read, and nothing tells what it held', () => {
    const lost = followed(left(connected(unread)), { verdict: 'unmeasured', text: 'NOT SAFE TO TOUCH: UNMEASURED' }, null, false)
    expect(isOpen(lost, touchSafeV)).toBe(true)
  })

  it('may be charged from the bus on until it is proved dead, and not before', () => {
    for (const held of [unread, readLow(unread, touchSafeV)]) expect(mayBeCharged(held)).toBe(false)
    fc.assert(fc.property(fc.array(others, { maxLength: 8 }), steps => {
      const held = walk([...steps, left], left(connected(unread)))
      expect(mayBeCharged(held)).toBe(true)
      expect(mayBeCharged(followed(held, dead, 400, true))).toBe(false)
    }))
  })

  it('is not open where the little that it held cannot hurt', () => {
    const low = followed(left(connected(unread)), { verdict: 'unmeasured', text: 'NOT SAFE TO TOUCH: UNMEASURED' }, touchSafeV - 1, false)
    expect(isOpen(low, touchSafeV)).toBe(false)
  })
})
