/** Nights in which the supply does not do, or does not say, what it was told. */
import { describe, expect, it } from 'vitest'
import { badNight, openedAfterMs, textsOf } from './bad-night.ts'
import { both, breaks, busFellMs, during, longSoak, pair, shared, stops } from './acts.ts'
import { breaches } from './invariants.ts'

const staysOn = breaks('psu', { kind: 'output-stays-on' })

describe('a supply whose output stays on though it says off', () => {
  it('at the end of a good night: the cutoff is open, the bus is dead, the supply stands at zero', async () => {
    const outcome = await badNight({
      seed: 71, scenario: pair(71),
      acts: [during('soaking', 10_000, staysOn)],
    })
    expect(await breaches(outcome, { supplyOn: true })).toEqual([])
    const { sim } = outcome.bench
    expect(sim.instruments.psu.core.driven).toBe(true)
    expect(sim.instruments.psu.core.voltageV).toBe(0)
    expect(outcome.endV.bus).toBeLessThan(1)
  })

  it('when a person stops the run: the contact opens first, and what stays on is set to zero behind it', async () => {
    const outcome = await badNight({
      seed: 72, scenario: pair(72),
      acts: [during('soaking', 10_000, staysOn), during('soaking', 30_000, stops)],
    })
    expect(await breaches(outcome, { supplyOn: true })).toEqual([])
    expect(outcome.run.state).toBe('stopped')
    expect(openedAfterMs(outcome, outcome.actedMs[1])).toBeLessThan(50)
    await outcome.bench.clock.advance(30_000)
    expect(outcome.bench.sim.now().supplyOutputV()).toBeLessThan(60)
  })

  it('and whose cutoff is welded and denies it: set to zero, the supply feeds nothing', async () => {
    const outcome = await badNight({
      seed: 73, scenario: pair(73),
      acts: [during('soaking', 10_000, both(staysOn, shared('cutoff-welded-unseen'))), during('soaking', 30_000, stops)],
    })
    expect(await breaches(outcome, { supplyOn: true })).toEqual([])
    expect(outcome.endV.bus).toBeLessThan(5)
  })

  it('and that hears nothing and has no watchdog that ends, behind a cutoff that is welded and denies it: the bus is live, and nobody is told otherwise', async () => {
    const outcome = await badNight({
      seed: 74, scenario: pair(74),
      acts: [during('soaking', 10_000, both(
        breaks('psu', { kind: 'watchdog-silent' }), breaks('psu', { kind: 'deaf' }), shared('cutoff-welded-unseen')))],
    })
    expect(await breaches(outcome, { supplyOn: true, busLive: true })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(outcome.endV.bus).toBeGreaterThan(60)
    expect(textsOf(outcome, 'off').join()).toMatch(/NOT SAFE TO TOUCH: the bus/)
    // Released by their changeovers the parts themselves do bleed.
    expect([...outcome.endV.parts.values()].every(volts => volts < 60)).toBe(true)
  })
})

describe('a supply that gives more than it was set to', () => {
  it('overshoots by a little at each rise: no node goes past the envelope, and the night is as any other', async () => {
    const outcome = await badNight({
      seed: 75, scenario: pair(75),
      before: breaks('psu', { kind: 'output-overshoot', value: 5 }),
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(outcome.bench.sim.audit().busMaxV).toBeGreaterThan(151)
  })

  it('overshoots by 100 V for 30 ms: its current limit and its own capacitor keep the bus under the envelope', async () => {
    const outcome = await badNight({
      seed: 76, scenario: pair(76),
      before: breaks('psu', { kind: 'output-overshoot', value: 100 }),
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.bench.sim.audit().busMaxV).toBeLessThan(1.05 * 150 + 2)
  })

  it.each([
    ['runs away to 300 V and its own protection is silent',
      both(breaks('psu', { kind: 'protection-silent' }), breaks('psu', { kind: 'output-runaway', value: 300 }))],
    ['runs away to 300 V and cannot be switched off', both(staysOn, breaks('psu', { kind: 'output-runaway', value: 300 }))],
  ])('%s: two readings of the bus later the contact is open', async (_how, act) => {
    const outcome = await badNight({
      seed: 77, scenario: pair(77), request: longSoak,
      acts: [during('soaking', 60_000, act)],
    })
    // Quiet cadence: a reading each second, one past the envelope is enough.
    expect(await breaches(outcome, { tooHighMs: 1600, supplyOn: true })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(1500)
    expect(textsOf(outcome, 'trip').join()).toMatch(/bus\.voltage .* the bus is above/)
    // The current limit and the parts: in that time they do not get far.
    for (const { part } of outcome.bench.sim.audit().positions) expect(part?.voltsMaxV ?? 0).toBeLessThan(175)
  })

  it('runs away to 300 V until its own protection takes it off: the run ends by what it was or by what is left', async () => {
    const outcome = await badNight({
      seed: 77, scenario: pair(77), request: longSoak,
      acts: [during('soaking', 60_000, breaks('psu', { kind: 'output-runaway', value: 300 }))],
    })
    expect(await breaches(outcome, { tooHighMs: 1600 })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(busFellMs)
    expect(textsOf(outcome, 'trip').join()).toMatch(/the bus is above|the bus fell away/)
    for (const { part } of outcome.bench.sim.audit().positions) expect(part?.voltsMaxV ?? 0).toBeLessThan(175)
  })

  it('stands 5 V too high, which is inside the envelope: found against what was asked for', async () => {
    const outcome = await badNight({
      seed: 78, scenario: pair(78), request: longSoak,
      acts: [during('soaking', 60_000, breaks('psu', { kind: 'output-runaway', value: 157 }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(3000)
    expect(textsOf(outcome, 'trip').join()).toMatch(/above what was asked for|more than was asked for/)
  })
})

describe('a supply that lies or falls silent', () => {
  it('reads back another setting: tripped at the next set-point, and both numbers are on record', async () => {
    const outcome = await badNight({
      seed: 79, scenario: pair(79),
      acts: [during('forming', 60_000, breaks('psu', { kind: 'read-back-lies', value: 300 }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'trip').join()).toMatch(/the setting did not take: expected [\d.]+ V, got 300 V/)
  })

  it.each(['silent', 'deaf', 'garbage'] as const)('%s in the soak: off by the cutoff within seconds', async kind => {
    const outcome = await badNight({
      seed: 80, scenario: pair(80), request: longSoak,
      acts: [during('soaking', 60_000, breaks('psu', { kind }))],
    })
    expect(await breaches(outcome, { supplyOn: kind === 'deaf' })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(5000)
    expect(textsOf(outcome, 'off').join()).toMatch(/NOT READ BACK/)
  })

  it('loses its power for a moment: whatever it comes back as, the run ends', async () => {
    const outcome = await badNight({
      seed: 81, scenario: pair(81), request: longSoak,
      acts: [during('soaking', 60_000, breaks('psu', { kind: 'power-cycle' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
  })

  it('is another one after its plug was out for a moment: refused by its name', async () => {
    const outcome = await badNight({
      seed: 82, scenario: pair(82), request: longSoak,
      acts: [during('soaking', 60_000, both(
        breaks('psu', { kind: 'swapped-identity', value: 'OTHER,SUPPLY,1,1' }), breaks('psu', { kind: 'disconnect' })))],
    })
    expect(await breaches(outcome, { supplyOn: true })).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'trip').join()).toMatch(/a different instrument answers|the link to psu is lost/)
  })
})
