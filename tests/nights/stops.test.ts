/** A person may stop the run at any time. Thirty times of a night, drawn by seed, and each end is dead, bled and said. */
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { badNight, openedAfterMs, textsOf } from './bad-night.ts'
import { rackOf, stops } from './acts.ts'
import { breaches } from './invariants.ts'
import { virtualBench } from './virtual-bench.ts'

/** About as long as the quick night of two parts takes. */
const nightMs = 990_000
const random = new SeededRandom('stops')
const times = Array.from({ length: 30 }, (_, i): [number, number] => [i, Math.round(random.uniform(200, nightMs))])

describe('a stop by a person', () => {
  it.each(times)('seed %i, after %i ms: off within 50 ms, every part measured below touch-safe', async (seed, atMs) => {
    const outcome = await badNight({
      seed, scenario: rackOf(['healthy', 'stale'], seed), acts: [{ atMs, act: stops }],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('stopped')
    expect(textsOf(outcome, 'trip')).toEqual([])
    expect(textsOf(outcome, 'off').join()).toMatch(/bench off and read back/)
    const wasLive = outcome.events.some(event => event.kind === 'energise' && event.atMs < outcome.actedMs[0]! - 500)
    if (wasLive) expect(openedAfterMs(outcome)).toBeLessThan(50)
    expect([...outcome.endV.parts.values()].every(volts => Math.abs(volts) < 5)).toBe(true)
    if (wasLive) expect([...outcome.lastTouch.values()].every(text => /(measured|read) below/.test(text))).toBe(true)
    await expect(outcome.bench.clock.run(outcome.bench.daemon.start(outcome.bench.request))).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it.each([0, 1, 2, 3, 5, 8, 20, 60, 200])('is not forgotten when it comes %i turns after a start was asked for', async turns => {
    const bench = await virtualBench(rackOf(['healthy'], 1), 1)
    const { daemon, clock, sim, request } = bench
    await clock.run((async () => {
      const starting = daemon.start(request)
      for (let i = 0; i < turns; i++) await Promise.resolve()
      await daemon.stop('smell of burning')
      const { id } = await starting
      expect(await daemon.ended(id)).toMatchObject({ state: 'stopped' })
    })())
    expect(daemon.status().latched?.text).toContain('smell of burning')
    expect(sim.instruments.cutoff.device.effects.list('contact').filter(({ value }) => value === 1)).toEqual([])
    await expect(clock.run(daemon.start(request))).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it('leaves no timer behind that would hold the process up for more than 2 s', async () => {
    const { daemon, clock, request } = await virtualBench(rackOf(['healthy'], 1), 1)
    const waiting = new Map<number, number>()
    const after = clock.after.bind(clock)
    let made = 0
    clock.after = (ms, act) => {
      const timer = made++
      waiting.set(timer, ms)
      const cancel = after(ms, () => { waiting.delete(timer); act() })
      return () => { waiting.delete(timer); cancel() }
    }
    await clock.run((async () => {
      const { id } = await daemon.start(request)
      clock.after(30_000, () => { void daemon.stop('enough for tonight') })
      await daemon.ended(id)
    })())
    expect([...waiting.values()].filter(ms => ms > 2000)).toEqual([])
  })
})
