/** Nights in which what only looks is broken: meters, scanner, thermometer, bridge, beacon. */
import { describe, expect, it } from 'vitest'
import type { NightStage, Outcome } from './bad-night.ts'
import { badNight, openedAfterMs, quick, textsOf } from './bad-night.ts'
import { both, breaks, busFellMs, during, longSoak, pair, shared } from './acts.ts'
import { breaches } from './invariants.ts'

async function gradesOf({ bench, run }: Outcome): Promise<Record<string, string>> {
  return Object.fromEntries((await bench.store.results(run.id)).map(({ position, grade }) => [position, grade]))
}
const touches = ({ lastTouch }: Outcome): string[] => [...lastTouch.values()]

describe('a scanner', () => {
  it.each(['silent', 'deaf'] as const)('%s in the soak: tripped, and parts that nobody saw bleed are not called safe', async kind => {
    const outcome = await badNight({
      seed: 91, scenario: pair(91), request: longSoak,
      acts: [during('soaking', 60_000, breaks('scanner', { kind }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(13_000)
    expect(touches(outcome).every(text => text.startsWith('NOT SAFE TO TOUCH: UNMEASURED'))).toBe(true)
  })

  it('stuck on the channel of P01 while it reads back what it was told: P02 is not graded by the current of P01', async () => {
    const stuck = both(breaks('scanner', { kind: 'relay-welded', value: 101 }), breaks('scanner', { kind: 'relay-dead' }))
    const outcome = await badNight({
      seed: 92, scenario: pair(92), request: longSoak,
      acts: [during('soaking', 60_000, stuck)],
    })
    expect(await breaches(outcome)).toEqual([])
    expect((await gradesOf(outcome))['P02'] ?? 'none').not.toBe('accept')
  })

  it('with no channel that closes any more: zero is no leakage and no proof of dead', async () => {
    const outcome = await badNight({
      seed: 93, scenario: pair(93), request: longSoak,
      acts: [during('soaking', 60_000, breaks('scanner', { kind: 'relay-dead' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(Object.values(await gradesOf(outcome))).not.toContain('accept')
  })
})

describe('a meter', () => {
  it.each(['sense-dmm', 'bus-dmm'] as const)('%s silent in the soak: tripped within its staleness', async name => {
    const outcome = await badNight({
      seed: 94, scenario: pair(94), request: longSoak,
      acts: [during('soaking', 60_000, breaks(name, { kind: 'silent' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(14_000)
  })

  it('of the bus with its lead off: found as a bus that fell, within the patience of that limit and a reading', async () => {
    const outcome = await badNight({
      seed: 95, scenario: pair(95), request: longSoak,
      acts: [during('soaking', 60_000, shared('bus-meter-lead-open'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(busFellMs)
    expect(textsOf(outcome, 'trip').join()).toMatch(/the bus fell away/)
  })

  it('of the bus with its lead off before the first volt: the bus never rises past the polarity stop', async () => {
    const outcome = await badNight({
      seed: 96, scenario: pair(96),
      acts: [during('checking', 0, shared('bus-meter-lead-open'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(outcome.bench.sim.audit().busMaxV).toBeLessThan(6)
  })

  it('of the bus that reads twice what there is: found at the polarity stop', async () => {
    const outcome = await badNight({
      seed: 97, scenario: pair(97),
      acts: [during('checking', 0, breaks('bus-dmm', { kind: 'reading-gain', value: 2 }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(outcome.bench.sim.audit().busMaxV).toBeLessThan(15)
  })
})

describe('a meter that repeats one reading for ever', () => {
  const stuck = (name: 'sense-dmm' | 'bus-dmm') => breaks(name, { kind: 'reading-stuck' })

  it.each(['sense-dmm', 'bus-dmm'] as const)('%s while the bus rises: tripped before the next step, and no part pays for it', async name => {
    const outcome = await badNight({
      seed: 105, scenario: pair(105),
      acts: [during('forming', 2000, stuck(name))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'trip').join()).toMatch(/stuck|stays at|repeat|reads/)
    expect(textsOf(outcome, 'drop')).toEqual([])
    expect(outcome.bench.sim.audit().busMaxV).toBeLessThan(80)
  })

  it('of the bus, from the soak on: tripped when the bus is set to zero, and not called dead', async () => {
    const outcome = await badNight({
      seed: 106, scenario: pair(106),
      acts: [during('soaking', 10_000, stuck('bus-dmm'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'off').join()).not.toMatch(/the bus is dead/)
  })

  it('of the positions, from the soak on: no part is graded by it, and none is called touchable while it is charged', async () => {
    const outcome = await badNight({
      seed: 107, scenario: pair(107), request: longSoak,
      acts: [during('soaking', 10_000, stuck('sense-dmm'))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(Object.values(await gradesOf(outcome)).filter(grade => grade !== 'cannot tell')).toEqual([])
    expect(touches(outcome).every(text => text.startsWith('NOT SAFE'))).toBe(true)
  })
})

describe('a thermometer', () => {
  it('silent in the soak: heat is no longer watched, so the bench is made safe', async () => {
    const outcome = await badNight({
      seed: 98, scenario: pair(98), request: longSoak,
      acts: [during('soaking', 60_000, breaks('thermometer', { kind: 'silent' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(14_000)
  })

  it.each(['sensor-open', 'sensor-short'] as const)('%s on one can: that part leaves without being condemned, the rest goes on', async kind => {
    const outcome = await badNight({
      seed: 99, scenario: pair(99), request: longSoak,
      acts: [during('soaking', 60_000, breaks('thermometer', { kind, value: 1 }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(await gradesOf(outcome)).toEqual({ P01: 'cannot tell', P02: 'accept' })
    expect(textsOf(outcome, 'drop').join()).toMatch(/P01/)
  })
})

describe('a bridge', () => {
  it('that does not answer by name: refused before anything is energised', async () => {
    const outcome = await badNight({
      seed: 100, scenario: pair(100),
      before: breaks('bridge', { kind: 'silent' }),
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('refused')
    expect(outcome.bench.sim.audit().supplyMaxV).toBe(0)
  })

  it.each(['reform', 'capacitor-check'])('that lost its power since the last run is set up again for %s: good parts are measured', async sequence => {
    const outcome = await badNight({
      seed: 100, scenario: pair(100), request: { sequence, parameters: sequence === 'reform' ? quick : {} },
      before: breaks('bridge', { kind: 'power-cycle' }),
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(await gradesOf(outcome)).toEqual({ P01: 'accept', P02: 'accept' })
  })

  it('that falls silent at the first check: no part that it did not see goes on the bus, and none is judged', async () => {
    const outcome = await badNight({
      seed: 101, scenario: pair(101),
      acts: [during('checking', 0, breaks('bridge', { kind: 'silent' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.bench.sim.audit().positions.map(({ busClosures }) => busClosures)).toEqual([0, 0, 0])
    expect(Object.values(await gradesOf(outcome)).filter(grade => grade !== 'cannot tell')).toEqual([])
    expect(outcome.events.some(({ text, severity }) => severity !== 'info' && text.includes('bridge'))).toBe(true)
  })

  it('that falls silent at the end: the bench is dead, and the leakage that was read is in the record', async () => {
    const outcome = await badNight({
      seed: 102, scenario: pair(102),
      acts: [during('soaking', 0, breaks('bridge', { kind: 'silent' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(textsOf(outcome, 'formal').filter(text => text.includes(' V through '))).toHaveLength(2)
    expect(touches(outcome).every(text => text.startsWith('measured below 60 V'))).toBe(true)
    expect(Object.values(await gradesOf(outcome))).not.toContain('reject')
  })
})

describe('an instrument that loses its power for a moment in the soak', () => {
  it.each(['sense-dmm', 'bus-dmm', 'scanner', 'thermometer', 'bridge', 'beacon', 'interlock'] as const)(
    '%s: it goes on or stops, and no figure is false', async name => {
      const outcome = await badNight({
        seed: 103, scenario: pair(103),
        acts: [during('soaking', 20_000, breaks(name, { kind: 'power-cycle' }))],
      })
      expect(await breaches(outcome)).toEqual([])
      for (const { figures } of await outcome.bench.store.results(outcome.run.id)) {
        const leakA = figures['formalLeakageA']
        if (leakA !== undefined) expect(leakA).toBeGreaterThan(1e-7)
      }
    })
})

describe('a plug that is out for a moment in a stage', () => {
  const stages: NightStage[] = ['forming', 'formal', 'watching']
  it.each(stages.flatMap(stage => (['sense-dmm', 'relays', 'cutoff', 'psu'] as const).map(name => [name, stage] as const)))(
    '%s in %s: goes on or stops, but ends dead and true', async (name, stage) => {
      const outcome = await badNight({
        seed: 104, scenario: pair(104), acts: [during(stage, 7000, breaks(name, { kind: 'disconnect' }))],
      })
      expect(await breaches(outcome)).toEqual([])
      expect(['done', 'tripped']).toContain(outcome.run.state)
    })
})
