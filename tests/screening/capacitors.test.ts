/** What is asked of capacitors, how they are charged, and what is said of what was read: pure, with properties. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { readPartsText } from '../../src/cli/parts-file.ts'
import type { Charged, Point } from '../../src/schema/jig.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import { leakageMost, lossMost, type Dielectric } from '../../src/screening/capacitor-limits.ts'
import { usualWishes } from '../../src/screening/from-list-capacitor.ts'
import { itemsOf } from '../../src/screening/from-list.ts'
import { judge, type Verdict } from '../../src/screening/grade.ts'
import { capacitorConditions, proveCapacitor } from '../../src/screening/methods/capacitor.ts'
import { chargingOf, probeV } from '../../src/screening/methods/charging.ts'
import { plusOf } from '../../src/screening/methods/polarity.ts'
import { planScreening, usualBounds } from '../../src/screening/plan.ts'
import type { Capacitor, Leakage } from '../../src/screening/to-prove.ts'
import { PhysicsJig, wholeReach } from './physics-jig.ts'

const line = (over: Partial<PartsLine>): PartsLine => ({
  line: 2, designators: ['C1'], quantity: 1, kind: 'capacitor', kindFrom: 'list', material: null, dielectrics: ['film'], safetyClasses: [], valueText: '',
  value: { quantity: 'capacitance', si: 1e-7, unit: 'F' }, toleranceMinus: 0.1, tolerancePlus: 0.1, ratedV: 100, ratedForm: null, ratedW: null,
  tempcoPpmPerK: null, ratingText: '', where: null, note: '', ...over,
})
const capacitorOf = (over: Partial<PartsLine>, wishes = usualWishes): Capacitor & { leakage: Leakage } => {
  const [item] = itemsOf([line(over)], wishes).items
  return item!.part as Capacitor & { leakage: Leakage }
}
const farads = (si: number): PartsLine['value'] => ({ quantity: 'capacitance', si, unit: 'F' })
const dielectrics = Object.keys(lossMost) as Dielectric[]
const rated = fc.record({
  dielectric: fc.constantFrom(...dielectrics), farad: fc.double({ min: 1e-11, max: 1e-2, noNaN: true }),
  ratedV: fc.double({ min: 4, max: 630, noNaN: true }), isPolar: fc.boolean(), isMains: fc.boolean(),
})

describe('class 1 ceramics of a list', () => {
  it.each([
    ['C1,101J C0G 50V,,,,', 1e-10, 0.05], ['C1,471K NP0,,50,,', 470e-12, 0.1], ['C1,102G,,50,C0G,', 1e-9, 0.02], ['C1,22p J,,50,NPO,', 22e-12, 0.05], ['C1,4.7pF C,,50,COG,', 4.7e-12, 0.25 / 4.7],
    ['C1,2n2 5 %,,63,ceramic-1,', 2.2e-9, 0.05], ['C1,100p N750 5%,,100,,', 1e-10, 0.05], ['C1,102J,,50,,NP0 ceramic capacitor', 1e-9, 0.05],
  ] as const)('%s is measured and judged as one', (line, farad, share) => {
    const { list, problems } = readPartsText('list.csv', `ref,value,tolerance,voltage,dielectric,kind\n${line}\n`)
    expect(problems).toEqual([])
    const { items, cannot } = itemsOf(list.parts)
    expect(cannot).toEqual([])
    const part = items[0]!.part as Capacitor
    expect(part).toMatchObject({ dielectric: 'ceramic-1', dissipation: { high: 0.0015 } })
    expect(part.farad.nominal / farad).toBeCloseTo(1, 9)
    expect(part.farad.plus).toBeCloseTo(share, 9)
    expect(capacitorConditions(part).frequencyHz).toBe(farad <= 1e-9 ? 1e6 : 1e3)
  })

  it('are asked about where a code may be a plain number', () => {
    expect(readPartsText('list.csv', 'ref,value,dielectric\nC1,220J,C0G\n').problems[0]!.expected).toContain('(22p or 220p or 220µ)')
  })
})

describe('limits of leakage', () => {
  it('name their source and a time, and never ask less of a smaller part or at fewer volts', () => {
    fc.assert(fc.property(rated, fc.double({ min: 1, max: 10, noNaN: true }), (part, factor) => {
      const { ampere, afterS } = leakageMost(part)
      expect(ampere.source.length).toBeGreaterThan(10)
      expect([60, 120, 300]).toContain(afterS)
      const larger = leakageMost({ ...part, farad: part.farad * factor })
      expect(larger.ampere.high!).toBeGreaterThanOrEqual(ampere.high! * (1 - 1e-12))
    }))
  })

  it('are in proportion below the rating, so that what fails there fails at its rating too', () => {
    fc.assert(fc.property(rated, fc.double({ min: 5, max: 60, noNaN: true }), (part, voltageMaxV) => {
      const leakage = leakageMost(part)
      const { mostA, charge, energyJ } = chargingOf({
        kind: 'capacitor', dielectric: part.dielectric, dissipation: null, leakage, isPolar: part.isPolar,
        farad: { nominal: part.farad, minus: 0.1, plus: 0.2, source: 'list' },
      }, { voltageMaxV, currentMaxA: 0.1 })
      expect(charge.voltageV).toBe(Math.min(part.ratedV, voltageMaxV))
      expect(mostA / charge.voltageV).toBeCloseTo(leakage.ampere.high! / part.ratedV, 12)
      expect(charge.limitA).toBeLessThanOrEqual(0.1)
      // It comes up in time with nothing but its own capacitance, at the most that it may have.
      expect(charge.upWithinMs / 1000).toBeGreaterThan(1.2 * part.farad * charge.voltageV / charge.limitA)
      expect(energyJ).toBeCloseTo(0.6 * part.farad * charge.voltageV ** 2, 9)
      expect(charge.readAtMs.every((ms, i) => i === 0 || ms > charge.readAtMs[i - 1]!)).toBe(true)
    }))
  })
})

describe('a capacitor of a list', () => {
  it('is told where its rating is missing, unless nothing is to be charged', () => {
    expect(itemsOf([line({ ratedV: null })]).cannot).toMatchObject([{ why: expect.stringMatching(/no rated voltage/), wayOut: expect.stringMatching(/rating/) }])
    expect(capacitorOf({ ratedV: null }, { ...usualWishes, insulation: false }).leakage).toBeNull()
  })
  it('has plus and minus where it is electrolytic, and is not noted as non-polar', () => {
    const polar = (over: Partial<PartsLine>): boolean => capacitorOf({ value: farads(1e-5), ratedV: 25, ...over }).isPolar!
    expect([polar({ dielectrics: ['electrolytic'] }), polar({ dielectrics: ['tantalum'] }), polar({ dielectrics: ['film'] })]).toEqual([true, true, false])
    for (const note of ['non-polar', 'crossover, bipolar', 'NP']) expect(polar({ dielectrics: ['electrolytic'], note })).toBe(false)
  })
  it('of a mains class is one by its mark or by the policy, of film where nothing is said, with its bleeder', () => {
    const mains = (over: Partial<PartsLine>) => capacitorOf({ dielectrics: [], ratedV: null, ...over }).mains
    expect(mains({ safetyClasses: ['X2'], dielectrics: ['class-x'] })).toEqual({ classes: ['X2'], sits: null, voltageV: 240, frequencyHz: 50, bleeder: null })
    expect(mains({ dielectrics: ['class-y', 'ceramic-2'] })!.classes).toEqual(['Y'])
    expect(mains({ dielectrics: ['film'], ratedV: 100 })).toBeUndefined()
    const ohms = (note: string) => mains({ dielectrics: ['class-x'], note })!.bleeder?.ohm
    expect([ohms('bleeder 1M')!.high, ohms('Bleeder 2M2')!.low, ohms('bleeder: 470 k')!.low]).toEqual([1.1e6, 2.2e6 * 0.9, 470e3 * 0.9])
    expect([ohms('with bleeder'), ohms('bleeder 1M5%'), ohms('')]).toEqual([null, null, undefined])
  })
  it('goes to the rack where it would hold more than is safe to touch, and never gets more than touch-safe', () => {
    fc.assert(fc.property(fc.double({ min: 1e-9, max: 1e-2, noNaN: true }), fc.double({ min: 5, max: 450, noNaN: true }), (si, ratedV) => {
      const { items } = itemsOf([line({ value: farads(si), ratedV, dielectrics: ['electrolytic'] })])
      const reach = { ...wholeReach, source: { voltageMaxV: 200, currentMaxA: 0.1 } }
      const { groups, cannot, mostJ, mostV } = planScreening(items, reach, { ...usualBounds, touchSafeV: 60, touchSafeJ: 0.35 })
      expect(groups.length + cannot.length).toBe(1)
      expect(mostV).toBeLessThanOrEqual(60)
      expect(mostJ).toBeLessThan(0.35)
      if (cannot[0]) expect(cannot[0].wayOut).toMatch(/rack/)
      expect(cannot.length === 1).toBe(0.55 * si * Math.min(60, ratedV) ** 2 >= 0.35)
    }))
  })
})

const read = (amps: number, u: number, isUp = true): Charged => {
  const good = (value: number, uOf: number) => ({ value, u: uOf, quality: 'good' as const, atMs: 0 })
  const point: Point = { voltage: good(1, 1e-4), current: good(amps, u), limited: !isUp }
  return { isUp, points: [point], recovered: null, leftV: 0 }
}

describe('which end is plus', () => {
  it('is where less flows, by three times and beyond the noise, and turns over with the part', () => {
    const amps = fc.double({ min: 1e-9, max: 1e-3, noNaN: true })
    fc.assert(fc.property(amps, amps, fc.double({ min: 1e-12, max: 1e-4, noNaN: true }), (a, b, u) => {
      const plus = plusOf(read(a, u), read(-b, u))
      const turned = plusOf(read(b, u), read(-a, u))
      expect(turned).toBe(plus === null ? null : 3 - plus)
      if (plus === 1) expect(b).toBeGreaterThan(3 * a)
      if (Math.max(a, b) < 3 * Math.min(a, b)) expect(plus).toBeNull()
    }))
  })
  it('is where the volts come up at all', () => {
    expect([plusOf(read(1e-6, 1e-9), read(-5e-3, 1e-9, false)), plusOf(read(5e-3, 1e-9, false), read(-1e-6, 1e-9))]).toEqual([1, 2])
  })
  it('is looked for below what the part bears the wrong way round', () => {
    const at = (dielectric: Dielectric, ratedV: number): number => probeV(capacitorOf({ dielectrics: [dielectric], ratedV, value: farads(1e-6) }))
    expect([at('electrolytic', 25), at('tantalum', 35), at('tantalum', 6.3)]).toEqual([1, 1, 0.63])
  })
})

describe('what is said of a capacitor under voltage', () => {
  const proven = async (seed: number, over: Partial<PartsLine>, floorA?: number): Promise<{ verdict: Verdict; jig: PhysicsJig }> => {
    const jig = new PhysicsJig(makeComponent('film-capacitor', usualRatings['film-capacitor'], seed), seed, floorA)
    const part = capacitorOf(over)
    return { verdict: judge({ id: 'C1', part }, await proveCapacitor(jig, { high: 1, low: 2 }, part), []), jig }
  }
  it('names the volts of its rating, and leaves the part empty', async () => {
    const { verdict, jig } = await proven(1, {})
    expect(verdict.grade).toBe('accept')
    expect(verdict.notes.join('; ')).toMatch(/charged to 30.0 V of 100 V rated: what it does above is not shown/)
    expect((await proven(1, { ratedV: 25 })).verdict.notes.join()).not.toMatch(/is not shown/)
    expect([jig.heldV, jig.part!.heldV < 3]).toEqual([0, true])
  })
  it('cannot be told where the source is uncertain by more than a third of the limit, and says so', async () => {
    const { verdict } = await proven(1, {}, 3e-9)
    expect(verdict).toMatchObject({ grade: 'cannot tell', reason: expect.stringMatching(/^leakage .*: the uncertainty is more than a third of the limit$/) })
  })
  it('covers the time to touch-safe of its true bleeder, and what truly comes back of it', async () => {
    let covered = 0
    const asked = capacitorOf({ value: farads(220e-9), toleranceMinus: 0.2, tolerancePlus: 0.2, safetyClasses: ['X2'], ratedV: 275, note: 'bleeder' })
    for (let seed = 1; seed <= 100; seed++) {
      const part = makeComponent('mains-capacitor', usualRatings['mains-capacitor'], seed)
      const { farad, bleederOhm, insulationOhm } = part.truth.values as Record<string, number>
      const proof = await proveCapacitor(new PhysicsJig(part, seed), { high: 1, low: 2 }, asked)
      const { value, u } = proof.findings.find(({ name }) => name === 'time to touch-safe')!.measured
      const truthS = farad! * Math.log(264 * Math.SQRT2 / 60) / (1 / bleederOhm! + 1 / insulationOhm!)
      if (Math.abs(value - truthS) <= 1.96 * u) covered++
    }
    // 95 of 100 expected; fewer than 88 would come about once in four hundred times.
    expect(covered).toBeGreaterThanOrEqual(88)
    for (const [kind, over] of [['film-capacitor', {}], ['electrolytic-capacitor', { dielectrics: ['electrolytic'], value: farads(1e-5), toleranceMinus: 0.2, tolerancePlus: 0.2, ratedV: 25 }]] as const) {
      const part = capacitorOf(over as Partial<PartsLine>, { ...usualWishes, absorption: true })
      const proof = await proveCapacitor(new PhysicsJig(makeComponent(kind, usualRatings[kind], 5), 5), { high: 1, low: 2 }, part)
      const twin = makeComponent(kind, usualRatings[kind], 5)
      const volts = Math.min(30, part.leakage.ratedV)
      for (const [value, s] of [[volts, 900], [0, 10]] as const) twin.pass([{ high: 0, low: 1, mode: 'voltage', value, limit: 0.01 }], s)
      twin.pass([], 900)
      const { value, u } = proof.findings.find(({ name }) => name === 'absorption')!.measured
      // The jig measures polarity and leads relays between: a tenth of what comes back.
      expect(Math.abs(value - twin.heldV / volts)).toBeLessThan(3 * u + 0.1 * value)
    }
  })
  it('has no result where another lies there after it was charged: a zero that was read elsewhere shows nothing', async () => {
    for (const other of [null, makeComponent('film-capacitor', { ...usualRatings['film-capacitor'], value: 1.3e-7 }, 2)]) {
      const jig = new PhysicsJig(makeComponent('film-capacitor', usualRatings['film-capacitor'], 1), 1)
      const charge = jig.charge.bind(jig)
      jig.charge = async (...asked) => {
        const charged = await charge(...asked)
        jig.part = other
        return charged
      }
      const part = capacitorOf({})
      const verdict = judge({ id: 'C1', part }, await proveCapacitor(jig, { high: 1, low: 2 }, part), [])
      expect(verdict).toMatchObject({ grade: 'cannot tell', disposition: 'retest', says: expect.stringMatching(/left the jig or lost its contact while it was charged.*discharge it/) })
    }
  })
  it('has no result where the volts did not stand while it was read: a source that went off reads no current either', async () => {
    const gone = (point: Point, volts: number): Point =>
      ({ ...point, voltage: { ...point.voltage, value: volts }, current: { ...point.current, value: 1e-12, u: 1e-12 } })
    for (const [volts, grade] of [[0.01, 'cannot tell'], [25, 'cannot tell'], [29.9, 'accept']] as const) {
      const jig = new PhysicsJig(makeComponent('film-capacitor', usualRatings['film-capacitor'], 1), 1)
      const charge = jig.charge.bind(jig)
      jig.charge = async (...asked) => {
        const charged = await charge(...asked)
        return { ...charged, points: charged.points.map(point => gone(point, volts)) }
      }
      const part = capacitorOf({})
      const verdict = judge({ id: 'C1', part }, await proveCapacitor(jig, { high: 1, low: 2 }, part), [])
      expect(verdict.grade).toBe(grade)
      if (grade !== 'accept') expect(verdict.says).toMatch(/its volts did not stand: .* of 30.0 V/)
    }
  })
  it('is not charged where it fails already', async () => {
    const { verdict, jig } = await proven(1, { value: farads(3.3e-7) })
    expect(verdict).toMatchObject({ grade: 'reject', notes: expect.arrayContaining(['its leakage was not measured: it fails already']) })
    expect(jig.mostV).toBe(0)
  })
  it('says of a part at the mains what it lacks: a mark, a bleeder, or a word of the bleeder in the list', async () => {
    const notes = async (over: Partial<PartsLine>): Promise<string> => (await proven(1, { ratedV: 275, ...over })).verdict.notes.join('; ')
    expect(await notes({ where: 'across-mains' })).toMatch(/carries no class X/)
    expect(await notes({ where: 'mains-to-earth', safetyClasses: ['X2'] })).toMatch(/carries no class Y/)
    for (const safetyClasses of [['X1'], ['Y2']]) expect(await notes({ where: 'across-mains', safetyClasses })).not.toMatch(/carries no/)
    expect(await notes({ where: 'elsewhere' })).not.toMatch(/mains/)
    // 100 nF and a little more are above 0.1 µF; 2 s / (C·ln(373 V / 60 V)) is what the unit needs.
    const part = makeComponent('mains-capacitor', usualRatings['mains-capacitor'], 3)
    const asked = capacitorOf({ value: farads(220e-9), toleranceMinus: 0.2, tolerancePlus: 0.2, safetyClasses: ['X2'], ratedV: 275 })
    const jig = new PhysicsJig(part, 3)
    const verdict = judge({ id: 'C1', part: asked }, await proveCapacitor(jig, { high: 1, low: 2 }, asked), [])
    expect(verdict).toMatchObject({ grade: 'reject', reason: expect.stringMatching(/^leakage/) })
    expect(verdict.notes.join('; ')).toMatch(/needs a bleeder of at most \d\.\d+ MΩ.*where a bleeder lies across it, say so in its note/)
  })
  it('of class Y counts what it leads to earth', async () => {
    const { verdict } = await proven(1, { dielectrics: ['class-y'], safetyClasses: ['Y2'], ratedV: 250 })
    expect(verdict).toMatchObject({ grade: 'reject' })
    const earth = verdict.criteria.find(({ name }) => name === 'earth leakage')!
    // 100 nF at 264 V and 50 Hz: 8.3 mA, of a capacitor that would do between line and neutral.
    expect(earth.value).toBeCloseTo(2 * Math.PI * 50 * 264 * verdict.figures['capacitanceF']!, 9)
    expect(verdict.notes.join()).toMatch(/too much for a unit without an earth.*/)
  })
})
