/** The supply's own communication watchdog: armed with the bench, fed by every poll, ended with the run. */
import { describe, expect, it } from 'vitest'
import { watchdogSeconds } from '../../src/safety/silence.ts'
import { badNight, quick, textsOf } from './bad-night.ts'
import type { Deed } from './bad-night.ts'
import { both, breaks, during, longSoak, pair, shared } from './acts.ts'
import { breaches } from './invariants.ts'
import { CampaignBench } from '../../nights/campaign-bench.ts'
import { virtualBench } from './virtual-bench.ts'

const cadence = { busMs: 100, busQuietMs: 1000, sweepMs: 2500, sweepQuietMs: 10_000, temperatureMs: 10_000 }

describe('the seconds of silence', () => {
  it('are those after which a stale bus stops the bench, and one exchange more, in whole seconds', () => {
    expect(watchdogSeconds(cadence)).toBe(6)
    expect(watchdogSeconds({ ...cadence, busQuietMs: 24_000 })).toBe(75)
    expect(watchdogSeconds({ ...cadence, busMs: 3000, busQuietMs: 100 })).toBe(12)
  })
})

describe('a night with a supply that watches its link', () => {
  it('is armed in time, never trips while it is polled, and is ended when the supply was seen off', async () => {
    const armed: boolean[] = []
    const outcome = await badNight({
      seed: 131, scenario: pair(131), request: longSoak,
      acts: [{ stage: 'soaking', afterMs: 60_000, act: ({ sim }) => { armed.push(sim.instruments.psu.core.watchdogOn) } }],
    })
    const { core } = outcome.bench.sim.instruments.psu
    expect(await breaches(outcome)).toEqual([])
    expect([outcome.run.state, armed, core.watchdogS]).toEqual(['done', [true], 6])
    expect(textsOf(outcome, 'armed').join()).toMatch(/goes off after 6 s of silence/)
    expect(core.watchdogOn).toBe(false)
    await outcome.bench.clock.advance(3_600_000)
    expect(core.tripped.watchdog).toBe(false)
  })

  it('is ended after a trip too, though the keeper withholds all that could energise', async () => {
    const outcome = await badNight({
      seed: 132, scenario: pair(132), request: longSoak,
      acts: [during('soaking', 30_000, ({ sim }) => { sim.switches.coverClosed = false })],
    })
    expect([outcome.run.state, outcome.bench.keeper.mode]).toEqual(['tripped', 'safe'])
    expect(outcome.bench.sim.instruments.psu.core.watchdogOn).toBe(false)
  })

  it('rests through the slowest cadence', async () => {
    const outcome = await badNight({
      seed: 133, request: longSoak,
      scenario: { ...pair(133), cadence: { busMs: 3000, busQuietMs: 24_000, sweepMs: 5000, sweepQuietMs: 75_000, temperatureMs: 90_000 } },
    })
    expect([outcome.run.state, outcome.bench.sim.instruments.psu.core.watchdogS]).toEqual(['done', 75])
  })
})

describe('a plan', () => {
  /** At most 3600 s in the profile: three rounds of 1199 s, a second, and an exchange. */
  const slow = (busQuietMs: number) => virtualBench({ ...pair(138), cadence: { ...cadence, busQuietMs } }, 138)

  it('is refused where the bus is read too seldom for the watchdog, with the way out, and nothing is energised', async () => {
    const bench = await slow(1_199_001)
    const { refusals } = await bench.daemon.plan(bench.request)
    expect(refusals).toEqual([{
      what: 'supply (dc-supply-600v-a): silence its communication watchdog bears', have: '3600 s', need: 'at least 3601 s',
      wayOut: 'read the bus oftener: cadence.busMs and cadence.busQuietMs at most 1199000',
    }])
    await expect(bench.night()).rejects.toMatchObject({ code: 'REFUSED' })
    expect(bench.sim.audit().busMaxV).toBe(0)
    expect(bench.sim.instruments.psu.core.watchdogOn).toBe(false)
  })

  it('is made where the way out was taken', async () => {
    const bench = await slow(1_199_000)
    expect((await bench.daemon.plan(bench.request)).refusals).toEqual([])
  })
})

describe('a supply whose link falls silent behind a cutoff that does not part', () => {
  const cut: Deed = ({ sim }) => { sim.instrument('psu').device.receive = () => {} }
  const silences: [why: string, act: Deed, offMs: number][] = [
    ['its cable is cut', cut, 6000],
    // What arrives feeds the watchdog, obeyed or not: until the polls have failed and the safe-off was tried.
    ['it obeys nothing any more', breaks('psu', { kind: 'deaf' }), 6000 + 6000],
  ]
  it.each(silences)('because %s: off by itself', async (_why, silent, offMs) => {
    const outcome = await badNight({
      seed: 134, scenario: pair(134), request: longSoak,
      acts: [during('soaking', 60_000, both(silent, shared('cutoff-welded-unseen')))],
    })
    expect(await breaches(outcome)).toEqual([])
    const { psu } = outcome.bench.sim.instruments
    const off = psu.device.effects.list('output').find(({ atMs, value }) => value === 0 && atMs >= outcome.actedMs[0]!)
    expect(off!.atMs - outcome.actedMs[0]!).toBeLessThanOrEqual(offMs)
    expect(psu.core.driven).toBe(false)
    expect(outcome.endV.bus).toBeLessThan(60)
  })

  it('and that was not seen off: the watchdog stays armed, and the record says so', async () => {
    const outcome = await badNight({
      seed: 135, scenario: pair(135), request: longSoak,
      acts: [during('soaking', 60_000, breaks('psu', { kind: 'silent' }))],
    })
    expect(outcome.run.state).toBe('tripped')
    expect(outcome.bench.sim.instruments.psu.core.watchdogOn).toBe(true)
    expect(textsOf(outcome, 'watchdog').join()).toMatch(/not seen off: its communication watchdog \(6 s\) stays armed/)
  })
})

describe('a keeper that dies while the run ends', () => {
  const killedAfter = async (mode: string, ms: number) => {
    const bench = new CampaignBench(pair(138), 138)
    const run = await bench.clock.run((async () => {
      await bench.boot()
      bench.daemon.subscribe(item => {
        if (item.type !== 'event' || item.event.text !== 'soaking') return
        bench.onKeeperMode = now => {
          if (now !== mode) return
          bench.onKeeperMode = () => {}
          bench.clock.after(ms, () => bench.killKeeper())
        }
        void bench.daemon.stop('enough for tonight')
      })
      const { id } = await bench.daemon.start({ ...bench.request, parameters: quick })
      return await bench.daemon.ended(id)
    })())
    return { bench, run, events: await bench.store.events(run.id) }
  }

  it.each([['it makes the bench safe', 'safing', 0], ['the watchdog is told to end', 'safe', 1]])(
    'when %s: the one after it ends the watchdog, and the idle supply never trips', async (_when, mode, ms) => {
      const { bench, run, events } = await killedAfter(mode, ms)
      const { core } = bench.sim.instruments.psu
      expect([run.state, bench.daemon.status().keeper]).toEqual(['stopped', 'safe'])
      expect(events.filter(({ kind }) => kind === 'watchdog')).toEqual([])
      expect([core.watchdogOn, core.driven]).toEqual([false, false])
      await bench.clock.advance(3_600_000)
      expect(core.tripped.watchdog).toBe(false)
    })
})

describe('arming', () => {
  it.each([
    ['is not armed', 'SYST:WATC:STAT?', '0', /expected on, got off/],
    ['watches for other seconds', 'SYST:WATC:TIME?', '60', /expected 6 s, got 60 s/],
    ['has no answer that can be read', 'SYST:WATC:TIME?', 'SIX', /SYST:WATC:TIME/],
  ])('is refused before any energy where the watchdog %s', async (_what, match, value, why) => {
    const bench = await virtualBench(pair(136), 136)
    breaks('psu', { kind: 'wrong-answer', match, value })(bench)
    const run = await bench.night({ parameters: quick })
    const events = await bench.store.events(run.id)
    expect(run.state).toBe('refused')
    expect(events.find(({ kind }) => kind === 'refused')?.text).toMatch(/communication watchdog cannot be armed/)
    expect(events.find(({ kind }) => kind === 'refused')?.text).toMatch(why)
    expect(bench.sim.audit().busMaxV).toBe(0)
    expect(bench.keeper.mode).toBe('idle')
  })

  it('is refused where a part reads below touch-safe by less than the reading may be off', async () => {
    const bench = await virtualBench(pair(137), 137)
    const { fixture } = bench.sim.benchFile() as { fixture: { bleederOhm: number; senseOhm: number } }
    // A part at 59.97 V sends this through its sense resistor; twice the uncertainty is near 0.07 V.
    const value = -59.97 * fixture.senseOhm / (fixture.bleederOhm + fixture.senseOhm)
    breaks('sense-dmm', { kind: 'reading-jump', value })(bench)
    const run = await bench.night({ parameters: quick })
    expect(run.state).toBe('refused')
    expect((await bench.store.events(run.id)).find(({ kind }) => kind === 'refused')?.text)
      .toMatch(/P01 is not dead.*below 60 V.*59\.9\d V ± 0\.0\d V/)
    expect(bench.sim.audit().busMaxV).toBe(0)
  })
})
