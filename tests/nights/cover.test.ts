/** The cover, opened at any time: its contact breaks the cutoff's coil by itself, and the run ends and says so. */
import { describe, expect, it } from 'vitest'
import type { NightStage } from './bad-night.ts'
import { badNight, openedAfterMs, textsOf } from './bad-night.ts'
import { breaks, during, opensCover, pair } from './acts.ts'
import { breaches } from './invariants.ts'

/** Travel of the contact. */
const contactMs = 30
/** One quiet period of the bus, one exchange, and the safe-off until it is read back. */
const saidMs = 1000 + 1000

describe('a cover that is open', () => {
  it('before the run: refused, nothing energised, and the next run may come once it is closed', async () => {
    const outcome = await badNight({ seed: 61, scenario: pair(61), before: opensCover })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('refused')
    expect(textsOf(outcome, 'refused').join()).toMatch(/the cover is open/)
    expect(outcome.bench.sim.audit()).toMatchObject({ busMaxV: 0, supplyMaxV: 0 })
    expect(outcome.bench.sim.instruments.cutoff.device.effects.list('contact')).toEqual([])
    expect(outcome.bench.daemon.status().latched).toBe(null)
  })

  const times: [NightStage, number][] = [
    ['checking', 500], ['polarity', 1000], ['polarity', 30_000], ['forming', 5000], ['forming', 90_000], ['soaking', 30_000],
    ['formal', 500], ['formal', 30_000], ['watching', 10_000], ['measuring', 800],
  ]
  it.each(times)('in %s after %i ms: contact open at once, run tripped, parts bled and said so', async (stage, afterMs) => {
    const outcome = await badNight({
      seed: 62, scenario: pair(62),
      acts: [during(stage, afterMs, opensCover)],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(contactMs)
    const trip = outcome.events.find(({ kind }) => kind === 'trip')!
    expect(trip.text).toMatch(/the cover was opened/)
    expect(trip.atMs - outcome.actedMs[0]!).toBeLessThan(saidMs)
    expect([...outcome.lastTouch.values()].every(text => /^(measured|read) below 60 V/.test(text))).toBe(true)
    expect(await outcome.bench.store.results(outcome.run.id)).toEqual([])
  })

  it('while the parts still bleed after the formal reading: the wait for them goes on, and no set-point follows', async () => {
    const outcome = await badNight({
      seed: 62, scenario: pair(62),
      acts: [during('formal', 248_000, opensCover)],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(contactMs)
  })
})

describe('a cover contact that bounces', () => {
  it('opens the cutoff with its first bounce: the night does not go on as if nothing were', async () => {
    const outcome = await badNight({
      seed: 63, scenario: pair(63),
      acts: [during('soaking', 10_000, breaks('interlock', { kind: 'cover-bounce', value: 7000 }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(contactMs)
  })

  it('falls silent in the soak: cover unknown is cover open', async () => {
    const outcome = await badNight({
      seed: 64, scenario: pair(64),
      acts: [during('soaking', 10_000, breaks('interlock', { kind: 'silent' }))],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(3000)
  })
})
