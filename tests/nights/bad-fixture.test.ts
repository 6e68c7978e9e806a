/** Nights in which the fixture is broken: leads, relays, bleeders, the cutoff. */
import { describe, expect, it } from 'vitest'
import type { NightStage, Outcome } from './bad-night.ts'
import { badNight, openedAfterMs, quick, textsOf } from './bad-night.ts'
import { both, breaks, busFellMs, during, fixture, longSoak, pair, rackOf, shared, stops } from './acts.ts'
import { breaches } from './invariants.ts'

const touchOf = ({ lastTouch }: Outcome, position: string): string => lastTouch.get(position) ?? 'no words'
async function gradesOf({ bench, run }: Outcome): Promise<Record<string, string>> {
  return Object.fromEntries((await bench.store.results(run.id)).map(({ position, grade }) => [position, grade]))
}
const truly = ({ endV }: Outcome, position: string): number => endV.parts.get(position)!

const full = { parameters: { ...quick, targetV: 450, slewVPerS: 20 } }

describe('a position relay that welds while its part is on the bus', () => {

  it('stops the run when the part cannot be released, and calls it touchable only once the bus has fallen', async () => {
    const outcome = await badNight({
      seed: 41, scenario: pair(41), request: longSoak,
      acts: [during('soaking', 60_000, fixture('P01', 'relay-welded'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'trip').join()).toMatch(/P01|bus was set to 0/)
    const words = textsOf(outcome, 'touch').filter(text => text.startsWith('P01'))
    expect(words[0]).toMatch(/NOT SAFE TO TOUCH: UNMEASURED/)
    expect(touchOf(outcome, 'P02')).toMatch(/^measured below 60 V/)
    expect(Object.values(await gradesOf(outcome))).not.toContain('accept')
  })

  it('tells no lie of a part that bleeds through the bus, stopped at 450 V', async () => {
    const outcome = await badNight({
      seed: 42, scenario: pair(42), request: full,
      acts: [during('soaking', 0, fixture('P01', 'relay-welded')), during('soaking', 20_000, stops)],
    })
    // 47 µF over limiting resistor and bus bleeder: 27 s a time constant where the bleeder would take 5.
    expect(await breaches(outcome, { busLive: true })).toEqual([])
    expect(outcome.run.state).toBe('stopped')
    expect(outcome.endV.bus).toBeGreaterThan(2)
    expect(touchOf(outcome, 'P01')).toMatch(/^NOT SAFE/)
    expect(textsOf(outcome, 'off').join()).toMatch(/NOT SAFE TO TOUCH: the bus/)
  })

  it('stops instead of dropping when the part that shorted cannot be released', async () => {
    const outcome = await badNight({
      seed: 43, scenario: rackOf([['shorting', { atFraction: 0.32, afterS: 120, toOhm: 5000 }], 'healthy'], 43), request: longSoak,
      acts: [during('forming', 0, fixture('P01', 'relay-welded'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.bench.sim.truth()[0]!.happenings.map(({ kind }) => kind)).toEqual(['short'])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'trip').join()).toMatch(/P01 still takes 1\.\d+e\+3 µA one scan after its release/)
    expect(openedAfterMs(outcome, outcome.events.find(({ kind }) => kind === 'drop')!.atMs)).toBeLessThan(6000)
    // A welded relay and a scanner that gives another's current look the same: neither part is called measured.
    for (const name of ['P01', 'P02']) {
      expect(touchOf(outcome, name)).toBe('NOT SAFE TO TOUCH: UNMEASURED (P01 was released and still took current: the scanner may mix up positions)')
    }
  })
})

describe('a lead that comes off one position', () => {
  const times: [NightStage, number][] = [['forming', 250_000], ['soaking', 30_000], ['formal', 60_000]]
  it.each(times)('in %s after %i ms: its part is charged, is called so, and gets no grade; the rest goes on', async (stage, afterMs) => {
    const outcome = await badNight({
      seed: 44, scenario: pair(44), acts: [during(stage, afterMs, fixture('P01', 'lead-open'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(truly(outcome, 'P01')).toBeGreaterThan(60)
    expect(touchOf(outcome, 'P01')).toMatch(/^NOT SAFE/)
    expect(await gradesOf(outcome)).toEqual({ P01: 'cannot tell', P02: 'accept' })
  })

  it('of the part that is not being read, in the formal reading of another', async () => {
    const outcome = await badNight({
      seed: 45, scenario: pair(45), acts: [during('formal', 60_000, fixture('P02', 'lead-open'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(touchOf(outcome, 'P02')).toMatch(/^NOT SAFE/)
    expect(await gradesOf(outcome)).toEqual({ P01: 'accept', P02: 'cannot tell' })
  })

  it('just as a person stops the run: charged for ever, and said so', async () => {
    const outcome = await badNight({
      seed: 46, scenario: pair(46),
      acts: [during('soaking', 30_000, both(fixture('P01', 'lead-open'), stops))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('stopped')
    expect(truly(outcome, 'P01')).toBeGreaterThan(60)
    expect(touchOf(outcome, 'P01')).toMatch(/^NOT SAFE TO TOUCH: UNMEASURED/)
  })
})

describe('a bleeder that is open', () => {
  it.each([['from the start', 0], ['since the soak', 1]])('at one position, %s: the charge stays and is not denied', async (_when, late) => {
    const open = fixture('P01', 'bleeder-open')
    const outcome = await badNight({
      seed: 47, scenario: pair(47), ...(late ? { acts: [during('soaking', 10_000, open)] } : { before: open }),
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(truly(outcome, 'P01')).toBeGreaterThan(60)
    expect(touchOf(outcome, 'P01')).toMatch(/^NOT SAFE TO TOUCH/)
    expect(await gradesOf(outcome)).toEqual({ P01: 'cannot tell', P02: 'accept' })
  })

  it('since it was bled, after 450 V: nothing comes back, and that is no proof of anything', async () => {
    const outcome = await badNight({
      seed: 47, scenario: pair(47), request: full, acts: [during('watching', 0, fixture('P01', 'bleeder-open'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(touchOf(outcome, 'P01')).toBe('NOT SAFE TO TOUCH: UNMEASURED (nothing came back: its bleeder may be open)')
    expect(touchOf(outcome, 'P02')).toMatch(/^measured below 60 V/)
    expect(await gradesOf(outcome)).toEqual({ P01: 'cannot tell', P02: 'accept' })
    expect(outcome.bench.sim.audit().positions[0]!.bridgeMaxV).toBeLessThan(3)
  })

  it('on the bus: the meter empties it, and the night is as any other', async () => {
    const outcome = await badNight({
      seed: 48, scenario: pair(48), acts: [during('soaking', 10_000, shared('bus-bleeder-open'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(await gradesOf(outcome)).toEqual({ P01: 'accept', P02: 'accept' })
  })

  it('on the bus, with a part welded to it: the bus stays live, and the record says so', async () => {
    const outcome = await badNight({
      seed: 49, scenario: pair(49), request: { parameters: { ...quick, targetV: 300, slewVPerS: 10 } },
      acts: [
        during('soaking', 10_000, both(fixture('P01', 'relay-welded'), shared('bus-bleeder-open'))),
        during('soaking', 30_000, stops),
      ],
    })
    expect(await breaches(outcome, { busLive: true })).toEqual([])
    expect(outcome.endV.bus).toBeGreaterThan(200)
    expect(touchOf(outcome, 'P01')).toMatch(/^NOT SAFE/)
    expect(textsOf(outcome, 'off').join()).toMatch(/NOT SAFE TO TOUCH: the bus/)
  })
})

describe('a cutoff that does not do as it is told', () => {
  it('welded in the soak: the supply goes off all the same, the run does not count as done, and it is on record why', async () => {
    const outcome = await badNight({
      seed: 50, scenario: pair(50),
      acts: [during('soaking', 10_000, breaks('cutoff', { kind: 'relay-welded' }))],
    })
    expect(await breaches(outcome, { contactClosed: true })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(outcome.bench.sim.instruments.psu.core.driven).toBe(false)
    expect(textsOf(outcome, 'off').join()).toMatch(/NOT READ BACK/)
  })

  it('welded before the run: refused, and nothing was energised', async () => {
    const outcome = await badNight({
      seed: 51, scenario: pair(51),
      before: breaks('cutoff', { kind: 'relay-welded' }),
    })
    expect(await breaches(outcome, { contactClosed: true })).toEqual([])
    expect(['refused', 'tripped']).toContain(outcome.run.state)
    expect(outcome.bench.sim.audit().busMaxV).toBe(0)
  })

  it('welded, with an auxiliary contact that denies it: supply and bleeders leave the bench dead', async () => {
    const outcome = await badNight({
      seed: 52, scenario: pair(52),
      acts: [during('soaking', 10_000, shared('cutoff-welded-unseen')), during('soaking', 30_000, stops)],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('stopped')
  })

  it.each([
    ['and shows it', breaks('cutoff', { kind: 'relay-dead' }), 0.1],
    ['and its auxiliary contact denies it', shared('cutoff-dead-unseen'), 0.1],
  ])('does not close at the start, %s: tripped, and nothing ever reached the bus', async (_how, before, mostV) => {
    const outcome = await badNight({ seed: 53, scenario: pair(53), before })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(outcome.bench.sim.audit().busMaxV).toBeLessThan(mostV)
  })

  it('loses its power in the soak: its read-back says so within a quiet bus reading, or the bus has fallen', async () => {
    const outcome = await badNight({
      seed: 54, scenario: pair(54),
      acts: [during('soaking', 10_000, breaks('cutoff', { kind: 'power-cycle' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(openedAfterMs(outcome)).toBeLessThan(50)
    const trip = outcome.events.find(({ kind }) => kind === 'trip')!
    expect(trip.text).toMatch(/the cutoff reads open|the bus fell away/)
    expect(trip.atMs - outcome.actedMs[0]!).toBeLessThan(busFellMs)
  })
})

describe('a relay board that loses its power', () => {
  it.each([['forming', 100_000], ['soaking', 20_000], ['formal', 50_000]] as [NightStage, number][])(
    'in %s after %i ms: the run notices that its parts are on their bleeders, and grades none of them', async (stage, afterMs) => {
      const outcome = await badNight({
        seed: 55, scenario: pair(55),
        acts: [during(stage, afterMs, breaks('relays', { kind: 'power-cycle' }))],
      })
      expect(await breaches(outcome)).toEqual([])
      expect(Object.values(await gradesOf(outcome)).filter(grade => grade === 'accept')).toEqual([])
      const noticed = outcome.events.find(({ severity, atMs }) => severity !== 'info' && atMs >= outcome.actedMs[0]!)
      expect(noticed, 'nothing was noticed').toBeDefined()
      expect(noticed!.atMs - outcome.actedMs[0]!).toBeLessThan(30_000)
    })

  it('falls silent in the soak: found at its next use, and the cutoff needs no relay board', async () => {
    const outcome = await badNight({
      seed: 56, scenario: pair(56), acts: [during('soaking', 20_000, breaks('relays', { kind: 'silent' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'off').join()).toMatch(/NOT READ BACK/)
  })
})

describe('two faults that hide each other', () => {
  it('a part welded to a bus whose meter has lost its lead: a zero that ended the run proves nothing', async () => {
    const outcome = await badNight({
      seed: 57, scenario: pair(57), request: { parameters: { ...quick, targetV: 450, slewVPerS: 20 } },
      acts: [during('soaking', 0, both(fixture('P01', 'relay-welded'), shared('bus-meter-lead-open')))],
    })
    expect(await breaches(outcome, { busLive: true })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(truly(outcome, 'P01')).toBeGreaterThan(60)
    expect(touchOf(outcome, 'P01')).toMatch(/^NOT SAFE/)
    expect(textsOf(outcome, 'off').join()).not.toMatch(/the bus is dead/)
  })
})

describe('a scanner that stays on one position', () => {
  const sticks = both(breaks('scanner', { kind: 'relay-welded', value: 102 }), breaks('scanner', { kind: 'relay-dead' }))

  it('takes back what was said of a part that was dropped long before', async () => {
    const outcome = await badNight({
      seed: 61, scenario: rackOf([['shorting', { atFraction: 0.32, afterS: 120, toOhm: 5000 }], 'healthy', 'healthy'], 61),
      request: longSoak, acts: [during('soaking', 200_000, sticks)],
    })
    expect(await breaches(outcome)).toEqual([])
    const touches = outcome.events.filter(({ kind, position }) => kind === 'touch' && position === 'P01')
    expect(touches[0]!.text).toMatch(/measured below 60 V/)
    for (const name of ['P01', 'P02', 'P03']) expect(touchOf(outcome, name)).toMatch(/^NOT SAFE TO TOUCH/)
  })
})
