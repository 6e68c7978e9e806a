/**
 * Heat, trips and burn-in held against published and independently computed values. The cases of
 * `thermal-trip-cases.json` are textbook equations worked out apart from this code; values marked read come
 * from the page that is named.
 */
import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { threePoints } from '../../src/analysis/thermal/approach.ts'
import { classBHeat, heatSinkMostKPerW, largestSineW, worstShare } from '../../src/analysis/thermal/dissipation.ts'
import { loopBehaviour, loopReachesS } from '../../src/analysis/thermal/electro-thermal.ts'
import { remainingK, riseAtS, slopeFallsToS, spanFromS } from '../../src/analysis/thermal/steady-state.ts'
import { windingRiseK } from '../../src/analysis/devices/winding.ts'
import { arrheniusFactor } from '../../src/analysis/lots/reliability.ts'
import { packageFile } from '../../src/base/paths.ts'
import { flagged, isEnough, type PastFlags } from '../../src/safety/debounce.ts'
import { freshLimit, stepLimit, type Limit } from '../../src/safety/limit.ts'
import { runawayMachine, usualRunaway } from '../../src/safety/runaway.ts'
import { Supervisor } from '../../src/safety/supervisor.ts'

interface Case<P = Record<string, number>, E = Record<string, never>> { id: string; params: P; expected: E }
const { cases } = JSON.parse(readFileSync(packageFile('tests/checks/data', 'thermal-trip-cases.json'), 'utf8')) as { cases: Case[] }
const of = <P, E>(id: string): Case<P, E> => cases.find(one => one.id === id) as unknown as Case<P, E>

interface Heating { Ta: number; dT: number; tau_s: number; limit_c: number; sample_s: number }
interface HeatingTrip { trip_time_s: number | null; first_sample_index_at_or_over: number | null; trips: boolean }

describe('a heating step against a limit (H01, H02: textbook, computed)', () => {
  it.each(['H01', 'H02'])('%s', id => {
    const { params: { Ta, dT, tau_s: tauS, limit_c: limitC, sample_s: everyS }, expected } = of<Heating, HeatingTrip>(id)
    const reached = riseAtS({ changeK: dT, tauS }, limitC - Ta)
    if (expected.trip_time_s === null) expect(reached).toBeNull()
    else expect(reached).toBeCloseTo(expected.trip_time_s, 4)
    // The limit itself, reading by reading.
    const limit: Limit = { id: 'hot', channel: 'warm.sink', side: 'above', bound: limitC, samples: 1, reaction: 'stop', says: 'too warm' }
    let state = freshLimit
    let first: number | null = null
    for (let i = 0; i < 2000 && first === null; i++) {
      state = stepLimit(limit, state, { value: Ta - dT * Math.expm1(-i * everyS / tauS), u: 0.1, quality: 'good', atMs: 1000 * i * everyS })
      if (state.latched) first = i
    }
    expect(first).toBe(expected.first_sample_index_at_or_over)
  })
})

describe('thermal steady state (H05: criteria quoted second hand, times computed)', () => {
  interface Window { window_start_s: number; window_end_s: number }
  interface Steady {
    rise_le_3K_in_30min: Window; rise_le_1K_in_5min: Window; rise_le_1K_in_15min: Window; slope_le_2K_per_hour: { time_s: number }
    residual_K_at: { three_in_30_end: number; one_in_5_end: number; two_per_hour: number }
  }
  const { params: { dT, tau_s: tauS }, expected } = of<{ dT: number; tau_s: number }, Steady>('H05')
  const warmUp = { changeK: dT, tauS }
  it.each([
    [3, 1800, expected.rise_le_3K_in_30min], [1, 300, expected.rise_le_1K_in_5min], [1, 900, expected.rise_le_1K_in_15min],
  ])('%s K in %s s', (boundK, overS, window) => {
    expect(spanFromS(warmUp, { boundK, overS })).toBeCloseTo(window.window_start_s, 4)
    expect(spanFromS(warmUp, { boundK, overS }) + overS).toBeCloseTo(window.window_end_s, 4)
  })
  it('a slope of 2 K an hour, and what is still to come by each', () => {
    expect(slopeFallsToS(warmUp, 2)).toBeCloseTo(expected.slope_le_2K_per_hour.time_s, 4)
    const left = (atS: number): number => remainingK(warmUp, atS)
    expect(left(expected.rise_le_3K_in_30min.window_end_s)).toBeCloseTo(expected.residual_K_at.three_in_30_end, 5)
    expect(left(expected.rise_le_1K_in_5min.window_end_s)).toBeCloseTo(expected.residual_K_at.one_in_5_end, 5)
    expect(left(expected.slope_le_2K_per_hour.time_s)).toBeCloseTo(expected.residual_K_at.two_per_hour, 6)
  })
})

describe('three readings and an end (H07: textbook, computed)', () => {
  it('give the temperature for ever and the time constant', () => {
    const { params, expected } = of<{ readings_c: [number, number, number]; spacing_s: number }, { T_final_c: number; tau_s: number }>('H07')
    const found = threePoints(params.readings_c, params.spacing_s)!
    expect(found.end).toBeCloseTo(expected.T_final_c, 5)
    expect(found.tauS).toBeCloseTo(expected.tau_s, 3)
  })
})

describe('heat that makes heat (H09, H10, H12: textbook, computed)', () => {
  interface Loop { Ta: number; Rth_K_per_W: number; P0_W: number; g_W_per_K: number; tau_s: number }
  const loopOf = ({ Rth_K_per_W: kPerW, P0_W: coldW, g_W_per_K: wPerK, tau_s: tauS }: Loop) => ({ kPerW, coldW, wPerK, tauS })
  it('H09 settles', () => {
    const { params, expected } = of<Loop, { loop_gain: number; dT_final_K: number; tau_eff_s: number }>('H09')
    const found = loopBehaviour(loopOf(params))
    expect(found).toMatchObject({ isStable: true })
    expect([found.gain, found.endK, found.tauS]).toEqual([
      expect.closeTo(expected.loop_gain, 9), expect.closeTo(expected.dT_final_K, 6), expect.closeTo(expected.tau_eff_s, 5)])
  })
  it('H10 runs away', () => {
    const { params, expected } = of<Loop, { loop_gain: number; growth_tau_s: number; time_to_110C_s: number; initial_slope_K_per_min: number }>('H10')
    const found = loopBehaviour(loopOf(params))
    expect(found).toMatchObject({ isStable: false, endK: null })
    expect(found.gain).toBeCloseTo(expected.loop_gain, 9)
    expect(found.tauS).toBeCloseTo(expected.growth_tau_s, 6)
    expect(60 * found.firstSlopeKPerS).toBeCloseTo(expected.initial_slope_K_per_min, 9)
    expect(loopReachesS(loopOf(params), 110 - params.Ta)).toBeCloseTo(expected.time_to_110C_s, 4)
  })
  it('H12: what bends up trips, what settles does not, read every minute', () => {
    const { params } = of<{ normal_c: number[]; runaway_c: number[] }, never>('H12')
    const rules = { ...usualRunaway, maxC: 200, noiseK: 0.001, stepK: 0.001, noiseA: null, windowMs: 60_000, settleMs: 0, envelopes: {} }
    const told = (celsius: readonly number[]): string | null => {
      const machine = runawayMachine(rules)
      // The last of the list closes the window before it.
      return machine.says([...celsius, celsius.at(-1)!].reduce((state, c, i) =>
        machine.step(state, { atMs: 60_000 * i, celsius: c, drive: 'tone' }), machine.fresh))
    }
    expect(told(params.runaway_c)).toMatch(/gains ever faster/)
    expect(told(params.normal_c)).toBeNull()
  })
})

describe('debounce of what is past a bound (D01, D02: computed)', () => {
  interface Indices { index_3_consecutive: number | null; index_3_of_5: number | null; index_2_consecutive: number | null }
  it.each(['D01', 'D02'])('%s', id => {
    const { params, expected } = of<{ flags: number[] }, Indices>(id)
    const first = (count: number, of: number): number | null => {
      let flags: PastFlags = []
      const at = params.flags.findIndex(flag => {
        flags = flagged(flags, flag === 1, of)
        return isEnough(flags, count)
      })
      return at === -1 ? null : at
    }
    expect([first(3, 3), first(3, 5), first(2, 2)]).toEqual([expected.index_3_consecutive, expected.index_3_of_5, expected.index_2_consecutive])
  })
})

describe('a reading that is too old (D04: computed; at exactly the most age we trip, where the case waits)', () => {
  it('is a fault, and no pass', () => {
    interface Stale { sample_times_s: number[]; check_times_s: number[]; max_age_s: number }
    const { params, expected } = of<Stale, { stale: boolean[] }>('D04')
    const channel = { index: 0, name: 'warm.sink', quantity: 'temperature', unit: '°C' } as const
    for (const [i, checkS] of params.check_times_s.entries()) {
      const supervisor = new Supervisor([channel])
      supervisor.arm([], [{ channel: channel.name, maxAgeMs: 1000 * params.max_age_s }], { voltageV: 0, currentA: 0 }, 0)
      for (const s of params.sample_times_s.filter(s => s <= checkS)) supervisor.judge({ channel, value: 30, u: 0.1, quality: 'good', atMs: Math.round(1000 * s) })
      const isAtMost = Math.round(1000 * (checkS - params.sample_times_s.filter(s => s <= checkS).at(-1)!)) === 1000 * params.max_age_s
      expect(supervisor.checkFreshness(Math.round(1000 * checkS)) !== null, `${checkS}`).toBe(expected.stale[i] || isAtMost)
    }
  })
})

describe('heat of an output stage in class B', () => {
  it('C79: as a share of the largest sine, at an eighth, a third, the worst and full power (equation 9 of waynestegall.com, read; computed)', () => {
    const stage = { railV: 30, loadOhm: 8 }
    const mostW = largestSineW(stage)
    const shares = [1 / 8, 1 / 3, worstShare, 1].map(share => classBHeat(stage, share * mostW).heatW / mostW)
    expect(shares).toEqual([0.32515816, 0.40177186, 0.40528473, 0.27323954].map(value => expect.closeTo(value, 7) as number))
    expect(worstShare).toBeCloseTo(0.405285, 6)
  })
  it('C80: 28 V, 4 Ω, 68 W (the same page, read: 103.939 W in, 35.9387 W of heat, cut off there; computed: 35.93878)', () => {
    const { supplyW, heatW } = classBHeat({ railV: 28, loadOhm: 4 }, 68)
    expect(supplyW).toBeCloseTo(103.939, 3)
    expect(heatW).toBeCloseTo(35.93878, 5)
  })
  it('C82: a heat sink for 7.8 W (data sheet of an integrated amplifier, page 5, read: 5.5 K/W)', () => {
    expect(heatSinkMostKPerW(150, 60, 7.8, 6)).toBeCloseTo(5.53846, 5)
  })
})

describe('a winding, and ageing', () => {
  it('C83: copper from 1.000 Ω at 25 °C to 1.250 Ω, air 27 °C (formula from memory, computed)', () => {
    expect(windingRiseK(1, 25, 1.25, 27)).toBeCloseTo(62.875, 9)
  })
  it('C91: Arrhenius, 0.7 eV, 55 to 125 °C (computed)', () => {
    expect(arrheniusFactor(0.7, 55, 125)).toBeCloseTo(77.6454, 3)
  })
})
