/**
 * Tones with harmonics, noise, hum, clipping and quantising, each with figures that were computed independently
 * (`data/audio-signal-cases.json`: numpy, and again a transform of its own in another language).
 */
import { describe, expect, it } from 'vitest'
import { fitSine, fitSineAt } from '../../src/analysis/audio/sine-fit.ts'
import { analyseTone } from '../../src/analysis/audio/tone.ts'
import { gaussian, signalCases, signalOf, uniform } from './audio-signals.ts'

const tones = signalCases.filter(({ params }) => params.fund_bin !== undefined)
/** Six digits; where the case has a tolerance of its own, that. */
const digits: Record<string, number> = { S08: 1e-4, S09: 1e-4, S13: 2e-4, S14: 2e-4 }

describe('the signals themselves', () => {
  it('come from the generator that the file states', () => {
    const [u, z] = [uniform(12345), gaussian(12345)]
    for (const want of [0.166593559552, 0.260200810153, 0.583727467572, 0.478649937548]) {
      expect(u.next().value).toBeCloseTo(want, 11)
    }
    for (const want of [-0.121262122007, 1.88936283283, -1.02829160588, 0.138775046964]) {
      expect(z.next().value).toBeCloseTo(want, 10)
    }
  })
})

describe.each(tones)('$id: $title', signal => {
  const { params: { fs_hz, max_harmonic, band_hz }, expected_sampled: want } = signal
  const tone = analyseTone(signalOf(signal), fs_hz, {
    harmonicsMost: max_harmonic!, band: { fromHz: band_hz![0], toHz: band_hz![1] }, window: 'rectangular',
  })
  const got: Record<string, number> = {
    fund_rms: tone.rms.value, thd_f_pct: 100 * tone.thd.f.value, thd_r_pct: 100 * tone.thd.r.value,
    thd_f_db: 20 * Math.log10(tone.thd.f.value), thdn_f_pct: 100 * tone.thdN.f.value, thdn_r_pct: 100 * tone.thdN.r.value,
    thdn_f_db: 20 * Math.log10(tone.thdN.f.value), sinad_db: tone.sinadDb.value, snr_db: tone.snrDb.value,
    sndr_p1_over_res_db: -20 * Math.log10(tone.thdN.f.value), enob_from_p1_over_res: tone.effectiveBits,
    dc: tone.dc.value, rms_total_ac: tone.totalRms, rms_inband: tone.bandRms,
  }
  it.each(Object.entries(want).filter(([name]) => name in got))('%s is %d', (name, value) => {
    const share = digits[signal.id] ?? 6e-6
    expect(Math.abs(got[name]! - value)).toBeLessThan(share * Math.max(Math.abs(value), name.endsWith('_db') ? 10 : name === 'dc' ? 1e-3 : 0))
  })
})

describe('a pure tone', () => {
  it('has no distortion above 1e-10 %, and is seen to fill whole periods', () => {
    const pure = signalCases.find(({ id }) => id === 'S01')!
    const tone = analyseTone(signalOf(pure), 48_000)
    expect(tone.window.name).toBe('rectangular')
    expect(100 * tone.thd.f.value).toBeLessThan(1e-10)
    expect(100 * tone.thdN.f.value).toBeLessThan(1e-10)
  })
})

describe.each(signalCases.filter(({ id }) => ['S34', 'S35'].includes(id)))('$id: $title', signal => {
  const { params: { fs_hz, initial_guess_hz }, expected_sampled: want, expected_analytic: true_ } = signal
  const samples = signalOf(signal)
  it('is found with four parameters, from the stated guess and from none', () => {
    for (const fit of [fitSine(samples, fs_hz, initial_guess_hz), fitSine(samples, fs_hz)]) {
      expect(fit.amplitude.value).toBeCloseTo(want.fit4_amp!, 6)
      expect(fit.frequencyHz.value).toBeCloseTo(want.fit4_freq_hz!, 5)
      expect(fit.dc.value).toBeCloseTo(want.fit4_dc!, 7)
      expect(fit.phaseRad).toBeCloseTo(want.fit4_phase_rad!, 6)
      if (typeof want.fit4_resid_rms === 'number') expect(fit.residualRms).toBeCloseTo(want.fit4_resid_rms, 7)
      else expect(fit.residualRms).toBeLessThan(1e-9)
    }
  })
  it('is found with three where the frequency is known', () => {
    const fit = fitSineAt(samples, fs_hz, true_.freq_hz!)
    expect(fit.amplitude.value).toBeCloseTo(want.fit3_amp!, 6)
    expect(fit.dc.value).toBeCloseTo(want.fit3_dc!, 8)
    expect(fit.phaseRad).toBeCloseTo(want.fit3_phase_rad!, 6)
  })
})
