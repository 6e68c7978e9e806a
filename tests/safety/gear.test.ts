import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { gearRefusals, wear, withGear } from '../../src/safety/gear.ts'
import type { Gear } from '../../src/safety/gear.ts'
import type { Plan } from '../../src/schema/application.ts'
import { gearOf, pavilionFile, pavilionGear } from './pavilion.ts'

const sound = () => ({
  bench: pavilionFile(), gear: pavilionGear(), supplyMaxV: 600, targetV: 450, supplyLimitA: 0.02, partEnergyMaxJ: 0.1,
  use: 'unattended' as 'unattended' | 'attended' | 'touch-safe',
})
type Draft = ReturnType<typeof sound>
type Row = [what: string, bound: number, set: (draft: Draft, value: number) => void]

const earth = (role: 'supply' | 'bus-meter' | 'sense-meter' | 'scanner' | 'positions' | 'cutoff' | 'thermometer') =>
  ({ gear }: Draft, v: number): void => { (gear.get(role) as { isolation: { terminalsToEarthV: number } }).isolation.terminalsToEarthV = v }
const between = (role: 'scanner' | 'positions' | 'thermometer') =>
  ({ gear }: Draft, v: number): void => { (gear.get(role) as { isolation: { betweenChannelsV?: number } }).isolation.betweenChannelsV = v }
const board = ({ gear }: Draft) => gearOf(gear, 'positions', 'relay-board')
const cutoff = ({ gear }: Draft) => gearOf(gear, 'cutoff', 'hold-in-relay')
const scanner = ({ gear }: Draft) => gearOf(gear, 'scanner', 'scanner')

/** Supply 600 V at most; clamps 10 V; fixture relays 0.5 A, 600 V, 50 mA; target 450 V. Bounds worked out by hand. */
const rows: Row[] = [
  ['supply (dc-supply-600v-a): volts to earth', 600, earth('supply')],
  ['bus-meter (multimeter-5d-b): volts to earth', 600, earth('bus-meter')],
  ['bus-meter (multimeter-5d-b): highest range', 600, ({ gear }, v) => { gearOf(gear, 'bus-meter', 'multimeter').ranges.at(-1)!.rangeV = v }],
  ['cutoff (hold-in-relay-a): volts to earth', 600, earth('cutoff')],
  ['positions (relay-board-a): volts to earth', 600, earth('positions')],
  ['positions (relay-board-a): volts between channels', 600, between('positions')],
  ['bleed (relay-board-a): volts between channels', 600,
    ({ gear }, v) => { gearOf(gear, 'bleed', 'relay-board').isolation.betweenChannelsV = v }],
  ['scanner (scanner-a): volts to earth', 10, earth('scanner')],
  ['scanner (scanner-a): volts between channels', 20, between('scanner')],
  ['sense-meter (multimeter-6d-a): volts to earth', 10, earth('sense-meter')],
  ['sense-meter (multimeter-6d-a): highest range', 10,
    ({ gear }, v) => { gearOf(gear, 'sense-meter', 'multimeter').ranges.at(-1)!.rangeV = v }],
  ['thermometer (thermometer-a): volts to earth', 450, earth('thermometer')],
  ['thermometer (thermometer-a): volts between channels', 450, between('thermometer')],
  ['positions (relay-board-a): volts it may make', 600, (draft, v) => { board(draft).contacts.makeV = v }],
  ['positions (relay-board-a): amperes it may make', 0.5, (draft, v) => { board(draft).contacts.makeA = v }],
  ['positions (relay-board-a): volts it may break', 600, (draft, v) => { board(draft).contacts.breakV = v }],
  ['positions (relay-board-a): amperes it may break', 0.05, (draft, v) => { board(draft).contacts.breakA = v }],
  // Pavilion: bus every 2 s when quiet, so stale after 7 s; an exchange of 2 s comes on top.
  ['supply (dc-supply-600v-a): silence its communication watchdog bears', 9, ({ gear }, v) => { gearOf(gear, 'supply', 'dc-supply').watchdog!.maxS = v }],
  ['cutoff (hold-in-relay-a): volts it may make', 600, (draft, v) => { cutoff(draft).contacts.makeV = v }],
  ['cutoff (hold-in-relay-a): amperes it may make', 0.02, (draft, v) => { cutoff(draft).contacts.makeA = v }],
  ['cutoff (hold-in-relay-a): volts it may break', 600, (draft, v) => { cutoff(draft).contacts.breakV = v }],
  ['cutoff (hold-in-relay-a): amperes it may break', 0.02, (draft, v) => { cutoff(draft).contacts.breakA = v }],
]

const whats = (draft: Draft): string[] => gearRefusals(draft).map(({ what }) => what)

describe('instruments held against the worst single fault', () => {
  it('refuses nothing of a sound bench', () => {
    expect(gearRefusals(sound())).toEqual([])
  })

  it.each(rows)('refuses: %s', (what, bound, set) => {
    const inside = sound()
    set(inside, bound)
    expect(gearRefusals(inside)).toEqual([])
    const outside = sound()
    set(outside, bound * (1 - 1e-9))
    const refusal = gearRefusals(outside).find(refusal => refusal.what === what)
    expect(refusal?.have).toMatch(/\d/)
    expect(refusal?.need).toMatch(/^at least .*\d/)
    expect(refusal?.wayOut).not.toBe('')
  })

  it('keeps to each bound at any distance from it', () => {
    fc.assert(fc.property(fc.constantFrom(...rows), fc.double({ min: 0.01, max: 100, noNaN: true }), ([what, bound, set], factor) => {
      const draft = sound()
      set(draft, bound * factor)
      expect(whats(draft).includes(what)).toBe(bound * factor < bound)
    }))
  })

  it('needs more of the bus side as the supply can give more, and no more of the sense side', () => {
    fc.assert(fc.property(fc.double({ min: 450, max: 5000, noNaN: true }), supplyMaxV => {
      const draft = { ...sound(), supplyMaxV }
      expect(whats(draft).some(what => what.startsWith('bus-meter'))).toBe(supplyMaxV > 1000)
      expect(whats(draft).filter(what => /^(scanner|sense-meter)/.test(what))).toEqual([])
    }))
  })

  it('asks no watchdog of a supply without one, and names another supply where no cadence would do', () => {
    const draft = sound()
    gearOf(draft.gear, 'supply', 'dc-supply').watchdog!.maxS = 3
    expect(gearRefusals(draft)).toMatchObject([{ have: '3 s', need: 'at least 9 s', wayOut: 'use a supply whose watchdog waits longer' }])
    gearOf(draft.gear, 'supply', 'dc-supply').watchdog!.maxS = 8.99
    expect(gearRefusals(draft)).toMatchObject([{ wayOut: expect.stringMatching(/at most 1666$/) as string }])
    draft.bench.cadence.busQuietMs = 1666
    expect(gearRefusals(draft)).toEqual([])
    draft.bench.cadence.busMs = 1667
    expect(gearRefusals(draft)).toHaveLength(1)
    delete gearOf(draft.gear, 'supply', 'dc-supply').watchdog
    expect(gearRefusals(draft)).toEqual([])
  })

  it('takes what is not declared as too little', () => {
    const draft = sound()
    delete board(draft).isolation.betweenChannelsV
    expect(gearRefusals(draft)).toEqual([expect.objectContaining({
      what: 'positions (relay-board-a): volts between channels', have: 'not declared', need: 'at least 600 V' })])
  })

  it('asks a thermometer for nothing where no can has a sensor', () => {
    const draft = sound()
    gearOf(draft.gear, 'thermometer', 'thermometer').isolation.betweenChannelsV = 10
    for (const position of draft.bench.fixture.positions) delete position.thermometer
    expect(gearRefusals(draft)).toEqual([])
  })

  it('asks nothing of roles that the bench lacks: one supply, one meter and a resistor may begin', () => {
    const draft = sound()
    const gear = new Map([...draft.gear].filter(([role]) => role === 'supply' || role === 'sense-meter'))
    expect(gearRefusals({ ...draft, gear })).toEqual([])
  })

  it('refuses position relays with one throw', () => {
    const draft = sound()
    board(draft).changeover = false
    expect(whats(draft)).toEqual(['positions (relay-board-a): throws of a contact'])
  })
})

describe('a relay of a board as cutoff', () => {
  const plain = () => {
    const draft = sound()
    const relays = structuredClone(board(draft))
    Object.assign(relays.contacts, { breakA: 1 })
    return { ...draft, gear: new Map([...draft.gear, ['cutoff' as const, relays]]) as Gear }
  }
  it('is refused in unattended use from the touch-safe voltage on: it stays closed when nobody refreshes it', () => {
    expect(gearRefusals(plain())).toEqual([expect.objectContaining({
      what: 'cutoff (relay-board-a): hold-in in unattended use', have: '450 V without a hold-in timer',
      need: 'below 60 V and 0.35 J, or a hold-in relay' })])
    expect(whats({ ...plain(), targetV: 60 })).toHaveLength(1)
  })
  it('will do attended, and below touch-safe', () => {
    expect(gearRefusals({ ...plain(), use: 'attended' })).toEqual([])
    expect(gearRefusals({ ...plain(), targetV: 59.9 })).toEqual([])
    expect(gearRefusals({ ...plain(), targetV: 59.9, partEnergyMaxJ: 0.35 })).toHaveLength(1)
  })
})

describe('terminals at earth', () => {
  it.each(['supply', 'bus-meter', 'sense-meter', 'scanner'] as const)('may be on a %s whose return is at earth, and not off it', role => {
    const draft = sound()
    const profile = draft.gear.get(role) as { isolation: { terminalsEarthed: boolean } }
    profile.isolation.terminalsEarthed = true
    expect(gearRefusals(draft)).toEqual([])
    draft.bench.fixture.returnToEarthV = 0.5
    expect(gearRefusals(draft)).toEqual([expect.objectContaining({ have: '0.5 V at the return', need: '0 V' })])
    profile.isolation.terminalsEarthed = false
    expect(gearRefusals(draft)).toEqual([])
  })

  it('are refused on the bus whatever the return is at', () => {
    const draft = sound()
    cutoff(draft).isolation.terminalsEarthed = true
    expect(whats(draft)).toEqual(['cutoff (hold-in-relay-a): earthed terminal on the bus'])
  })

  it('and a return off earth adds to what everything else must bear', () => {
    const draft = sound()
    draft.bench.fixture.returnToEarthV = 190
    expect(whats(draft)).toEqual([])
    draft.bench.fixture.returnToEarthV = 190.1
    expect(whats(draft)).toContain('scanner (scanner-a): volts to earth')
  })
})

describe('a scanner that moves under voltage', () => {
  const what = 'scanner (scanner-a): switching while a part is shorted'
  it('is refused where its rating is below the clamp, in volts or in amperes', () => {
    const draft = sound()
    Object.assign(scanner(draft), { hotSwitchV: 10, hotSwitchA: 0.01 })
    expect(gearRefusals(draft)).toEqual([])
    scanner(draft).hotSwitchV = 9.99
    expect(gearRefusals(draft)).toMatchObject([{ what, have: '9.99 V', need: 'at least 10 V' }])
    Object.assign(scanner(draft), { hotSwitchV: 10, hotSwitchA: 0.0099 })
    expect(gearRefusals(draft)).toMatchObject([{ what, have: '0.0099 A', need: 'at least 0.01 A' }])
  })
  it('is refused where it may move cold only', () => {
    const draft = sound()
    Object.assign(scanner(draft), { hotSwitchV: 0, hotSwitchA: 0 })
    expect(whats(draft)).toEqual([what, what])
  })
})

describe('contact life', () => {
  it('counts one closure of a scanner contact a sweep, at the faster of what is asked and what is possible', () => {
    const { bench, gear } = sound()
    expect(wear(gear, bench, 36_000, 1)).toEqual({ scannerClosures: 7200, warnings: [] })
    expect(wear(gear, bench, 36_000, 10).scannerClosures).toBe(3600)
    expect(wear(new Map(), bench, 36_000, 10)).toEqual({ scannerClosures: null, warnings: [] })
  })

  it('says when a run takes more than a thousandth of it, and not at a thousandth', () => {
    const draft = sound()
    scanner(draft).life = 7.2e6
    expect(wear(draft.gear, draft.bench, 36_000, 1).warnings).toEqual([])
    scanner(draft).life = 7.19e6
    expect(wear(draft.gear, draft.bench, 36_000, 1).warnings).toEqual([
      expect.stringMatching(/^scanner \(scanner-a\): up to 7200 closures .* 0\.10 % of its rated 7e\+6/)])
    board(draft).contacts.life = 3999
    cutoff(draft).contacts.life = 3999
    expect(wear(draft.gear, draft.bench, 60, 1).warnings.map(text => text.split(' ')[0])).toEqual(['positions', 'cutoff'])
  })
})

describe('a plan with its gear', () => {
  const plan: Plan = {
    sequence: 'own', use: 'attended', targetV: 450, expectedS: 60, longestS: 36_000, partEnergyMaxJ: 0, rackEnergyJ: 0,
    touchSafeAfterS: 0, partDissipationMaxW: 0, resistorDissipationW: 0, supplyLimitA: 0.02, overVoltageV: 0, sweepS: 1,
    relayClosures: 0, gasMl: 0, chargeMaxC: 0, steps: [], cautions: [], warnings: ['own warning'],
    refusals: [{ what: 'own', have: '1', need: '2', wayOut: 'none' }],
  }
  it('keeps its own refusals and warnings before theirs', () => {
    const draft = sound()
    scanner(draft).life = 1
    board(draft).isolation.terminalsToEarthV = 500
    const { refusals, warnings, scannerClosures } = withGear(plan, draft)
    expect(refusals.map(({ what }) => what.split(' ')[0])).toEqual(['own', 'positions'])
    expect(warnings).toHaveLength(2)
    expect(warnings[0]).toBe('own warning')
    expect(scannerClosures).toBe(7200)
  })
})
