/** Potentiometers with several tracks on one shaft: each proven, and how far they go apart. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { potentiometer } from '../../src/screening/from-list-kinds.ts'
import { judge } from '../../src/screening/grade.ts'
import { decibels, fromTheLeft } from '../../src/screening/methods/ganged.ts'
import type { Guide } from '../../src/screening/methods/guide.ts'
import { planScreening } from '../../src/screening/plan.ts'
import { asked } from './asked.ts'
import { PhysicsJig, wholeReach } from './physics-jig.ts'

const item = { id: 'RV1', part: asked['ganged-potentiometer']! }
const pot = (values: Record<string, number> = {}, pins?: readonly string[]): Component => {
  const { truth } = makeComponent('ganged-potentiometer', usualRatings['ganged-potentiometer'], 7)
  return new Component({ ...truth, values: { ...truth.values, ...values }, pins: pins ?? truth.pins }, 7)
}
const proven = async (part: Component, guide?: (jig: PhysicsJig) => Guide, seed = 3) => {
  const jig = new PhysicsJig(part, seed)
  const proof = await prove(jig, item, {}, guide ? guide(jig) : jig.guide)
  return { proof, verdict: judge(item, proof, []), jig }
}
const share = (turned: number, mid: number): number => turned < 0.5 ? 2 * mid * turned : mid + (2 * turned - 1) * (1 - mid)

describe('a potentiometer with two gangs', () => {
  it('has its tracking in decibels as it is, with an uncertainty that holds, and is never given more than meters use', async () => {
    let outside = 0
    for (let seed = 1; seed <= 60; seed++) {
      const { truth } = makeComponent('ganged-potentiometer', usualRatings['ganged-potentiometer'], seed)
      const values = { ...truth.values, midShare: 0.46, midShare2: 0.52, ohm2: 11e3 }
      const { proof, jig } = await proven(new Component({ ...truth, values }, seed), undefined, seed)
      const v = values as unknown as Record<string, number>
      const level = (gang: '' | '2', turned: number): number =>
        (v[`endOhm${gang}`]! + share(turned, v[`midShare${gang}`]!) * v[`ohm${gang}`]!) / (v[`ohm${gang}`]! + 2 * v[`endOhm${gang}`]!)
      const worst = Math.max(...[0.25, 0.5, 0.75].map(turned => Math.abs(20 * Math.log10(level('', turned) / level('2', turned)))))
      const { value, u } = proof.findings.find(({ name }) => name === 'tracking')!.measured
      if (Math.abs(value - worst) > 2 * u) outside++
      expect([u < 0.1, jig.mostV, jig.mostA]).toEqual([true, 0, 0])
    }
    expect(outside).toBeLessThan(11)
  })

  it('is told by the gang that is bad, and by gangs of different laws', async () => {
    const worst = async (values: Record<string, number>) => (await proven(pot({ ohm: 10e3, ohm2: 10e3, ...values }))).verdict
    expect((await worst({ midShare2: 0.15 })).reason).toMatch(/^tracking .* dB/)
    expect((await worst({ endOhm2: 400 })).reason).toMatch(/^end resistance/)
    expect((await worst({ wornAt2: 0.6, wornOhm2: 900 })).reason).toMatch(/^wiper noise/)
    const far = await worst({ ohm2: 13e3 })
    expect([far.reason, far.criteria.find(({ grade }) => grade === 'reject')!.source]).toEqual([expect.stringMatching(/^resistance/), expect.stringMatching(/^gang 2: /)])
    const { truth } = pot()
    expect((await proven(new Component({ ...truth, lead: { pin: 'gang 2 wiper', ohm: 1e12, spread: 0.1 } }, 7))).verdict.reason).toMatch(/^gang 2: it never conducted: a leg is open/)
  })

  it('has the same tracking whichever ends the leads lie at', async () => {
    const values = { midShare: 0.5, midShare2: 0.42 }
    const straight = await proven(pot(values))
    // The marks of the second gang are the other way round: the person puts lead 3 to its right end.
    const crossed = await proven(pot(values, ['gang 1 end', 'gang 1 wiper', 'gang 1 other end', 'gang 2 other end', 'gang 2 wiper', 'gang 2 end']))
    const of = ({ proof }: typeof straight): number => proof.findings.find(({ name }) => name === 'tracking')!.measured.value
    expect(Math.abs(of(straight) - of(crossed))).toBeLessThan(0.1)
  })

  it('is not judged where nobody moves leads or shaft, and the session is told all the while that it goes on', async () => {
    let goesOn = 0
    const only = (words: RegExp) => (jig: PhysicsJig): Guide => ({ say: text => { if (!words.test(text)) jig.guide.say(text) }, goesOn: () => goesOn++ })
    expect((await proven(pot(), only(/gang 2/))).verdict).toMatchObject({ grade: 'cannot tell', reason: 'gang 2: nobody moved the leads to it' })
    expect(goesOn).toBeGreaterThan(500)
    expect((await proven(pot(), only(/^lead|gang 1, lead 2/))).verdict).toMatchObject({ grade: 'cannot tell', reason: 'gang 2: nobody moved the leads to it' })
    expect((await proven(pot(), only(/three quarters/))).verdict).toMatchObject({ grade: 'cannot tell', reason: expect.stringMatching(/not set to three quarters/) })
  })

  it('needs four terminals, and time for every gang', () => {
    const three = planScreening([item], { ...wholeReach, terminals: 3 }, { touchSafeV: 60, handlingS: 4 })
    expect(three.cannot[0]!.why).toMatch(/four leads, the jig has 3/)
    const plain = { id: 'RV2', part: asked.potentiometer! }
    const [ganged, single] = [[item], [plain]].map(items => planScreening(items, wholeReach, { touchSafeV: 60, handlingS: 4 }).expectedS)
    expect(ganged!).toBeGreaterThan(single! + 30)
  })
})

describe('shares at three places', () => {
  const u = 0.001
  it('are taken from the end that was turned away from, or not at all', () => {
    const fraction = fc.double({ min: 0.05, max: 0.95, noNaN: true })
    fc.assert(fc.property(fc.array(fraction, { minLength: 3, maxLength: 3 }), fc.array(fraction, { minLength: 3, maxLength: 3 }), (ones, others) => {
      const got = fromTheLeft(ones.map((one, i) => [{ value: one, u }, { value: others[i]!, u }]))
      const isOneWay = (list: number[]): boolean => new Set(list.slice(1).map((value, i) => Math.sign(value - list[i]!))).size === 1 && list[1] !== list[0]
      expect(got !== null).toBe(isOneWay(ones) && isOneWay(others))
      for (const gang of [0, 1]) if (got) expect(got[0]![gang]!.value).toBeLessThan(got[2]![gang]!.value)
    }))
  })
  it('one half of the other are 6.02 dB apart', () => {
    const { value, u: level } = decibels({ value: 0.25, u: 0.0025 }, { value: 0.5, u: 0 })
    expect([value, level]).toEqual([expect.closeTo(-6.0206, 4), expect.closeTo(0.0869, 4)])
  })
})

describe('gangs of a list', () => {
  const of = (valueText: string, note = '') => potentiometer({ valueText, note } as PartsLine, { nominal: 1e4, minus: 0.2, plus: 0.2, source: 'list' }).gangs
  it('are as many as words say, with the tracking that it states', () => {
    expect(of('10k log', 'stereo, tracking 2 dB')).toEqual({ count: 2, trackingDb: { high: 2, source: 'tracking of the parts list' } })
    expect(of('10k lin', 'four-gang')).toMatchObject({ count: 4, trackingDb: { high: 3 } })
    expect(of('10k 2-gang')).toMatchObject({ count: 2 })
    for (const text of ['10k lin', '10k log, dualistic']) expect(of(text)).toBeUndefined()
  })
})
