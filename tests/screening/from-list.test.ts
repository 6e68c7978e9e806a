/** What is to be proven of the parts of a list: nothing is guessed, and every limit says where it comes from. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { partKinds, type PartsLine } from '../../src/schema/parts-list.ts'
import { itemsOf } from '../../src/screening/from-list.ts'
import type { ToProve } from '../../src/screening/to-prove.ts'

const line = (over: Partial<PartsLine>): PartsLine => ({
  line: 2, designators: [], quantity: 1, kind: null, kindFrom: 'list', material: null, dielectrics: [], safetyClasses: [], valueText: '',
  value: null, toleranceMinus: null, tolerancePlus: null, ratedV: null, ratedForm: null, ratedW: null, tempcoPpmPerK: null, ratingText: '', where: null, note: '',
  ...over,
})
const ohms = (si: number) => ({ quantity: 'resistance' as const, si, unit: 'Ω' as const })

/** Every `source` within a part. */
const sourcesIn = (part: ToProve): string[] => [...JSON.stringify(part).matchAll(/"source":"([^"]*)"/g)].map(([, text]) => text!)

describe('parts of a list', () => {
  it('are items of their own, by designator or by their number on the reel', () => {
    const value = { kind: 'resistor' as const, value: ohms(4700), toleranceMinus: 0.05, tolerancePlus: 0.05 }
    expect(itemsOf([line({ ...value, designators: ['R1', 'R7'], quantity: 2 }), line({ ...value, line: 3, quantity: 3 })]).items.map(({ id }) => id))
      .toEqual(['R1', 'R7', 'line 3 #1', 'line 3 #2', 'line 3 #3'])
  })

  it('are not proven on a guess: no kind, no value, no tolerance, no dielectric', () => {
    const why = (over: Partial<PartsLine>): string => itemsOf([line({ designators: ['X1'], ...over })]).cannot[0]!.why
    expect(why({})).toMatch(/what it is/)
    expect(why({ kind: 'resistor' })).toMatch(/no resistance/)
    expect(why({ kind: 'resistor', value: ohms(100) })).toMatch(/no tolerance/)
    expect(why({ kind: 'capacitor', dielectrics: ['film', 'paper'] })).toMatch(/dielectric/)
    expect(why({ kind: 'zener' })).toMatch(/zener voltage/)
    expect(why({ kind: 'tube' })).toMatch(/no method/)
  })

  it('each end up as an item or with a reason and a way out, and every limit names its source', () => {
    const any = fc.record({
      kind: fc.option(fc.constantFrom(...partKinds), { nil: null }), material: fc.constantFrom(null, 'silicon' as const, 'germanium' as const),
      value: fc.constantFrom(null, ohms(100), ohms(0), { quantity: 'capacitance' as const, si: 1e-7, unit: 'F' as const }),
      toleranceMinus: fc.constantFrom(null, 0.05), tolerancePlus: fc.constantFrom(null, 0.05), ratedV: fc.constantFrom(null, 5.6, 400),
      dielectrics: fc.subarray(['film', 'electrolytic', 'class-x'] as ('film' | 'electrolytic' | 'class-x')[]), quantity: fc.integer({ min: 1, max: 4 }),
    })
    fc.assert(fc.property(any, over => {
      const { items, cannot } = itemsOf([line(over)])
      expect(items.length + cannot.length).toBe(over.quantity)
      for (const { part } of items) expect(sourcesIn(part).every(source => source.length > 10)).toBe(true)
      for (const { why, wayOut } of cannot) expect(why !== '' && wayOut !== '').toBe(true)
      // A reverse voltage is never above what stays touch-safe on the jig.
      for (const { part } of items) if (part.kind === 'diode' && part.reverse) expect(part.reverse.voltageV).toBeLessThanOrEqual(20)
    }))
  })
})
