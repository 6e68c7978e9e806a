import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { PlanInput } from '../../src/engine/sequence.ts'
import { leakageLimit } from '../../src/sequences/leakage-limit.ts'
import { reformParameters } from '../../src/sequences/parameters.ts'
import type { ReformParameters } from '../../src/sequences/parameters.ts'
import { formingPlan, surgeV } from '../../src/sequences/plan.ts'
import { leakageSoak, reform } from '../../src/sequences/reform.ts'
import { rest } from '../../src/sequences/rest.ts'
import type { Plan } from '../../src/schema/application.ts'
import type { PartProfile } from '../../src/schema/part-profile.ts'
import { startRequest } from '../../src/schema/run.ts'
import { partOf, pavilionFile } from '../safety/pavilion.ts'

interface Asked { count?: number; profile?: PartProfile; parameters?: Partial<ReformParameters>; sweepS?: number }

/** A rack of cans on the demo's bench, all formed a day ago. */
function asked({ count = 10, profile = partOf(), parameters = {}, sweepS = 1.2 }: Asked = {}): PlanInput<ReformParameters> {
  const bench = pavilionFile()
  const parts = bench.fixture.positions.slice(0, count).map(({ name }, index) => ({
    loaded: { position: name, part: `T-${index + 1}`, profile: profile.name, note: '', condition: 'sound' as const }, profile,
  }))
  return {
    bench, parts, sweepS, parameters: { ...reformParameters.parse({}), ...parameters },
    supply: { voltageMaxV: 600, currentMaxA: 0.85, voltageStepV: 0.02, currentStepA: 1e-4, currentErrorA: 0, outputCapacitanceF: 1e-5 },
    request: startRequest.parse({ sequence: 'reform', person: 'night watch' }),
    formedAgoS: new Map(parts.map(({ loaded }) => [loaded.part, 24 * 3600])),
  }
}

const refused = (plan: Plan, what: string | RegExp) => plan.refusals.filter(refusal => refusal.what.match(what))
const planned = (input: PlanInput<ReformParameters>): Plan => reform.plan(input)

describe('the plan of a sound rack', () => {
  it('refuses nothing, forms to the rated voltage in steps and soaks there', () => {
    const plan = planned(asked())
    expect(plan.refusals).toEqual([])
    expect(plan.targetV).toBe(450)
    expect(plan.steps.map(({ name }) => name)).toEqual(['polarity', 'step 10 %', 'step 20 %', 'step 30 %', 'step 40 %',
      'step 50 %', 'step 60 %', 'step 70 %', 'step 75 %', 'step 80 %', 'step 85 %', 'step 90 %', 'step 95 %', 'step 100 %', 'soak'])
    expect(plan.steps.at(-1)).toEqual({ name: 'soak', busV: 450, minS: 4 * 3600, maxS: 4 * 3600 })
  })

  it('says how far below target a part at its limit is read, where that is more than 0.2 %', () => {
    const input = asked({ count: 1 })
    expect(planned(input).warnings.join()).toMatch(/stands at 447.5 V of 450 V/)
    Object.assign(input.bench.fixture, { formalOhm: 100, senseOhm: 100 })
    expect(planned(input).warnings.join()).not.toMatch(/stands at/)
  })

  it('goes up in one rise for a part that is formed', () => {
    expect(leakageSoak.plan(asked()).steps.map(({ name }) => name)).toEqual(['polarity', 'rise', 'soak'])
  })

  it('expects no more time than it takes at most, and more for more parts', () => {
    fc.assert(fc.property(fc.integer({ min: 1, max: 10 }), fc.boolean(), (count, climbs) => {
      const plan = formingPlan(asked({ count }), 'any', climbs)
      expect(plan.expectedS).toBeLessThanOrEqual(plan.longestS)
      for (const step of plan.steps) expect(step.minS).toBeLessThanOrEqual(step.maxS)
      if (count > 1) expect(plan.expectedS).toBeGreaterThan(formingPlan(asked({ count: count - 1 }), 'any', climbs).expectedS)
    }))
  })

  it('gives the supply room for every part at its limit, the bus bleeder and one short', () => {
    fc.assert(fc.property(fc.integer({ min: 1, max: 10 }), count => {
      const { limitA } = leakageLimit(partOf().leakage, 47e-6, 450)
      const needA = count * limitA + 450 / 470e3 + 450 / 100e3
      const { supplyLimitA } = planned(asked({ count }))
      expect(supplyLimitA).toBeGreaterThanOrEqual(1.25 * needA)
      expect(supplyLimitA).toBeLessThan(1.25 * needA + 2e-4)
    }))
  })
})

describe('what is loaded where', () => {
  const swapped = (index: number, loaded: object) => {
    const input = asked()
    return { ...input, parts: input.parts.map((part, i) => i === index ? { ...part, loaded: { ...part.loaded, ...loaded } } : part) }
  }
  it('refuses an empty rack', () => {
    expect(refused(planned(asked({ count: 0 })), /^parts$/)).toMatchObject([{ have: 'none', need: 'at least one' }])
    expect(refused(planned(asked({ count: 1 })), /^parts$/)).toEqual([])
  })
  it('refuses a position that the bench lacks, naming those it has', () => {
    const [refusal] = refused(planned(swapped(3, { position: 'P12' })), /^position$/)
    expect(refusal).toMatchObject({ position: 'P12', have: 'P12', need: expect.stringContaining('P11') as string })
    expect(planned(swapped(3, { position: 'P11' })).refusals).toEqual([])
  })
  it.each([['position', { position: 'P01' }, 'P01'], ['part', { part: 'T-1' }, 'part T-1']])('refuses a %s loaded twice', (_, loaded, have) => {
    expect(refused(planned(swapped(5, loaded)), 'loaded twice')).toMatchObject([{ have }])
  })
})

describe('the pace of sweeps', () => {
  it('refuses a cadence that the instruments cannot hold, at any distance from it', () => {
    expect(refused(planned(asked({ sweepS: 5 })), /^sweep cadence/)).toEqual([])
    expect(refused(planned(asked({ sweepS: 5.001 })), /^sweep cadence/)).toMatchObject([{ have: '5 s', need: 'at least 5.00 s with these instruments' }])
    fc.assert(fc.property(fc.double({ min: 0.01, max: 60, noNaN: true }), sweepS => {
      expect(refused(planned(asked({ sweepS })), /^sweep cadence/).length).toBe(sweepS > 5 ? 1 : 0)
    }))
  })
  it('refuses to scan faster when all is quiet than when it is not', () => {
    const input = asked()
    input.bench.cadence.sweepQuietMs = 5000
    expect(planned(input).refusals).toEqual([])
    input.bench.cadence.sweepQuietMs = 4999
    expect(planned(input).refusals).toMatchObject([{ what: 'quiet sweep cadence', have: '4.999 s', need: 'at least 5 s, as when busy' }])
  })
})

describe('a target below the rating', () => {
  it('is warned of, for the grade is for the target alone', () => {
    const [warning] = planned(asked({ parameters: { targetV: 449 } })).warnings.filter(text => text.includes('below the rating'))
    expect(warning).toMatch(/449 V is below the rating of 450 V.*read high in capacitance/)
  })
  it('is not, at the rating', () => {
    expect(planned(asked({ parameters: { targetV: 450 } })).warnings.join()).not.toContain('below the rating')
  })
})

describe('the rest before a closing reading', () => {
  const h = 3600
  const after = (agoS: number | undefined) => {
    const input = asked({ count: 1 })
    return leakageSoak.plan({ ...input, formedAgoS: new Map(agoS === undefined ? [] : [['T-1', agoS]]) })
  }
  const tells = (plan: Plan): string => plan.refusals.length > 0 ? 'refused'
    : plan.warnings.some(text => text.startsWith('Rested longer')) ? 'late' : plan.warnings.some(text => text.startsWith('No forming')) ? 'unknown' : 'right'

  it.each([
    [0, 'refused'], [12 * h - 1, 'refused'], [12 * h, 'right'], [24 * h, 'right'], [48 * h, 'right'], [48 * h + 1, 'late'],
    [undefined, 'unknown'],
  ])('of %s seconds is %s', (agoS, verdict) => {
    expect(tells(after(agoS))).toBe(verdict)
  })

  it('is refused with both times, the part, and how long to wait', () => {
    expect(after(3 * h).refusals).toEqual([{ what: 'rest of T-1 since its forming', have: '3.0 h', need: 'at least 12.0 h', position: 'P01',
      wayOut: 'wait another 9.0 h, or run reform again' }])
  })

  it('is not asked of a part that is to be formed', () => {
    const input = { ...asked(), formedAgoS: new Map([['T-1', 60]]) }
    expect(planned(input).refusals).toEqual([])
    expect(planned(input).warnings.join()).not.toContain('forming on record')
  })

  it('judges each part for itself, and puts those of one kind into one sentence', () => {
    const { parts } = asked({ count: 5 })
    const told = rest({ parts, formedAgoS: new Map([['T-1', h], ['T-2', 20 * h], ['T-3', 60 * h], ['T-4', 70 * h]]) })
    expect(told.refusals.map(({ position }) => position)).toEqual(['P01'])
    expect(told.warnings).toEqual([expect.stringContaining('T-3 (60.0 h), T-4 (70.0 h)'), expect.stringContaining('on record: T-5.')])
  })
})

describe("the supply's own over-voltage protection", () => {
  const anyRating = fc.double({ min: 6.3, max: 550, noNaN: true })
  const at = (ratedV: number, targetV = ratedV): number => {
    const input = asked({ count: 1, profile: { ...partOf(), ratedV }, parameters: { targetV } })
    return planned(input).overVoltageV
  }
  it('stands above what the supply is set to, and lets no part past its surge voltage', () => {
    fc.assert(fc.property(anyRating, fc.double({ min: 0.2, max: 1, noNaN: true }), (ratedV, share) => {
      const targetV = share * ratedV
      const setV = targetV + 0.7
      expect(at(ratedV, targetV)).toBeGreaterThan(setV + 0.05 * targetV)
      expect(at(ratedV, targetV) - 0.7).toBeLessThanOrEqual(surgeV(ratedV) + 1e-9)
    }))
  })
  it('is 489 V for 450 V and 19.1 V for 16 V', () => {
    expect(at(450)).toBeCloseTo(489, 6)
    expect(at(16)).toBeCloseTo(19.1, 6)
  })
})
