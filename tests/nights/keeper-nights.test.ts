/** Nights in which the main process, its clock or its keeper is the trouble. Real processes: kill.test.ts. */
import { describe, expect, it } from 'vitest'
import type { Deed } from './bad-night.ts'
import { badNight, openedAfterMs, textsOf } from './bad-night.ts'
import { during, longSoak, pair } from './acts.ts'
import { breaches } from './invariants.ts'

const soakNight = (seed: number, act: Deed) =>
  badNight({ seed, scenario: pair(seed), request: longSoak, acts: [during('soaking', 60_000, act)] })

describe('a keeper that acts by itself', () => {
  it.each([
    ['its pipe closes', ({ keeper }) => { void keeper.daemonGone() }, /the daemon is gone/],
    ['it hears what is no message', ({ keeper }) => { void keeper.malformed('half a line') }, /malformed message: half a line/],
    ['someone stops it at its own door', ({ keeper }) => { void keeper.safeOff('smell of burning', 'a person') }, /smell of burning/],
    ['the cutoff is unplugged', ({ sim }) => { sim.instruments.cutoff.device.disconnect() }, /the link to cutoff is lost/],
  ] as [string, Deed, RegExp][])('because %s: off at once, and the run that still goes on ends tripped with the reason', async (_why, act, reason) => {
    const outcome = await soakNight(121, act)
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(1000)
    expect(textsOf(outcome, 'trip').join()).toMatch(reason)
  })

  it('because no beat came for a second: the daemon beats, but nothing is fresh', async () => {
    // Beats that say "not fresh" are what a daemon sends whose readings have stopped.
    const outcome = await soakNight(122, ({ keeper }) => { keeper.beat = () => {} })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(1100)
    expect(textsOf(outcome, 'trip').join()).toMatch(/no fresh heartbeat/)
  })
})

describe('time that does not go as it should', () => {
  it('a host that slept for half a minute: the bench was off while it slept, and it says so', async () => {
    const outcome = await soakNight(123, ({ clock }) => clock.sleepHost(30_000))
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(textsOf(outcome, 'trip').join()).toMatch(/the host stood still|no fresh heartbeat/)
  })

  it('a wall clock that steps forward by an hour: the host may have slept, so the bench is made safe', async () => {
    const outcome = await soakNight(124, ({ clock }) => clock.stepWall(3_600_000))
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('tripped')
    expect(openedAfterMs(outcome)).toBeLessThan(300)
    expect(textsOf(outcome, 'trip').join()).toMatch(/the wall clock ran ahead/)
  })

  it('a wall clock that steps back by an hour: noted, and nothing else depends on it', async () => {
    const outcome = await soakNight(124, ({ clock }) => clock.stepWall(-3_600_000))
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(textsOf(outcome, 'clock')).toHaveLength(1)
  })
})

describe('a daemon that is closed in the middle of a night', () => {
  it('makes the bench safe first', async () => {
    const outcome = await badNight({
      seed: 125, scenario: pair(125), request: longSoak,
      acts: [during('soaking', 60_000, ({ daemon }) => { void daemon.stop('the daemon is closing') })],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('stopped')
  })
})
