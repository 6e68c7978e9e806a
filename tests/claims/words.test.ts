/** What is written is read back, whatever a claim is, and for whatever unit. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { readClaim, type Rating } from '../../src/claims/read.ts'
import { claimWords } from '../../src/claims/words.ts'
import type { Claim } from '../../src/schema/claims.ts'
import { figureQuantities } from '../../src/schema/figure.ts'
import { anyClaim } from './arbitrary.ts'

const rating = (name: string): Rating => ({ name, ratedW: 40, loadOhm: 250, sourceOhm: 600 })
const known = ['left', 'right', 'monitor-2'].map(rating)
/** Rated differently, so that each would be a claim of its own where anything was assumed. */
const mixed: Rating[] = [rating('left'), { ...rating('right'), ratedW: 10 }, { ...rating('monitor-2'), loadOhm: 15, sourceOhm: 50 }]

function heldFor(claim: Claim, ratings: readonly Rating[]): void {
  const words = claimWords(claim)
  const read = readClaim(words, ratings)
  expect(read, words).toEqual({ ok: true, claims: [claim], assumed: expect.any(Array) as string[] })
}

describe('canonical words', () => {
  it.each(figureQuantities)('of any claim of %s are read back to the last bit', quantity => {
    fc.assert(fc.property(anyClaim(quantity), claim => { heldFor(claim, []) }), { numRuns: 400, seed: 1974 })
  })
  it('are read the same for any unit, but for its rated output', () => {
    const whole = anyClaim().filter(({ conditions: { reference } }) => reference !== 'rated output')
    fc.assert(fc.property(whole, claim => { heldFor(claim, known); heldFor(claim, mixed) }), { numRuns: 1000, seed: 1974 })
  })
  it('say what a person would', () => {
    expect(claimWords({ quantity: 'output power', least: 40, conditions: { distortion: 0.02, distortionOf: 'thd', bandLowHz: 80, bandHighHz: 12e3, loadOhm: 250 } }))
      .toBe('output power at least 40 W, at 2 % THD, 80 Hz to 12 kHz, into 250 Ω')
    expect(claimWords({ quantity: 'response deviation', least: -1, most: 0.5, conditions: { bandLowHz: 20, bandHighHz: 20e3 }, channel: 'left' }))
      .toBe('response +0.5/-1 dB, 20 Hz to 20 kHz, channel left')
    expect(claimWords({ quantity: 'noise', most: 5e-4, conditions: {} })).toBe('noise at most 500 µV, any weighting, any band, any source')
  })
})
