/** Response, equalisation and power at a limit against figures computed elsewhere (data/response-power-cases.json, data/riaa.json). */
import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { equalisations } from '../../src/analysis/audio/equalisation.ts'
import { findCorner, lastRisingCrossing, voltsAtLimit } from '../../src/proving/crossing.ts'
import { deviationDb, spreadOf } from '../../src/proving/response.ts'

const data = (name: string) => JSON.parse(readFileSync(new URL(`data/${name}.json`, import.meta.url), 'utf8'))
interface Case { id: string; params: Record<string, never>; expected: Record<string, never> }
const cases: Case[] = data('response-power-cases').cases
const those = (letter: string): [string, { params: any; expected: any }][] => // eslint-disable-line @typescript-eslint/no-explicit-any
  cases.filter(({ id }) => id.startsWith(letter)).map(one => [one.id, one])
/** Equal to the six digits that are printed. */
const sameDigits = (got: number, want: number): void => expect(Number(got.toPrecision(6))).toBeCloseTo(want, Math.max(0, 5 - Math.floor(Math.log10(Math.abs(want)))) - 0.3)

describe('RIAA and IEC 60098 playback', () => {
  it.each(data('riaa').rows.map((row: { hz: number }) => [row.hz, row]))('at %d Hz', (...[hz, row]: unknown[]) => {
    const { riaa_db, iec_db } = row as { riaa_db: number; iec_db: number }
    expect(equalisations.riaa(hz as number)).toBeCloseTo(riaa_db, 4)
    expect(equalisations.iec(hz as number)).toBeCloseTo(iec_db, 4)
  })
})

describe('deviation of a phono stage', () => {
  it.each(those('P'))('%s', (_, { params, expected }) => {
    const gain = (hz: number): number => {
      const w = 2 * Math.PI * hz
      const low = params.extra_hp_tau_s ? w * params.extra_hp_tau_s / Math.hypot(1, w * params.extra_hp_tau_s) : 1
      return params.gain_1k_arbitrary * low * Math.hypot(1, w * params.t2_s) / Math.hypot(1, w * params.t1_s) / Math.hypot(1, w * params.t3_s)
    }
    sameDigits(20 * Math.log10(gain(1000)), expected.gain_1k_db)
    const points = (params.grid_hz as number[]).map(hz => ({ hz, db: { value: deviationDb(gain(hz) / gain(1000), hz, 1000, 'riaa'), u: 0 } }))
    points.forEach(({ db }, i) => expect(db.value).toBeCloseTo(expected.deviation_db[i], 5))
    const { most, least } = spreadOf(points)
    expect(most.db.value - least.db.value).toBeCloseTo(expected.spread_db, 5)
    expect(Math.max(most.db.value, -least.db.value)).toBeCloseTo(expected.max_abs_dev_db, 5)
  })
})

describe('limits of a response', () => {
  it.each(those('F'))('%s', async (_, { params, expected }) => {
    const gain = (hz: number): number => 1 / Math.hypot(1, params.f_low_hz / hz) / Math.hypot(1, hz / params.f_high_hz)
    const levelAt = async (hz: number) => ({ hz, db: deviationDb(gain(hz) / gain(1000), hz, 1000) })
    for (const limitDb of [-0.1, -0.5, -3]) {
      for (const [i, towards] of (['low', 'high'] as const).entries()) {
        const endHz = towards === 'low' ? 0.1 : 1e6
        const corner = await findCorner(levelAt, { fromHz: 1000, towards, endHz, limitDb, nearDb: 1e-9 })
        sameDigits(corner!.hz, expected[`${limitDb}_dB`][i])
      }
    }
    sameDigits((await levelAt(20)).db, expected.at_20_hz_db)
    sameDigits((await levelAt(20_000)).db, expected.at_20_khz_db)
  })
  it('is none where the curve does not fall so far', async () => {
    expect(await findCorner(async hz => ({ hz, db: -hz / 1e5 }), { fromHz: 1000, towards: 'high', endHz: 1e5, limitDb: -3, nearDb: 0.01 })).toBeNull()
  })
})

describe('power at a limit of distortion', () => {
  it.each(those('W'))('%s', (_, { params, expected }) => {
    const steps = (params.steps_vrms_thdn_pct as [number, number][]).map(([volts, pct]) => ({ volts, distortion: pct / 100 }))
    const limit = params.limit_pct / 100
    const { below, above } = lastRisingCrossing(steps, limit)!
    sameDigits(below.volts ** 2 / params.load_ohm, expected.highest_passing_step_w)
    const volts = voltsAtLimit(below, above, limit)
    sameDigits(volts, expected.loglog_interp_vrms)
    sameDigits(volts ** 2 / params.load_ohm, expected.loglog_interp_w)
  })
  it('takes the last rising crossing, not one that noise makes at low volts', () => {
    const steps = [[0.01, 3], [0.02, 0.9], [0.03, 1.1], [0.1, 0.3], [20, 0.1], [21, 2]].map(([volts, pct]) => ({ volts: volts!, distortion: pct! / 100 }))
    expect(lastRisingCrossing(steps, 0.01)!.below.volts).toBe(20)
    expect(lastRisingCrossing(steps.slice(3, 5), 0.01)).toBeNull()
  })
})
