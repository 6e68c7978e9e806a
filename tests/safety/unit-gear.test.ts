import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Gear } from '../../src/safety/gear.ts'
import { unitGear, type UnitGearInput } from '../../src/safety/unit-gear.ts'
import type { InstrumentProfile } from '../../src/schema/instrument-profile.ts'
import type { RoleName } from '../../src/schema/roles.ts'
import { shippedProfile } from '../drivers/scripted-port.ts'
import { gearOf } from './pavilion.ts'

/** A line output of 40 W into 250 ohm: 100 V, and half as much again at its worst. */
const outputs = [{ name: 'zone', ratedW: 40, loadOhm: 250, divider: 10 }]

const shipped = new Map<RoleName, InstrumentProfile>([
  ['mains-switch', shippedProfile('mains-contactor-a', 'mains-contactor')], ['power-meter', shippedProfile('power-meter-a', 'power-meter')],
  ['load', shippedProfile('load-bank-a', 'load-bank')], ['digitizer', shippedProfile('digitizer-a', 'digitizer')],
  ['generator', shippedProfile('signal-generator-a', 'signal-generator')], ['ac-meter', shippedProfile('multimeter-6d-a', 'multimeter')],
])

/** A fresh copy each time. */
const sound = (): UnitGearInput & { gear: Map<RoleName, InstrumentProfile> } =>
  ({ gear: structuredClone(shipped), mainsV: 230, mainsTolerance: 0.1, currentMaxA: 2, outputs })
type Draft = ReturnType<typeof sound>
const named = (draft: UnitGearInput): string[] => unitGear(draft).refusals.map(({ what }) => what)

const mainsOf = (gear: Gear, role: 'mains-switch' | 'power-meter') => {
  const profile = gear.get(role)!
  if (!('isolation' in profile) || !profile.isolation.mains) throw new Error('not rated')
  return profile.isolation.mains
}
const contactor = ({ gear }: Draft) => gearOf(gear, 'mains-switch', 'mains-contactor')
const meter = ({ gear }: Draft) => gearOf(gear, 'power-meter', 'power-meter')

/** 230 V and a tenth more; 2 A, ten times that at the inrush; 1.5 · √2 · 100 V at the output, a tenth behind the divider. */
const rows: [what: string, bound: number, set: (draft: Draft, value: number) => void][] = [
  ['mains-switch (mains-contactor-a): volts to earth at mains', 253, ({ gear }, v) => { mainsOf(gear, 'mains-switch').toEarthV = v }],
  ['power-meter (power-meter-a): volts to earth at mains', 253, ({ gear }, v) => { mainsOf(gear, 'power-meter').toEarthV = v }],
  ['mains-switch (mains-contactor-a): volts of its contacts', 253, (draft, v) => { contactor(draft).acContacts.ratedV = v }],
  ['mains-switch (mains-contactor-a): amperes it may make', 20, (draft, v) => { contactor(draft).acContacts.makeA = v }],
  ['mains-switch (mains-contactor-a): amperes it may break', 2, (draft, v) => { contactor(draft).acContacts.breakA = v }],
  ['power-meter (power-meter-a): highest range of volts', 253, (draft, v) => { meter(draft).voltageRanges.at(-1)!.rangeV = v }],
  ['power-meter (power-meter-a): highest range of amperes', 2, (draft, v) => { meter(draft).currentRanges.at(-1)!.rangeA = v }],
  ['load (load-bank-a) on output zone: peak volts to earth', 1.5 * Math.SQRT2 * 100, ({ gear }, v) => { gearOf(gear, 'load', 'load-bank').isolation.terminalsToEarthV = v }],
  ['digitizer (digitizer-a) on output zone: peak volts to earth', 15 * Math.SQRT2, ({ gear }, v) => { gearOf(gear, 'digitizer', 'digitizer').isolation.terminalsToEarthV = v }],
  ['digitizer (digitizer-a) on output zone: peak volts of both ends', 15 * Math.SQRT2, ({ gear }, v) => { gearOf(gear, 'digitizer', 'digitizer').input.commonModeMaxV = v }],
]

describe('the gear around a unit', () => {
  it('may stand where all of it is rated for what is there', () => {
    expect(named(sound())).toEqual([])
  })

  it.each(rows)('%s: refused below its bound, and not from it on', (what, bound, set) => {
    fc.assert(fc.property(fc.double({ min: 0, max: 2, noNaN: true }), share => {
      const draft = sound()
      set(draft, bound * share)
      expect(named(draft)).toEqual(share >= 1 || bound * share >= bound ? [] : [what])
    }), { numRuns: 60 })
  })

  it('has nothing at the mains side that is not rated for mains, whatever else it can', () => {
    for (const role of ['mains-switch', 'power-meter'] as const) {
      const draft = sound()
      const profile = draft.gear.get(role)!
      if ('isolation' in profile) delete profile.isolation.mains
      expect(unitGear(draft).refusals).toMatchObject([{ what: expect.stringContaining('rated for mains') as string, have: 'not declared' }])
    }
    // A voltmeter for 700 V is none for the mains; across an output it is welcome.
    expect(named({ ...sound(), mainsSide: ['ac-meter'] })).toEqual(['ac-meter (multimeter-6d-a): rated for mains'])
    expect(named({ ...sound(), mainsSide: ['digitizer'] })).toEqual(['digitizer (digitizer-a): rated for mains'])
    const rated = sound()
    gearOf(rated.gear, 'ac-meter', 'multimeter').isolation.mains = { category: 'II', toEarthV: 300 }
    expect(named({ ...rated, mainsSide: ['ac-meter'] })).toEqual([])
  })

  it('has no earthed terminal at the mains', () => {
    const draft = sound()
    meter(draft).isolation.terminalsEarthed = true
    expect(named(draft)).toEqual(['power-meter (power-meter-a): earthed terminal at the mains'])
  })

  it('breaks live and neutral', () => {
    for (const change of [{ poles: 1 }, { breaksAllPoles: false }]) {
      const draft = sound()
      Object.assign(contactor(draft), change)
      expect(named(draft)).toEqual(['mains-switch (mains-contactor-a): poles that it breaks'])
    }
  })

  it('warns where a short behind a resistance in line is more than it bears for ever', () => {
    // 253 V over 100 ohm are 640 W, half of it over 2 ohm 8 kW.
    expect(unitGear(sound()).warnings).toEqual([
      expect.stringMatching(/way series puts 640 W on a resistance of 300 W/), expect.stringMatching(/way low puts 8001 W on a resistance of 60 W/),
    ])
    const draft = sound()
    contactor(draft).ways.forEach(way => { if (way.seriesOhm > 0) way.seriesW = 1e4 })
    expect(unitGear(draft).warnings).toEqual([])
  })

  it('judges no role that the bench lacks', () => {
    expect(unitGear({ ...sound(), gear: new Map() })).toEqual({ refusals: [], warnings: [] })
  })
})
