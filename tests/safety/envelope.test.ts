import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { envelope } from '../../src/safety/envelope.ts'
import type { EnvelopeInput } from '../../src/safety/envelope.ts'
import type { BenchFile } from '../../src/schema/bench.ts'
import { partOf, pavilionFile } from './pavilion.ts'

/** Two 450 V cans at 450 V: nothing is refused. */
const sound = () => ({
  bench: pavilionFile(), supply: { voltageMaxV: 600, currentMaxA: 0.85, outputCapacitanceF: 10e-6 },
  parts: ['P01', 'P02'].map(position => ({ position, profile: partOf(), condition: 'sound' })),
  targetV: 450, supplyLimitA: 0.02, use: 'unattended' as const,
} satisfies EnvelopeInput)
type Draft = ReturnType<typeof sound>

const refused = (input: EnvelopeInput, what: string) => envelope(input).refusals.find(refusal => refusal.what === what)
const partJ = 0.5 * 47e-6 * 1.2 * 450 ** 2

type Row = [what: string, bound: number, set: (draft: Draft, value: number) => void]

/** What must be at least the bound. The bounds are worked out here by hand, from 450 V and the fixture. */
const least: Row[] = [
  ['target above the rating of the part', 450, ({ parts }, v) => { for (const { profile } of parts) profile.ratedV = v }],
  ['target above the fixture', 450, ({ bench }, v) => { bench.fixture.ratedV = v }],
  ['target above the supply', 450, ({ supply }, v) => { supply.voltageMaxV = v }],
  ['target above the bench', 450, ({ bench }, v) => { bench.limits.voltageMaxV = v }],
  ['target above the limiting resistor', 450, ({ bench }, v) => { bench.fixture.limitWorkingV = v }],
  ['target above the relay break rating', 450, ({ bench }, v) => { bench.fixture.relayBreakV = v }],
  ['energy in one part', partJ, ({ bench }, v) => { bench.limits.partEnergyMaxJ = v }],
  ['energy in the rack', 2 * partJ, ({ bench }, v) => { bench.limits.rackEnergyMaxJ = v }],
  ['heat in a part that fails', 450 ** 2 / 4e5, ({ parts }, v) => { parts[1]!.profile.shedW = v }],
  ['limiting resistor with its part shorted for ever', 450 ** 2 / 1e5, ({ bench }, v) => { bench.fixture.limitW = v }],
  ['bleeder across a part at target', 450 ** 2 / 1e5, ({ bench }, v) => { bench.fixture.bleederW = v }],
  ['bus bleeder at target', 450 ** 2 / 470e3, ({ bench }, v) => { bench.fixture.busBleederW = v }],
  ['current a position relay makes', 4.5e-3, ({ bench }, v) => { bench.fixture.relayMakeA = v }],
  ['current a formal relay makes with its part shorted', 450 * (1 / 1e3 + 1 / 1e5),
    ({ bench }, v) => { bench.fixture.relayMakeA = v }],
  ['current a position relay breaks with its part shorted', 4.5e-3, ({ bench }, v) => { bench.fixture.relayBreakA = v }],
  ['sense voltage with the part shorted', 4.5, ({ bench }, v) => { bench.fixture.senseClampV = v }],
  ['supply current limit', 0.02, ({ bench }, v) => { bench.limits.currentMaxA = v }],
]

describe('the envelope', () => {
  it('refuses nothing of a sound bench', () => {
    expect(envelope(sound()).refusals).toEqual([])
  })

  it.each(least)('refuses: %s', (what, bound, set) => {
    const at = (value: number) => {
      const draft = sound()
      set(draft, value)
      return refused(draft, what)
    }
    expect(at(bound * (1 + 1e-9)), 'just inside').toBeUndefined()
    const refusal = at(bound * (1 - 1e-9))
    expect(refusal, 'just outside').toBeDefined()
    expect(refusal!.have).toMatch(/\d/)
    expect(refusal!.need).toMatch(/^at most .*\d/)
    expect(refusal!.wayOut).not.toBe('')
  })

  it('lets what stands exactly at its bound pass', () => {
    const draft = sound()
    const { limits, fixture } = draft.bench
    Object.assign(limits, { voltageMaxV: 450, currentMaxA: 0.02 })
    Object.assign(fixture, { ratedV: 450, limitWorkingV: 450, relayBreakV: 450, limitW: 450 ** 2 / 1e5 })
    draft.supply.voltageMaxV = 450
    expect(envelope(draft).refusals).toEqual([])
  })

  it('keeps to each bound at any distance from it', () => {
    fc.assert(fc.property(fc.constantFrom(...least), fc.double({ min: 1e-3, max: 1e3, noNaN: true }), ([what, bound, set], factor) => {
      fc.pre(Math.abs(factor - 1) > 1e-9)
      const draft = sound()
      set(draft, bound * factor)
      expect(refused(draft, what) === undefined).toBe(factor > 1)
    }))
  })

  it('counts the bleeder too among what a position relay makes', () => {
    const draft = sound()
    draft.bench.fixture.bleederOhm = 900
    draft.bench.fixture.relayMakeA = 0.5001
    expect(refused(draft, 'current a position relay makes')).toBeUndefined()
    draft.bench.fixture.relayMakeA = 0.4999
    expect(refused(draft, 'current a position relay makes')).toBeDefined()
  })

  it('knows no formal relay where no position has one', () => {
    const draft = sound()
    draft.bench.fixture.relayMakeA = 0.1
    for (const position of draft.bench.fixture.positions) delete position.formalRelay
    expect(envelope(draft).refusals).toEqual([])
  })

  it('refuses mixed ratings, and parts that look unsound, by position', () => {
    const draft = sound()
    draft.parts[0]!.profile.ratedV = 500
    expect(refused(draft, 'mixed rated voltages on one rack')).toMatchObject({ have: '500 V (P01), 450 V (P02)' })
    for (const condition of ['bulging', 'weeping', 'possible-pcb']) {
      const bad = sound()
      bad.parts[1]!.condition = condition
      expect(refused(bad, `the part is noted as ${condition}`)).toMatchObject({ position: 'P02' })
    }
  })
})

describe('ways of use', () => {
  it('refuses a use that the bench file does not name', () => {
    const draft = sound()
    draft.bench.use = ['attended']
    expect(refused(draft, 'way of use')).toMatchObject({ have: 'unattended', need: 'attended' })
    expect(refused({ ...draft, use: 'attended' }, 'way of use')).toBeUndefined()
  })

  it('refuses touch-safe use from the touch-safe voltage on', () => {
    const at = (targetV: number) => refused({ ...sound(), use: 'touch-safe', targetV }, 'target in touch-safe use')
    expect(at(59.99)).toBeUndefined()
    expect(at(60)).toMatchObject({ have: '60 V', need: 'below 60 V' })
  })

  it('refuses touch-safe use from the touch-safe energy on, however low the voltage', () => {
    const at = (capacitanceF: number) => {
      const draft = sound()
      draft.parts.length = 1
      Object.assign(draft.parts[0]!.profile, { capacitanceF, tolerancePlus: 0, ratedV: 50 })
      return refused({ ...draft, use: 'touch-safe', targetV: 50 }, 'energy in touch-safe use')
    }
    expect(at(279e-6)).toBeUndefined()
    expect(at(281e-6)).toMatchObject({ have: '0.351 J', need: 'below 0.35 J' })
  })

  it('asks for the layers of unattended use from that energy on', () => {
    const draft = sound()
    delete draft.bench.roles.interlock
    const what = 'unattended use above touch-safe'
    expect(refused({ ...draft, targetV: 50 }, what)).toBeUndefined()
    for (const { profile } of draft.parts) profile.capacitanceF = 300e-6
    expect(refused({ ...draft, targetV: 50 }, what)).toMatchObject({ have: 'no interlock' })
  })

  it.each(['cutoff', 'positions', 'interlock', 'bus-meter', 'sense-meter'] as const)(
    'refuses unattended use above touch-safe without %s, and only that', role => {
      const without = (): Draft => {
        const draft = sound()
        delete (draft.bench.roles as Partial<BenchFile['roles']>)[role]
        return draft
      }
      expect(refused(without(), 'unattended use above touch-safe')).toMatchObject({ have: `no ${role}` })
      expect(envelope({ ...without(), use: 'attended' }).refusals).toEqual([])
      expect(envelope({ ...without(), targetV: 59 }).refusals).toEqual([])
    })
})

describe('warnings of the envelope', () => {
  it('says what a part could dissipate while its low resistor is in, where that is more than it can shed', () => {
    const draft = sound()
    expect(envelope(draft).warnings.join()).toContain('9 W')
    for (const { profile } of draft.parts) profile.shedW = 9.01
    expect(envelope(draft).warnings).toEqual([])
  })

  it('says in touch-safe use that the supply could give more, and not of one that could not', () => {
    const draft = { ...sound(), use: 'touch-safe' as const, targetV: 50 }
    expect(envelope(draft).warnings.join()).toContain('could give 600 V')
    draft.supply.voltageMaxV = 60
    expect(envelope(draft).warnings).toEqual([])
    expect(envelope({ ...sound(), use: 'attended' }).warnings.join()).not.toContain('could give')
  })

  it('says when relays would break more than they are rated for, in a formal reading', () => {
    const draft = { ...sound(), supplyLimitA: 0.0501 }
    expect(envelope(draft).warnings.join()).toMatch(/break 0\.0501 A and are rated for 0\.0500 A/)
    expect(envelope({ ...draft, supplyLimitA: 0.05 }).warnings.join()).not.toContain('break')
  })
})
