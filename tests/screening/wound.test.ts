/** Transformers of several windings and with taps: what is measured with what, and what comes of it against known truth. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type Defect } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { windingsOf } from '../../mocks/components/windings.ts'
import type { ImpedanceReading, Pair } from '../../src/schema/jig.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { transformer, windingsIn } from '../../src/screening/from-list-transformer.ts'
import { judge } from '../../src/screening/grade.ts'
import { levelsOf } from '../../src/screening/methods/winding-levels.ts'
import { ledFirst, moveTo, nameOf, passesOf } from '../../src/screening/methods/winding-passes.ts'
import { planScreening } from '../../src/screening/plan.ts'
import type { Transformer } from '../../src/screening/to-prove.ts'
import { asked } from './asked.ts'
import { PhysicsJig, wholeReach } from './physics-jig.ts'

const item = { id: 'T1', part: asked['tapped-transformer'] as Transformer }
const tapped = (seed: number, defect?: Defect): Component =>
  makeComponent('tapped-transformer', usualRatings['tapped-transformer'], seed, defect ? { defect } : {})
const proven = async (part: Component, seed = 3, asks = item) => {
  const jig = new PhysicsJig(part, seed)
  return await prove(jig, asks, {}, jig.guide)
}
const listed = (valueText: string, note = '', over: Partial<PartsLine> = {}) =>
  transformer({ valueText, note, ratingText: '', value: null, toleranceMinus: null, tolerancePlus: null, ...over } as PartsLine)

describe('windings as they are written', () => {
  it.each([
    ['10:1', [[10], [1]]], ['230 V : 12-0-12 V : 6.3 V', [[230], [12, 12], [6.3]]], ['0-110-220:2x12', [[110, 110], [12], [12]]],
    ['230:0-12-15', [[230], [12, 3]]], ['240:350-0-350:5:6,3', [[240], [350, 350], [5], [6.3]]],
  ])('%s', (text, windings) => expect(windingsIn(text)).toEqual(windings))
  it.each(['0:3', '230:12-12', '230:0-15-12', '230:12-0-0'])('%s are none', text => expect(windingsIn(text)).toBeNull())

  it('are found in a line with what it is rated for, and taps make it more than two', () => {
    const one = listed('230 V : 12-0-12 V : 6.3 V', '30 VA, regulation 15 %, 60 Hz') as Transformer
    expect(one.wound).toMatchObject({ windings: [[230], [12, 12], [6.3]], below: 0.03, above: 0.25 })
    expect(one.rated).toEqual({ apparentVA: 30, windingsV: [230, 24, 6.3], frequencyHz: 60, regulation: { high: 0.15, source: 'regulation of the parts list' } })
    expect(listed('10:1')).not.toHaveProperty('wound')
    expect(listed('230:12-0-12')).toMatchObject({ wound: { above: 0.03 } })
    // 12 V under load may be 15 V without: fewer turns on the other for each of its own.
    expect((listed('240 V : 12 V', '6 VA') as Transformer).ratio).toMatchObject({ nominal: 20, low: 16 })
  })
})

describe('passes', () => {
  const any = fc.array(fc.array(fc.double({ min: 1, max: 500, noNaN: true }), { minLength: 1, maxLength: 4 }), { minLength: 2, maxLength: 6 })
  it('hold every part of every winding against another winding once, and never a winding against itself', () => {
    fc.assert(fc.property(any, windings => {
      const passes = passesOf(windings)
      const names = passes.map(({ other }) => nameOf(other))
      expect(new Set(names).size).toBe(names.length)
      const parts = windings.flatMap((own, i) => i === 0 && own.length === 1 ? [] : own)
      expect(passes).toHaveLength(parts.length)
      for (const { one, other } of passes) expect(one.winding).not.toBe(other.winding)
      for (const [i, pass] of passes.slice(1).entries()) expect(moveTo(passes[i]!, pass).pairs.length).toBeGreaterThan(0)
    }))
  })
  it('are told in words a person can follow', () => {
    const passes = passesOf([[230], [12, 12]])
    expect(ledFirst(passes[0]!)).toBe('lead 1 to the beginning of winding 1, lead 2 to its end, lead 3 to the beginning of winding 2, lead 4 to its tap 1')
    expect(moveTo(passes[0]!, passes[1]!).text).toBe('take leads 3 and 4 off, then lead 3 to tap 1 of winding 2, lead 4 to its end')
  })
})

describe('a transformer of three windings, one with a tap in its middle', () => {
  it('has the turns and copper of each part as they are, with uncertainties that hold', async () => {
    const outside = { ratio: 0, halves: 0 }
    for (let seed = 1; seed <= 80; seed++) {
      const { truth } = tapped(seed)
      const { findings, figures, fault } = await proven(new Component(truth, seed), seed)
      expect(fault).toBeNull()
      const { values } = truth
      const ratios = findings.filter(({ name }) => name === 'turns ratio')
      for (const [i, coil] of ['2.1', '2.2', '3.1'].entries()) {
        const { value, u } = ratios[i]!.measured
        if (Math.abs(value - values['turns1.1']! / values[`turns${coil}`]!) > 2 * u) outside.ratio++
      }
      const { value, u } = findings.find(({ name }) => name === 'halves of a winding')!.measured
      if (Math.abs(value - values['turns2.1']! / values['turns2.2']!) > 2 * u) outside.halves++
      expect(figures['ohm20C, winding 3']! / (values['ohm3.1']! * (1 - 5 * 0.00393))).toBeCloseTo(1, 1)
    }
    // Of 240 and 80 some 5 % lie outside two standard uncertainties; more than that comes by chance once in ten thousand.
    expect(outside.ratio).toBeLessThan(27)
    expect(outside.halves).toBeLessThan(13)
  })

  it('is said to lie the other way round by the winding that does, and to be marked wrongly where halves oppose', async () => {
    expect((await proven(tapped(3, 'reversed'))).fault).toEqual({ is: 'reversed', says: 'winding 3 lies the other way round' })
    expect((await proven(tapped(3, 'mislabelled'))).fault).toMatchObject({ is: 'other kind', says: expect.stringMatching(/work against each other/) })
  })

  it('with halves that differ, or turns that are lost, is rejected by that, and one far off asks whether leads lay elsewhere', async () => {
    const { truth } = tapped(7)
    const worst = async (values: Record<string, number>) =>
      judge(item, await proven(new Component({ ...truth, values: { ...truth.values, ...values } }, 7)), [])
    expect((await worst({ 'turns2.1': 12 * 1.025, 'turns2.2': 12 * 0.98 })).reason).toMatch(/^halves of a winding/)
    expect((await worst({ 'turns2.1': 12 * 1.06, 'turns2.2': 12 * 1.06 })).reason).toMatch(/^turns ratio/)
    expect(await worst({ 'turns3.1': 24 })).toMatchObject({ grade: 'reject', strange: true })
  })

  it('is not judged where nobody moves the leads, and an open winding is told by its name', async () => {
    const jig = new PhysicsJig(tapped(3), 3)
    let goesOn = 0
    const lazy = await prove(jig, item, {}, { say: text => { if (text.startsWith('join')) jig.guide.say(text) }, goesOn: () => goesOn++ })
    expect(lazy.fault).toEqual({ is: 'cannot tell', says: 'nobody moved the leads to winding 2 from tap 1 to end' })
    expect(goesOn).toBeGreaterThan(100)
    const { truth } = tapped(3)
    const broken = new Component({ ...truth, lead: { pin: 'winding 3 end', ohm: 1e12, spread: 0.1 } }, 3)
    expect((await proven(broken)).fault).toMatchObject({ is: 'open', says: expect.stringMatching(/^winding 3 never conducted/) })
  })

  it('has no lead above 20 V while the bridge works, whatever it steps up', async () => {
    let mostV = 0
    class Watched extends PhysicsJig {
      override async impedance(pair: Pair, setup: { frequencyHz: number; levelV: number }, joined?: Pair): Promise<ImpedanceReading> {
        const led = ({ high, low }: Pair): [number, number] => [this.part!.led(high - 1), this.part!.led(low - 1)]
        const [from, clip] = [led(pair), joined ? [led(joined)] : []]
        for (const points of windingsOf(this.part!.truth.pins)) {
          const to = [points[0]!, points.at(-1)!].map(pin => this.part!.terminal(pin)) as [number, number]
          const { re, im } = this.part!.ratio(setup.frequencyHz, from, to, clip)
          mostV = Math.max(mostV, setup.levelV * Math.hypot(re, im))
        }
        return super.impedance(pair, setup, joined)
      }
    }
    const { truth } = tapped(7)
    // 6.3:6.3-0-6.3:230 the other way round: the small ones are fed, and the large one lies open.
    const values = { ...truth.values, henry: 0.01, 'turns1.1': 6.3, 'turns2.1': 6.3, 'turns2.2': 6.3, 'turns3.1': 230, 'ohm1.1': 0.3, 'ohm2.1': 0.3, 'ohm2.2': 0.3, 'ohm3.1': 200, lossOhm: 900 }
    const part = { ...item.part, wound: { ...item.part.wound!, windings: [[6.3], [6.3, 6.3], [230]] }, henry: null, ratio: { nominal: 2, low: 1.9, high: 2.1, source: 'check' } }
    const jig = new Watched(new Component({ ...truth, values }, 7), 3)
    const { fault } = await prove(jig, { id: 'T1', part }, {}, jig.guide)
    expect(fault).toBeNull()
    expect(mostV).toBeGreaterThan(5)
    expect(mostV).toBeLessThan(22)
  })

  it('is refused by the plan where the least level would step up too far, and takes time for the leads', () => {
    const steep: Transformer = { ...item.part, wound: { ...item.part.wound!, windings: [[1], [3000]] }, ratio: { nominal: 3000, source: 'check' } }
    expect(levelsOf(steep, 3000, wholeReach)).toBeNull()
    const plan = planScreening([{ id: 'T1', part: steep }, item], wholeReach, { touchSafeV: 60, handlingS: 4 })
    expect(plan.cannot).toMatchObject([{ id: 'T1', why: expect.stringMatching(/step up/) }])
    expect(plan.groups[0]!.expectedS).toBeGreaterThan(50)
    expect(plan.groups[0]!.setUp.leads).toMatch(/then moved 2 times/)
  })
})

describe('regulation', () => {
  it('is what the physics gives at that load, behind the open volts and the impedance at its output', async () => {
    let outside = 0
    for (let seed = 1; seed <= 60; seed++) {
      const { truth } = makeComponent('transformer', { value: 10, tolerance: 0.3, ratio: 19 }, seed)
      const component = new Component(truth, seed)
      const part: Transformer = {
        ...asked.transformer as Transformer, henry: null, highOhm: null, ratio: { nominal: 19, low: 18, high: 20, source: 'check' },
        rated: { apparentVA: 8, windingsV: [230, 230 / 19], frequencyHz: 50, regulation: { high: 0.3, source: 'check' } },
      }
      const { findings } = await prove(new PhysicsJig(component, seed), { id: 'T1', part })
      const { value, u } = findings.find(({ name }) => name === 'regulation')!.measured
      // A stiff source feeds the primary: it is as good as shorted for what comes out of the secondary.
      const { re, im } = component.impedance(50, [2, 3], [[0, 1]], { celsius: 20 })
      const loadOhm = (230 / 19) ** 2 / 8
      if (Math.abs(value - (Math.hypot(1 + re / loadOhm, im / loadOhm) - 1)) > 2 * u) outside++
      expect(value).toBeGreaterThan(0.02)
      expect(u / value).toBeLessThan(0.2)
    }
    expect(outside).toBeLessThan(11)
  })

  it('is told where the list states a load and no limit, of several windings too, and not without', async () => {
    const rated = { apparentVA: 12, windingsV: [230, 24, 6.3], frequencyHz: 50, regulation: null }
    const { notes, figures } = await proven(tapped(3), 3, { id: 'T1', part: { ...item.part, rated } })
    expect(notes.join()).toMatch(/regulation at 12 VA reckoned from copper at 20 °C and leakage: [\d.]+ % ± /)
    expect(figures['regulation']).toBeGreaterThan(0.02)
    expect((await proven(tapped(3))).figures).not.toHaveProperty('regulation')
  })
})
