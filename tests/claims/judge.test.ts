/** How claims end: what counts, what does not and why, and which way bounds may be used. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { judgeClaim } from '../../src/claims/judge.ts'
import { conditionsOf, kinds } from '../../src/claims/kinds.ts'
import { readClaim } from '../../src/claims/read.ts'
import { claim as claimShape, type Claim, type ClaimVerdict } from '../../src/schema/claims.ts'
import { figureUnits, type Conditions, type Figure, type FigureQuantity } from '../../src/schema/figure.ts'
import { anyClaim } from './arbitrary.ts'

const claimOf = (words: string): Claim => {
  const read = readClaim(words)
  if (!read.ok || read.claims.length !== 1) throw new Error(JSON.stringify(read))
  return read.claims[0]!
}
const figure = (quantity: FigureQuantity, value: number, u: number, conditions: Conditions, more: Partial<Figure> = {}): Figure =>
  ({ quantity, channel: 'left', value, unit: figureUnits[quantity], u, conditions, notes: [], ...more })
const judged = (words: string, figures: readonly Figure[], channels: readonly string[] = ['left']): ClaimVerdict =>
  judgeClaim({ words, claim: claimOf(words) }, figures, channels)

const at = { distortion: 0.02, distortionOf: 'thd', loadOhm: 249, driven: 'all' } as const
const power = (value: number, frequencyHz: number, over: Partial<Conditions> = {}, more: Partial<Figure> = {}): Figure =>
  figure('output power', value, 0.3, { ...at, frequencyHz, ...over }, more)
const words = '40 W into a 100 V line at 2 % THD, all channels driven, 80 Hz to 12 kHz'

describe('a claim over a band', () => {
  const whole = [power(43, 80), power(46, 1000), power(42, 12e3)]
  it('is met by figures at both ends and between, the worst first', () => {
    const verdict = judged(words, whole)
    expect(verdict).toMatchObject({ end: 'met', words })
    expect(verdict.figures.map(({ value }) => value)).toEqual([42, 43, 46])
    expect(verdict.margin).toBeCloseTo(2, 12)
    expect(verdict.pConform).toBeGreaterThan(0.999)
    expect(verdict.reason).toBe('(42.00 ± 0.60) W on channel left, the worst of 3 figures; at least 40 W is claimed.')
  })
  it('is not met by one failure anywhere in it', () => {
    expect(judged(words, [power(46, 1000), power(35, 5000)])).toMatchObject({ end: 'not met', margin: -5, figures: [{ value: 35 }, { value: 46 }] })
  })
  it.each([
    [[power(43, 80), power(46, 1000)], 'nothing was measured at 12 kHz on channel left.'], [[power(46, 1000), power(42, 12e3)], 'nothing was measured at 80 Hz on channel left.'],
    [[power(43, 80), power(42, 12e3)], 'nothing was measured between 80 Hz and 12 kHz on channel left.'], [[], 'no output power was measured on channel left.'],
  ])('cannot be told while a part of it is missing', (figures, reason) => {
    expect(judged(words, figures)).toMatchObject({ end: 'cannot be told', reason, pConform: NaN })
  })
  it('needs every channel that it is of', () => {
    const right = whole.map(one => ({ ...one, channel: 'right' }))
    expect(judged(words, whole, ['left', 'right'])).toMatchObject({ end: 'cannot be told', reason: 'no output power was measured on channel right.' })
    expect(judged(words, [...whole, ...right], ['left', 'right']).end).toBe('met')
    expect(judged(`${words}, channel left`, whole, ['left', 'right']).end).toBe('met')
    expect(judged(words, [...whole, power(30, 1000, {}, { channel: 'right' })], ['left', 'right'])).toMatchObject({ end: 'not met', margin: -10 })
    // Another channel is none of its matter.
    expect(judged(`${words}, channel left`, [...whole, power(30, 1000, {}, { channel: 'right' })], ['left', 'right']).end).toBe('met')
  })
})

describe('a figure', () => {
  const spot = '40 W into 8 Ω at 1 % THD, 1 kHz, all channels driven'
  const under = { distortion: 0.01, distortionOf: 'thd', loadOhm: 8, driven: 'all', frequencyHz: 1000 } as const
  const ended = (value: number, over: Partial<Conditions>): ClaimVerdict => judged(spot, [figure('output power', value, 0.2, { ...under, ...over })])
  it.each<[string, Partial<Conditions>, RegExp]>([
    ['with another load', { loadOhm: 4 }, /measured into 4 Ω, claimed into 8 Ω/], ['without a load said', { loadOhm: undefined }, /the claim is into 8 Ω, and the figure does not say/],
    ['with one channel driven', { driven: 'one' }, /measured one channel driven, claimed all channels driven/], ['at another frequency', { frequencyHz: 100 }, /measured at 100 Hz, claimed at 1 kHz/],
    ['at more distortion', { distortion: 0.1 }, /measured at 10 % THD, claimed at 1 % THD/],
  ])('%s does not count, good or bad', (_, over, reason) => {
    for (const value of [60, 20]) {
      const verdict = ended(value, over)
      expect(verdict).toMatchObject({ end: 'cannot be told', figures: [], margin: NaN, pConform: NaN })
      expect(verdict.reason).toMatch(reason)
    }
  })
  it.each<[string, Partial<Conditions>]>([
    ['less distortion', { distortion: 0.005 }], ['distortion with its noise', { distortionOf: 'thd+n' }], ['a whole band', { frequencyHz: undefined, bandLowHz: 20, bandHighHz: 20e3 }],
  ])('of what is harder, %s, shows only that a claim is met', (_, over) => {
    expect(ended(45, over).end).toBe('met')
    const bad = ended(30, over)
    expect(bad).toMatchObject({ end: 'cannot be told', figures: [] })
    expect(bad.reason).toMatch(/harder than claimed, which can only show that it is met/)
  })
  it('measured in a narrower band does not count, and in a wider one shows only that it is met', () => {
    const noise = (bandLowHz: number, bandHighHz: number, value: number): ClaimVerdict =>
      judged('noise under 1 mV, unweighted, 20 Hz to 20 kHz', [figure('noise', value, 1e-5, { weighting: 'flat', bandLowHz, bandHighHz })])
    expect(noise(20, 20e3, 5e-4).end).toBe('met')
    expect(noise(20, 20e3, 2e-3).end).toBe('not met')
    expect(noise(300, 3400, 5e-4)).toMatchObject({ end: 'cannot be told', reason: 'no figure answers on channel left: measured 300 Hz to 3.4 kHz, claimed 20 Hz to 20 kHz.' })
    expect(noise(10, 80e3, 5e-4).end).toBe('met')
    expect(noise(10, 80e3, 2e-3).end).toBe('cannot be told')
  })
  it('too near to its bound cannot be told from it', () => {
    const verdict = ended(40.1, {})
    expect(verdict).toMatchObject({ end: 'cannot be told', figures: [{ value: 40.1 }] })
    expect(verdict.reason).toBe('(40.10 ± 0.40) W on channel left; at least 40 W is claimed, and it lies too near: 69.1 % that this figure is within.')
    expect(verdict.pConform).toBeCloseTo(0.6915, 3)
  })
  it('of another quantity, or of the unit where channels are claimed, is passed over', () => {
    expect(judged('THD under 1 %, 1 kHz, any level', [figure('thd+n', 0.001, 1e-5, { frequencyHz: 1000 })]).reason).toBe('no thd was measured on channel left.')
    expect(judged('channel balance within 1 dB', [figure('channel balance', 0.3, 0.05, { frequencyHz: 1000 }, { channel: null })], ['left', 'right']).end).toBe('met')
    expect(judged('gain 34 dB ± 1 dB', [figure('gain', 34, 0.05, { frequencyHz: 1000 }, { channel: null })]).end).toBe('cannot be told')
  })
})

describe('a quantity that goes either way', () => {
  it('that is claimed at most so far is claimed to both sides', () => {
    const claim: Claim = { quantity: 'dc offset', most: 0.05, conditions: {} }
    for (const [value, end] of [[0.02, 'met'], [-0.02, 'met'], [0.08, 'not met'], [-0.08, 'not met']] as const) {
      expect(judgeClaim({ words: 'x', claim }, [figure('dc offset', value, 1e-3, {})], ['left']).end).toBe(end)
    }
    expect(claimShape.parse(claim)).toEqual({ ...claim, least: -0.05 })
    expect(claimShape.safeParse({ quantity: 'dc offset', least: -0.05 }).success).toBe(false)
  })
})

describe('a bound that the bench could not pass', () => {
  const noise = (bound: Figure['bound'], value: number, words: string): ClaimVerdict =>
    judged(words, [figure('noise', value, 1e-5, { weighting: 'flat', bandLowHz: 20, bandHighHz: 20e3 }, { ...bound && { bound } })])
  it.each([
    ['at most', 5e-4, 'noise at most 1 mV', 'met', 5e-4], ['at most', 2e-3, 'noise at most 1 mV', 'cannot be told', NaN], ['at most', 5e-4, 'noise at least 1 mV', 'not met', -5e-4], ['at most', 2e-3, 'noise at least 1 mV', 'cannot be told', NaN],
    ['at least', 2e-3, 'noise at most 1 mV', 'not met', -1e-3], ['at least', 5e-4, 'noise at most 1 mV', 'cannot be told', NaN], ['at least', 2e-3, 'noise at least 1 mV', 'met', 1e-3], ['at least', 5e-4, 'noise at least 1 mV', 'cannot be told', NaN],
    ['at most', 5e-4, 'noise between 0.1 mV and 1 mV', 'cannot be told', NaN], ['at least', 5e-4, 'noise between 0.1 mV and 1 mV', 'cannot be told', NaN], ['at least', 2e-3, 'noise between 0.1 mV and 1 mV', 'not met', -1e-3],
  ] as const)('%s %s V: %s is %s', (bound, value, claim, end, margin) => {
    const verdict = noise(bound, value, claim)
    expect(verdict.end).toBe(end)
    if (Number.isNaN(margin)) expect(verdict).toMatchObject({ margin, pConform: NaN })
    else expect(verdict.margin).toBeCloseTo(margin, 12)
  })
  it('is said', () => {
    expect(noise('at most', 2e-3, 'noise at most 1 mV').reason).toBe('at most (2.000 ± 0.020) mV on channel left; at most 1 mV is claimed, and a bound does not tell.')
  })
})

describe('any claim', () => {
  /** A figure under just what is claimed. */
  const answering = (claim: Claim, value: number, u: number, bound?: Figure['bound']): Figure =>
    figure(claim.quantity, value, u, claim.conditions, { channel: claim.quantity === 'channel balance' ? null : claim.channel ?? 'left', ...bound && { bound } })
  const widthOf = ({ least, most }: Claim): number => least !== undefined && most !== undefined ? most - least : Math.abs((least ?? most)!)
  const isPlain = ({ quantity, least, most }: Claim): boolean => kinds[quantity].sense !== 'signed' && (least ?? most) !== 0
  const any = anyClaim().filter(isPlain)
  const end = (claim: Claim, figures: readonly Figure[]) => judgeClaim({ words: 'x', claim }, figures, ['left']).end

  it('ends as its figure lies, and never the other way', () => {
    fc.assert(fc.property(any, fc.double({ min: -2, max: 2, noNaN: true }), fc.double({ min: 1e-3, max: 0.05, noNaN: true }), (claim, by, share) => {
      const { least, most } = claim
      const width = widthOf(claim)
      const u = share * width
      const value = (least ?? most)! + by * width
      const room = Math.min(value - (least ?? -Infinity), (most ?? Infinity) - value)
      const expected = room > 3 * u ? 'met' : room < -2 * u ? 'not met' : null
      const verdict = judgeClaim({ words: 'x', claim }, [answering(claim, value, u)], ['left'])
      if (expected) expect(verdict.end).toBe(expected)
      else expect(verdict.end).not.toBe(room > 0 ? 'not met' : 'met')
      expect(verdict.margin).toBeCloseTo(room, 9)
      expect(verdict.pConform >= 0 && verdict.pConform <= 1).toBe(true)
    }), { numRuns: 600, seed: 1974 })
  })
  it('is judged the same in whatever order figures come, and no worse figure makes it better', () => {
    fc.assert(fc.property(any, fc.array(fc.double({ min: -0.5, max: 0.5, noNaN: true }), { minLength: 1, maxLength: 5 }), (claim, places) => {
      const width = widthOf(claim)
      const figures = places.map(by => answering(claim, (claim.least ?? claim.most)! + by * width, 0.03 * width))
      expect(judgeClaim({ words: 'x', claim }, [...figures].reverse(), ['left'])).toEqual(judgeClaim({ words: 'x', claim }, figures, ['left']))
      const far = answering(claim, (claim.least ?? claim.most)! + (claim.least === undefined ? 5 : -5) * width, 0.001 * width)
      expect(end(claim, [...figures, far])).toBe('not met')
    }), { numRuns: 300, seed: 1974 })
  })
  it('is not judged by a figure that lacks what is claimed', () => {
    const some = any.filter(({ conditions }) => Object.keys(conditions).length > 0)
    fc.assert(fc.property(some, fc.nat(), (claim, which) => {
      const keys = Object.keys(claim.conditions).filter(key => key !== 'bandHighHz')
      const key = keys[which % keys.length]!
      const { [key as keyof Conditions]: _, ...rest } = claim.conditions
      const lacking = key === 'bandLowHz' ? { ...rest, bandHighHz: undefined } : rest
      // A band without its frequency is of all its frequencies.
      fc.pre(!(key === 'frequencyHz' && claim.conditions.bandLowHz !== undefined) && !(key === 'bandLowHz' && claim.conditions.frequencyHz === undefined && kinds[claim.quantity].frequency === 'none'))
      const value = (claim.least ?? claim.most)! + 10 * widthOf(claim)
      expect(judgeClaim({ words: 'x', claim }, [{ ...answering(claim, value, 1e-3 * widthOf(claim)), conditions: lacking }], ['left'])).toMatchObject({ end: 'cannot be told', figures: [] })
    }), { numRuns: 600, seed: 1974 })
  })
  it('has conditions that are held against each other, every one', () => {
    for (const quantity of Object.keys(kinds) as FigureQuantity[]) expect(new Set(conditionsOf(quantity)).size).toBe(conditionsOf(quantity).length)
  })
})
