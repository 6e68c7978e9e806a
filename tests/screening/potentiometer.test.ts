/** Potentiometers: legs found, and what a turn by hand shows of ends, noise and law. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import type { Measured } from '../../src/schema/reading.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { potentiometer } from '../../src/screening/from-list-kinds.ts'
import { judge } from '../../src/screening/grade.ts'
import type { Guide } from '../../src/screening/methods/guide.ts'
import { judgePairs, steppedBack } from '../../src/screening/methods/potentiometer.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import { asked } from './asked.ts'
import { PhysicsJig } from './physics-jig.ts'

const item = { id: 'RV1', part: asked.potentiometer! }
const pot = (values: Record<string, number> = {}, pins?: readonly string[]): Component => {
  const { truth } = makeComponent('potentiometer', usualRatings.potentiometer, 7)
  return new Component({ ...truth, values: { ...truth.values, ...values }, pins: pins ?? truth.pins }, 7)
}
const proven = async (part: Component, guide?: (jig: PhysicsJig) => Guide) => {
  const jig = new PhysicsJig(part, 3)
  const proof = await prove(jig, item, {}, guide ? guide(jig) : jig.guide)
  return { proof, verdict: judge(item, proof, []) }
}

describe('a potentiometer', () => {
  it.each([['end', 'wiper', 'other end'], ['wiper', 'end', 'other end'], ['end', 'other end', 'wiper']])(
    'has its wiper found with legs %s, %s, %s, wherever its shaft stood', async (...pins) => {
      for (const share of [0, 0.02, 0.5, 0.97, 1]) {
        const { verdict } = await proven(pot({ share }, pins))
        expect(verdict.grade, verdict.reason).toBe('accept')
        expect(verdict.notes.join()).toContain(`wiper ${pins.indexOf('wiper') + 1}`)
      }
    })

  it('is told by what is left at an end, by a worn spot, and by its law', async () => {
    const worst = async (values: Record<string, number>): Promise<string> => (await proven(pot({ ohm: 10e3, ...values }))).verdict.reason
    expect(await worst({ endOhm: 400 })).toMatch(/^end resistance/)
    expect(await worst({ wornAt: 0.6, wornOhm: 900 })).toMatch(/^wiper noise/)
    expect(await worst({ midShare: 0.15 })).toMatch(/^share at half a turn/)
    expect(await worst({ ohm: 13e3 })).toMatch(/^resistance/)
  })

  it('measures noise and ends as they are', async () => {
    const { proof } = await proven(pot({ endOhm: 12, wiperOhm: 3, wiperSpread: 0, wornAt: 0.5, wornOhm: 2000 }))
    const of = (name: string) => proof.findings.filter(finding => finding.name === name).map(({ measured }) => measured.value)
    for (const end of of('end resistance')) expect(end).toBeCloseTo(15.1, 1)
    // The wiper goes on by some hundredths of the track while it leaves the spot.
    expect(of('wiper noise')[0]).toBeGreaterThan(1700)
    expect(of('wiper noise')[0]).toBeLessThan(2050)
  })

  it('that nobody turns is not judged, and the session is told all the while that it goes on', async () => {
    let goesOn = 0
    const said: string[] = []
    const { verdict } = await proven(pot({ share: 0.5 }), () => ({ say: text => said.push(text), goesOn: () => goesOn++ }))
    expect([verdict.grade, said]).toEqual(['cannot tell', ['turn the shaft to a stop and leave it there']])
    expect(goesOn).toBeGreaterThan(100)
    const atStop = await proven(pot({ share: 0 }), () => ({ say: text => said.push(text), goesOn: () => {} }))
    expect([atStop.verdict.grade, said.at(-1)]).toEqual(['cannot tell', 'set the shaft to the middle'])
  })

  it('never asks a person to turn what is another part', async () => {
    const said: string[] = []
    const { verdict } = await proven(pot({ ohm: 100e3 }), () => ({ say: text => said.push(text), goesOn: () => {} }))
    expect([verdict.grade, verdict.strange, said]).toEqual(['reject', true, []])
  })
})

describe('three ohms between three legs', () => {
  it('are a track, a stop, or a leg that is open', () => {
    fc.assert(fc.property(fc.array(fc.constantFrom(0, 1, 50, 500, 9500, 1e4, Infinity), { minLength: 3, maxLength: 3 }), ohms => {
      const found = judgePairs([{ high: 1, low: 2 }, { high: 1, low: 3 }, { high: 2, low: 3 }].map((pair, i) => ({ pair: pair as never, ohm: ohms[i]! })))
      if (ohms.some(ohm => ohm === Infinity)) expect(found).toMatchObject({ fault: 'open' })
      else if (found !== 'at a stop') expect([...(found as unknown as { ends: number[] }).ends, (found as { wiper: number }).wiper].sort()).toEqual([1, 2, 3])
    }))
  })
})

describe('the largest step back', () => {
  const seen = (...values: number[]): Measured[] => values.map(value => ({ value, u: 0.1, quality: 'good' as const, atMs: 0 }))
  it('is counted from the furthest point that was reached, whichever way it is turned', () => {
    expect(steppedBack(seen(0, 10, 20, 14, 16, 30), 1).value).toBe(6)
    expect(steppedBack(seen(30, 20, 28, 5), -1).value).toBe(8)
    expect(steppedBack(seen(1, 2, 3), 1).value).toBe(0)
  })
  it('is never less than the fall between any two looks, and never negative', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: 0, max: 1e4, noNaN: true }), { minLength: 2, maxLength: 30 }), values => {
      const { value } = steppedBack(seen(...values), 1)
      for (let i = 0; i < values.length; i++) for (let j = i + 1; j < values.length; j++) expect(value).toBeGreaterThanOrEqual(values[i]! - values[j]!)
    }))
  })
})

describe('the law of a list', () => {
  const halfOf = (valueText: string, note = '') =>
    potentiometer({ valueText, note } as PartsLine, { nominal: 1e4, minus: 0.2, plus: 0.2, source: 'list' }).half
  it('is taken from words, never from letters that mean different laws in different lands', () => {
    expect(halfOf('10k lin')).toMatchObject({ low: 0.38 })
    expect(halfOf('10k', 'audio taper')).toMatchObject({ high: 0.3 })
    for (const text of ['A10k', 'B10k', '10k', '10k login']) expect(halfOf(text)).toBeNull()
  })
})
