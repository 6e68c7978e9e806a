/** What a night is excused from, and for how long: never for longer than the layer that is left takes. */
import { describe, expect, it } from 'vitest'
import { campaignNight } from '../../nights/campaign-night.ts'
import { excuseOf, offWithinMs, silentOffMs, slowestLayerMs, watchdogS } from '../../nights/excuses.ts'
import type { Times } from '../../nights/excuses.ts'
import { troubles } from '../../nights/troubles.ts'
import type { Struck } from '../../nights/night-watch.ts'
import './bad-night.ts'

const cadence = { busMs: 3000, busQuietMs: 20_000, sweepMs: 5000, sweepQuietMs: 60_000, temperatureMs: 90_000 }
const times: Times = { plan: { targetV: 450 } as Times['plan'], cadence, silenceMs: 63_000 }
const struck = (...kinds: string[]): Struck[] => kinds.map(kind => ({
  stroke: { trouble: troubles.find(trouble => trouble.kind === kind)!, strike: null, stage: 'soaking', afterMs: 0 }, atMs: 0, stage: 'soaking',
}))

describe('the silence after which a supply goes off', () => {
  it('is three of the longer bus period and 3 s, in whole seconds', () => {
    expect(watchdogS(cadence, 1)).toBe(63)
    expect(watchdogS({ ...cadence, busQuietMs: 1000 }, 1)).toBe(12)
    expect(watchdogS({ ...cadence, busMs: 100, busQuietMs: 1050 }, 1)).toBe(7)
  })
  it('is not less than what the supply can be set to', () => {
    expect(watchdogS(cadence, 100)).toBe(100)
    expect(watchdogS(cadence, 63)).toBe(63)
  })
  it('bounds a keeper that is gone behind a welded cutoff', () => {
    const both = struck('cutoff welded', 'keeper killed')
    expect(offWithinMs(both[1]!.stroke, 'soaking', both, times)).toBe(63_250)
    expect(offWithinMs(both[1]!.stroke, 'soaking', both, { ...times, silenceMs: 100_000 })).toBe(100_250)
    const alone = struck('keeper killed')
    expect(offWithinMs(alone[0]!.stroke, 'soaking', alone, times)).toBe(4500)
  })
})

describe('a cutoff that welded', () => {
  it('may lose its coil unseen where its read-back is that of the contact, and not where it is that of the coil', () => {
    const within = (...kinds: string[]): number | null => {
      const all = struck(...kinds)
      return offWithinMs(all.at(-1)!.stroke, 'soaking', all, times)
    }
    for (const coil of ['cutoff drops', 'cutoff loses power']) {
      expect(within('cutoff welded', coil)).toBeNull()
      expect(within('cutoff welded unseen', coil)).toBeGreaterThan(20_000)
      expect(within(coil)).toBe(200)
    }
    expect(within('cutoff welded', 'cover opened')).toBeGreaterThan(20_000)
  })
})

describe('a supply whose output fails on', () => {
  it('is off at once where it loses its power, unless it stays on: then its volts are seen to fall, or harm nobody', () => {
    const both = struck('supply stays on', 'supply loses power')
    expect(offWithinMs(both[1]!.stroke, 'soaking', [both[1]!], times)).toBe(100)
    expect(offWithinMs(both[1]!.stroke, 'soaking', both, times)).toBe(slowestLayerMs(cadence))
    expect(offWithinMs(both[1]!.stroke, 'soaking', both, { ...times, plan: { targetV: 50 } as Times['plan'] })).toBeNull()
  })
})

describe('a supply that does not go off behind a welded cutoff', () => {
  const high = (...kinds: string[]): number => excuseOf(struck('supply runs away', ...kinds), times).tooHighMs!

  it('may hold the bus up for ever where its output fails on, and until its silence is over where it is deaf', () => {
    expect(high('cutoff welded', 'supply stays on')).toBe(Infinity)
    for (const welded of ['cutoff welded', 'cutoff welded unseen']) {
      expect(high(welded, 'supply deaf') - high(welded)).toBe(silentOffMs([], times.silenceMs))
    }
    expect(high('supply deaf')).toBe(high())
  })

  it('is spoken to once more where a new daemon starts', () => {
    expect(silentOffMs(struck('daemon killed'), 63_000)).toBeGreaterThan(silentOffMs(struck('keeper killed'), 63_000) + 20_000)
  })
})

describe('a night with a cutoff that welds, and a supply that obeys nothing from later on', () => {
  const seed = 51775

  it('breaks nothing: the supply goes off by itself', async () => {
    const report = await campaignNight(seed)
    expect(report.faults).toEqual(['cutoff welded', 'supply deaf'])
    expect(report.violations).toEqual([])
  }, 60_000)

  it('is not excused where the supply goes on through the silence', async () => {
    const report = await campaignNight(seed, {
      prepare: ({ sim }) => sim.instruments.psu.device.faults.set({ kind: 'watchdog-silent' }),
    })
    expect(report.violations).toContainEqual(expect.stringMatching(/^a supply that does not obey was still on/))
    expect(report.violations.filter(text => !text.includes('still on'))).toEqual([])
  }, 60_000)
})
