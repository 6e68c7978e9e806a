/** What judges the nights is judged itself: a breach that is there is found, and a night that hangs ends. */
import { beforeAll, describe, expect, it } from 'vitest'
import type { Outcome } from './bad-night.ts'
import { badNight, quick } from './bad-night.ts'
import { during, pair, stops } from './acts.ts'
import { breaches } from './invariants.ts'

describe('the watch over a night', () => {
  let good: Outcome
  beforeAll(async () => {
    good = await badNight({ seed: 131, scenario: pair(131), acts: [during('polarity', 5000, stops)] })
  })

  it('finds nothing in a night that was stopped and ended well', async () => {
    expect(await breaches(good)).toEqual([])
  })

  const parts = (volts: number): Map<string, number> => new Map([['P01', volts], ['P02', 0], ['P03', 0]])
  const flaws: [string, (outcome: Outcome) => Partial<Outcome>, RegExp][] = [
    ['a live bus', () => ({ endV: { bus: 60, parts: parts(0) } }), /the bus stands at 60\.0 V/],
    ['a bus that is called dead', ({ events }) => ({
      endV: { bus: 61, parts: parts(0) }, events: [...events, { ...events[0]!, kind: 'off', text: 'the bus is dead' }],
    }), /at 61\.0 V and was called dead/],
    ['a false word on the way', () => ({
      falseWords: [{ atMs: 1000, position: 'P01', text: 'measured below 60 V', volts: 99 }],
    }), /P01 stood at 99\.0 V/],
    ['a false word at the end', () => ({ endV: { bus: 0, parts: parts(99) } }), /P01 ends at 99\.0 V/],
    ['a node that stood too high', () => ({ tooHighMs: 200 }), /too high for 200 ms/],
    ['another state than the record has', ({ run }) => ({ run: { ...run, state: 'done' } }), /done, and yet/],
    ['an event that is not in the record', ({ events }) => ({ events: events.slice(1) }), /event lost/],
    ['readings that are not in the record', ({ fed }) => ({
      fed: { ...fed, readings: new Map([[0, (fed.readings.get(0) ?? 0) + 1]]) },
    }), /readings shown/],
  ]
  it.each(flaws)('finds %s', async (_what, flaw, words) => {
    expect((await breaches({ ...good, ...flaw(good) })).join('\n')).toMatch(words)
  })

  it('finds a contact that is closed, a supply that is on and a relay that is held', async () => {
    const { cutoff, psu, relays } = good.bench.sim.instruments
    relays.hold([3])
    psu.core.setOutput(true)
    cutoff.close()
    await good.bench.clock.advance(100)
    expect(await breaches(good)).toEqual(expect.arrayContaining([
      'the contact of the cutoff is closed', 'the supply is on', 'relays 3 are held',
    ]))
  })
})

describe('a night that hangs', () => {
  it('ends an hour after the longest time of its plan, and says where it stood', async () => {
    const night = badNight({
      seed: 132, scenario: pair(132), request: { parameters: { ...quick, minStepS: 60 } },
      acts: [during('polarity', 5000, stops)],
      before: ({ daemon }) => { daemon.ended = () => new Promise(() => {}) },
    })
    await expect(night).rejects.toThrow(/the night hangs: \d+ s of bench time .*stage none; last events:[^]*run stopped/)
  })
})
