/** Two tones, noise, weighting curves and windows against figures computed or printed elsewhere; each file names its source. */
import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { analyseDifference, analyseModulation, analyseTransient } from '../../src/analysis/audio/intermodulation.ts'
import { equalisations } from '../../src/analysis/audio/equalisation.ts'
import { analyseNoise, humOf } from '../../src/analysis/audio/noise.ts'
import { largestLine } from '../../src/analysis/audio/largest-line.ts'
import { lineWithNoise } from '../../src/analysis/audio/noise-around.ts'
import { spectrumIn, transformed } from '../../src/analysis/audio/spectrum.ts'
import { weightings } from '../../src/analysis/audio/weighting.ts'
import { windowFigures, windowOf, windows, type WindowName } from '../../src/analysis/audio/windows.ts'
import { signalCases, signalOf } from './audio-signals.ts'

const data = (name: string) => JSON.parse(readFileSync(new URL(`data/${name}.json`, import.meta.url), 'utf8'))
const one = (id: string) => signalCases.find(signal => signal.id === id)!
const dB = (gain: number): number => 20 * Math.log10(gain)

describe.each(['rectangular', 'hft144d'] as const)('two tones through %s', window => {
  it.each(['S17', 'S18'])('modulation %s by all three sums', id => {
    const { params, expected_sampled: want } = one(id)
    const [lowHz, highHz] = params.smpte!.bins
    const got = analyseModulation(signalOf(one(id)), params.fs_hz, { lowHz, highHz }, window)
    expect(100 * got.pairSum.value).toBeCloseTo(want.smpte_arith_pct!, 6)
    expect(100 * got.rootSum.value).toBeCloseTo(want.smpte_rss_pct!, 6)
    expect(100 * got.orders[0]!.share.value).toBeCloseTo(want.md2_pct!, 6)
    expect(100 * got.orders[1]!.share.value).toBeCloseTo(want.md3_pct ?? 0, 6)
  })
  it('difference tones S20 by both references', () => {
    const { params, expected_sampled: want } = one('S20')
    const [lowHz, highHz] = params.dfd!.bins
    const got = analyseDifference(signalOf(one('S20')), params.fs_hz, { lowHz, highHz }, window)
    expect(100 * got.second.ofSum.value).toBeCloseTo(want.dfd2_pct_ref_sum!, 6)
    expect(100 * got.third.ofSum.value).toBeCloseTo(want.dfd3_pct_ref_sum!, 6)
    expect(100 * got.second.ofUpper.value).toBeCloseTo(want.dfd2_pct_ref_f2!, 6)
    expect(100 * got.third.ofUpper.value).toBeCloseTo(want.dfd3_pct_ref_f2!, 6)
    expect(100 * got.both.ofSum.value).toBeCloseTo(want.dfd_rss_2_3_ref_sum_pct!, 6)
  })
  it('nine products of a square wave and a sine, S29', () => {
    const { params, expected_sampled: want } = one('S29')
    const got = analyseTransient(signalOf(one('S29')), params.fs_hz, undefined, window)
    expect(got.products.map(({ frequencyHz }) => Math.round(frequencyHz)).sort((a, b) => a - b)).toEqual(params.dim!.product_bins)
    const key = Object.keys(want).find(name => name.startsWith('dim'))!
    expect(100 * got.share.value).toBeCloseTo(want[key]!, 6)
  })
})

describe('noise S27', () => {
  it('unweighted, A-weighted and by the 468 curve', () => {
    const { params, expected_sampled: want, expected_analytic: mean } = one('S27')
    const { rms, dc } = analyseNoise(signalOf(one('S27')), params.fs_hz, { window: 'rectangular' })
    expect(rms.flat.value / want.rms_inband!).toBeCloseTo(1, 5)
    // Its figure of this one record lies 0.011 dB above what the curve gives that holds every row of the table, and
    // the mean of white noise below, to their last digits: taken as an error of the file.
    expect(Math.abs(dB(rms.A.value / want.rms_A!))).toBeLessThan(0.011)
    expect(rms.itu468.value / want.rms_ITU468_rms!).toBeCloseTo(1, 5)
    expect(dc).toBeCloseTo(want.dc!, 11)
    // What a whole ensemble has lies within what one record leaves open.
    expect(Math.abs(rms.flat.value - mean.ens_rms_20_20k!)).toBeLessThan(3 * rms.flat.u)
    expect(Math.abs(rms.A.value - mean.ens_rms_A!)).toBeLessThan(3 * rms.A.u)
    expect(Math.abs(rms.itu468.value - mean.ens_rms_ITU468!)).toBeLessThan(3 * rms.itu468.u)
  })
})

describe('hum S11', () => {
  it('is found line by line, and with its frequency', () => {
    const { params, extra } = one('S11')
    const hum = humOf(transformed(signalOf(one('S11')), params.fs_hz), 50)!
    expect(hum.mainsHz).toBeCloseTo(50, 4)
    expect(hum.rms.value / extra!.hum_rms!).toBeCloseTo(1, 4)
    expect(hum.lines.find(({ order }) => order === 2)!.rms.value).toBeCloseTo(0.0009 / Math.SQRT2, 8)
  })
})

describe('weighting curves', () => {
  const { rows } = data('weighting-iec61672')
  it.each(rows.map((row: { nominal_hz: number }) => [row.nominal_hz, row]))('A and C at %d Hz', (...[, row]: unknown[]) => {
    const { exact_hz, A_exact_db, C_exact_db, A_table_db, C_table_db } = row as Record<string, number>
    expect(dB(weightings.A(exact_hz!))).toBeCloseTo(A_exact_db!, 5)
    expect(dB(weightings.C(exact_hz!))).toBeCloseTo(C_exact_db!, 5)
    expect(Math.abs(dB(weightings.A(exact_hz!)) - A_table_db!)).toBeLessThanOrEqual(0.05)
    expect(Math.abs(dB(weightings.C(exact_hz!)) - C_table_db!)).toBeLessThanOrEqual(0.05)
  })
  it.each(data('weighting-itu468').rows.map((row: { hz: number }) => [row.hz, row]))('468 at %d Hz', (...[hz, row]: unknown[]) => {
    const { table_db, analytic_db } = row as Record<string, number>
    expect(dB(weightings.itu468(hz as number))).toBeCloseTo(analytic_db!, 5)
    // 0.0502 dB at 100 Hz is the network itself against the printed 0.1 dB.
    expect(Math.abs(dB(weightings.itu468(hz as number)) - table_db!)).toBeLessThanOrEqual(0.0503)
  })
})

describe('white noise from 20 Hz to 20 kHz', () => {
  // audio-burnin check value C17: numeric integration, elsewhere.
  it.each([['A', -2.04827], ['C', -3.4505], ['itu468', 7.30144]] as const)('changes by the %s curve by %d dB', (name, want) => {
    const steps = 2_000_000
    let sum = 0
    for (let i = 0; i < steps; i++) sum += weightings[name](20 + (i + 0.5) * 19_980 / steps) ** 2
    expect(10 * Math.log10(sum / steps)).toBeCloseTo(want, 4)
  })
})

describe('phono equalisation', () => {
  // Check values C19 to C26: time constants read second hand, values computed elsewhere.
  it.each([
    [20, 19.2741, 16.2614], [50, 16.9457, 16.3017], [500, 2.6476, 2.6424], [1000, 0, 0], [10_000, -13.7343, -13.7326], [20_000, -19.6203, -19.6186],
  ])('at %d Hz is %d dB, %d dB with the fourth time constant', (hz, riaa, iec) => {
    expect(equalisations.riaa(hz)).toBeCloseTo(riaa, 3)
    expect(equalisations.iec(hz)).toBeCloseTo(iec, 3)
  })
})

describe('windows', () => {
  const named: Record<string, WindowName> = {
    rectangular: 'rectangular', hann: 'hann', blackman_harris_4term: 'blackman-harris', flattop_5term_SR785_form: 'flat-top', HFT144D: 'hft144d',
  }
  const rows = data('windows').rows.filter((row: { name: string }) => row.name in named)
  it('are all held against the file', () => { expect(rows.length).toBe(Object.keys(windows).length) })
  it.each(rows.map((row: { name: string }) => [row.name, row]))('%s', (...[name, row]: unknown[]) => {
    const { coherent_gain, enbw_bins } = row as Record<string, number>
    const { gain, noiseBins, together } = windowFigures(named[name as string]!)
    expect(gain).toBeCloseTo(coherent_gain!, 7)
    expect(noiseBins).toBeCloseTo(enbw_bins!, 6)
    const values = windowOf(named[name as string]!, 4096)
    const mean = (power: number): number => values.reduce((sum, w) => sum + w ** power, 0) / values.length
    expect(together).toBeCloseTo(mean(4) / mean(2) ** 2, 9)
  })
})

describe.each(['S31', 'S33'])('a tone between two bins, %s', id => {
  const signal = one(id)
  const samples = signalOf(signal)
  it.each([
    ['hann', 'hann'], ['blackman-harris', 'blackman_harris_4term'], ['flat-top', 'flattop_5term_SR785_form'],
  ] as const)('its level through %s', (window, key) => {
    const want = (signal.expected_sampled as unknown as Record<string, { amp_from_energy: number }>)[key]!
    const record = transformed(samples, 48_000)
    const spectrum = spectrumIn(record, window)
    const amplitude = Math.sqrt(2 * lineWithNoise(spectrum, largestLine(record).value * spectrum.binHz).power)
    expect(amplitude).toBeCloseTo(want.amp_from_energy, 5)
  })
})
