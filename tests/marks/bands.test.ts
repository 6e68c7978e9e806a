import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { decodeBands } from '../../src/marks/bands.ts'
import { colourNames } from '../../src/marks/colours.ts'
import { seriesMembers } from '../../src/marks/eseries.ts'

const digitColours = ['black', 'brown', 'red', 'orange', 'yellow', 'green', 'blue', 'violet', 'grey', 'white']
const powerColours: Record<string, string> = { '-2': 'silver', '-1': 'gold' }

describe('colour bands', () => {
  it('of any value are read back', () => {
    fc.assert(fc.property(fc.constantFrom(...seriesMembers('E96')), fc.integer({ min: -2, max: 6 }), (three, power) => {
      const bands = [...String(three)].map(digit => digitColours[Number(digit)]!)
      const decoded = decodeBands([...bands, powerColours[power] ?? digitColours[power]!, 'brown'])
      expect(decoded).toMatchObject({ ok: true, mark: { value: Number(`${three}e${power}`), tolerancePlus: 0.01 } })
    }))
  })

  it('tell what else they may mean: four and one more, and from the other end', () => {
    const why = (bands: string): string[] => {
      const decoded = decodeBands(bands.split(' '))
      return decoded.ok ? decoded.mark.alternatives.map(({ change, why: said }) => `${change.value} ${said.split(',')[0]}`) : []
    }
    expect(why('brown black black gold brown')).toEqual(['10 four bands and a fifth for failure rate or solderability'])
    expect(why('brown black black red brown')).toEqual(['10 four bands and a fifth for failure rate or solderability', '120 read from the other end'])
    expect(why('yellow violet red gold')).toEqual([])
  })

  it('with a fifth that fits no fifth are four and one more', () => {
    expect(decodeBands(['yellow', 'violet', 'red', 'gold', 'white'])).toMatchObject({ ok: true, mark: { value: 4700, tolerancePlus: 0.05 } })
  })

  it('one black band is a link', () => { expect(decodeBands(['Black'])).toMatchObject({ ok: true, mark: { value: 0 } }) })

  it('of a capacitor leave open whether film or tantalum is meant, where both would do', () => {
    const both = decodeBands(['blue', 'grey', 'red'], { sort: 'capacitor' })
    expect(both).toMatchObject({ ok: false, readings: [{ value: 6.8e-9, dielectric: 'film' }, { value: 6.8e-3, dielectric: 'tantalum' }] })
    expect(decodeBands(['blue', 'grey', 'white', 'pink'], { sort: 'capacitor' })).toMatchObject({ ok: true, mark: { value: 6.8e-6, ratedV: 35 } })
  })

  it.each([
    ['red foo bar', {}, [2, 3]], ['gold red red', {}, [1]], ['black red red', {}, [1]], ['red gold red', {}, [2]], ['red red red white', {}, [4]],
    ['red red', {}, [3]], ['red red red red red white', {}, [6]], ['red', { sort: 'inductor' }, [1]], ['red red white', { dielectric: 'film' }, [3]],
    ['red red red red', { dielectric: 'film' }, [4]], ['red red red black black', { dielectric: 'film' }, [5]], ['red red blue', { dielectric: 'tantalum' }, [3]],
    ['red red red red', { dielectric: 'tantalum' }, [4]], ['red red red', { dielectric: 'mica' }, [1]], ['red red white red', { sort: 'capacitor' }, [3, 4]],
  ] as const)('%s %o is refused at band %o', (bands, options, columns) => {
    const decoded = decodeBands(bands.split(' '), options)
    expect(decoded.ok).toBe(false)
    if (!decoded.ok) expect(decoded.problems.map(({ column }) => column)).toEqual(columns)
  })

  it('of any words are read or refused', () => {
    const word = fc.oneof(fc.constantFrom(...colourNames, 'none', 'gray', 'toString', ''), fc.string({ maxLength: 4 }))
    const sort = fc.constantFrom(undefined, 'resistor', 'capacitor', 'inductor') as fc.Arbitrary<'resistor' | undefined>
    const dielectric = fc.constantFrom(undefined, 'film', 'tantalum', 'mica') as fc.Arbitrary<'film' | undefined>
    fc.assert(fc.property(fc.array(word, { maxLength: 8 }), sort, dielectric, (words, one, other) => {
      const decoded = decodeBands(words, { sort: one, dielectric: other })
      if (decoded.ok) expect(Number.isFinite(decoded.mark.value)).toBe(true)
      else expect(decoded.problems.length).toBeGreaterThan(0)
    }), { numRuns: 1000 })
  })
})
