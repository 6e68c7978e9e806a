/** Claims as people print them: what they mean, what is assumed and said, and what is refused. */
import { describe, expect, it } from 'vitest'
import { readClaim, type Rating, type ReadClaim } from '../../src/claims/read.ts'
import type { Claim } from '../../src/schema/claims.ts'

const amplifier: Rating[] = ['left', 'right'].map(name => ({ name, ratedW: 40, loadOhm: 250, sourceOhm: 600 }))
const band = (bandLowHz: number, bandHighHz: number) => ({ bandLowHz, bandHighHz })
const audio = band(20, 20e3)

function all(words: string, ratings: readonly Rating[] = []): readonly Claim[] {
  const read = readClaim(words, ratings)
  expect(read, words).toMatchObject({ ok: true })
  return (read as Extract<ReadClaim, { ok: true }>).claims
}
const assumed = (words: string, ratings: readonly Rating[] = []): string => {
  const read = readClaim(words, ratings)
  return read.ok ? read.assumed.join('\n') : 'refused'
}
const refused = (words: string, ratings: readonly Rating[] = []) => {
  const read = readClaim(words, ratings)
  expect(read, words).toMatchObject({ ok: false })
  return read as Extract<ReadClaim, { ok: false }>
}

describe('a claim that people print', () => {
  it.each<[string, Partial<Claim>]>([
    ['40 W into a 100 V line, at or under 2 %, 80 Hz to 12 kHz', { quantity: 'output power', least: 40, conditions: { distortion: 0.02, distortionOf: 'thd', loadOhm: 250, ...band(80, 12e3) } }],
    ['2 x 25 W into 8 ohms, both channels driven, 0.5 % THD, 20 Hz - 20 kHz', { quantity: 'output power', least: 25, conditions: { distortion: 0.005, distortionOf: 'thd', loadOhm: 8, driven: 'all', ...audio } }],
    ['2×25 watts RMS per channel (8 Ω), all channels driven, < 0.5 % THD+N, at 1 kHz', { quantity: 'output power', least: 25, conditions: { distortion: 0.005, distortionOf: 'thd+n', loadOhm: 8, driven: 'all', frequencyHz: 1000, ...audio } }],
    ['output power 12,5 W, one channel driven, 10 % distortion, 15 ohms, 400 Hz', { quantity: 'output power', least: 12.5, conditions: { distortion: 0.1, distortionOf: 'thd', loadOhm: 15, driven: 'one', frequencyHz: 400 } }],
    ['less than 0.1 % THD+N at 1 W, 1 kHz', { quantity: 'thd+n', most: 0.001, conditions: { frequencyHz: 1000, outputW: 1, ...audio } }],
    ['THD at most 0.3 % at 25 W into 8 ohms, 40 Hz to 15 kHz', { quantity: 'thd', most: 0.003, conditions: { outputW: 25, loadOhm: 8, ...band(40, 15e3) } }],
    ['distortion 0,5 % or less, 1 kHz, 10 W, harmonics to order 5', { quantity: 'thd', most: 0.005, conditions: { frequencyHz: 1000, outputW: 10, orders: 5 } }],
    ['THD+N under 0.05 % at 1 kHz, measured from 20 Hz to 80 kHz, at 1 W into 8 Ω', { quantity: 'thd+n', most: 5e-4, conditions: { frequencyHz: 1000, outputW: 1, loadOhm: 8, ...band(20, 80e3) } }],
    ['20 Hz to 20 kHz +0.5 / -1 dB', { quantity: 'response deviation', least: -1, most: 0.5, conditions: audio }],
    ['frequency response 20-20,000 Hz -1/+0.5 dB', { quantity: 'response deviation', least: -1, most: 0.5, conditions: audio }],
    ['20 Hz - 20 kHz within 3 dB', { quantity: 'response deviation', least: -3, most: 3, conditions: audio }],
    ['within ± 1 dB over 30 c/s to 15 kc/s', { quantity: 'response deviation', least: -1, most: 1, conditions: band(30, 15e3) }],
    ['signal to noise better than 80 dB A-weighted, input terminated in 600 ohms', { quantity: 'signal to noise', least: 80, conditions: { weighting: 'A', sourceOhm: 600, reference: 'rated output', ...audio } }],
    ['S/N 75 dB(A) below 1 W, input shorted', { quantity: 'signal to noise', least: 75, conditions: { weighting: 'A', sourceOhm: 0, outputW: 1, ...audio } }],
    ['hum and noise -70 dB below rated output', { quantity: 'signal to noise', least: 70, conditions: { weighting: 'flat', reference: 'rated output', ...audio } }],
    ['noise under 0.5 mV', { quantity: 'noise', most: 5e-4, conditions: { weighting: 'flat', ...audio } }],
    ['noise at the output: -60 dBV, ITU-R 468', { quantity: 'noise', most: 1e-3, conditions: { weighting: '468', detector: 'quasi-peak', ...audio } }],
    ['hum below 1 mV', { quantity: 'hum', most: 1e-3, conditions: {} }],
    ['hum -60 dB below 40 W into 10 ohms', { quantity: 'hum', most: 0.02, conditions: { loadOhm: 10 } }],
    ['IM distortion (60 Hz / 7 kHz, 4:1) under 1 % at rated power', { quantity: 'intermodulation', most: 0.01, conditions: { form: 'smpte', toneLowHz: 60, toneHighHz: 7000, reference: 'rated output' } }],
    ['intermodulation, SMPTE, at most 1 % at 10 W', { quantity: 'intermodulation', most: 0.01, conditions: { form: 'smpte', toneLowHz: 60, toneHighHz: 7000, outputW: 10 } }],
    ['difference tone intermodulation 19 + 20 kHz less than 0.5 % at 10 W', { quantity: 'intermodulation', most: 0.005, conditions: { form: 'difference', toneLowHz: 19e3, toneHighHz: 20e3, outputW: 10 } }],
    ['separation 45 dB at 1 kHz', { quantity: 'separation', least: 45, conditions: { frequencyHz: 1000 } }],
    ['crosstalk less than -45 dB, 10 kHz', { quantity: 'separation', least: 45, conditions: { frequencyHz: 10e3 } }],
    ['damping factor 20 at 1 kHz, 8 ohm', { quantity: 'damping factor', least: 20, conditions: { frequencyHz: 1000, loadOhm: 8 } }],
    ['input sensitivity 500 mV for rated output', { quantity: 'input sensitivity', most: 0.5, conditions: { frequencyHz: 1000, reference: 'rated output' } }],
    ['sensitivity 0 dBu ± 10 % for 40 W', { quantity: 'input sensitivity', least: 0.9 * Math.sqrt(0.6), most: 1.1 * Math.sqrt(0.6), conditions: { frequencyHz: 1000, outputW: 40 } }],
    ['gain 34 dB ± 1 dB', { quantity: 'gain', least: 33, most: 35, conditions: { frequencyHz: 1000 } }],
    ['voltage gain 34 +1/-2 dB at 400 Hz', { quantity: 'gain', least: 32, most: 35, conditions: { frequencyHz: 400 } }],
    ['DC at the output under 50 mV', { quantity: 'dc offset', least: -0.05, most: 0.05, conditions: {} }],
    ['RIAA within ± 0.5 dB, 40 Hz to 15 kHz', { quantity: 'equalisation error', least: -0.5, most: 0.5, conditions: { curve: 'riaa', ...band(40, 15e3) } }],
    ['equalisation error +1/-0.5 dB against the IEC curve, 30 Hz to 15 kHz', { quantity: 'equalisation error', least: -0.5, most: 1, conditions: { curve: 'iec', ...band(30, 15e3) } }],
    ['recovers from 10 dB of overload within 10 ms', { quantity: 'overload recovery', most: 0.01, conditions: { frequencyHz: 1000, overloadDb: 10 } }],
    ['channel balance within 1 dB', { quantity: 'channel balance', least: -1, most: 1, conditions: { frequencyHz: 1000 } }],
    ['left: 10 W at 1 % THD, into 8 Ω, 230 V mains, at 25 °C, 1 kHz', { quantity: 'output power', least: 10, channel: 'left', conditions: { distortion: 0.01, distortionOf: 'thd', loadOhm: 8, mainsV: 230, ambientC: 25, frequencyHz: 1000 } }],
  ])('%s', (words, claim) => {
    const [one, ...more] = all(words)
    expect(more).toEqual([])
    const { least, most, ...rest } = one!
    const { least: low, most: high, ...expected } = claim
    expect(rest).toEqual(expected)
    for (const [got, wanted] of [[least, low], [most, high]]) {
      if (wanted === undefined) expect(got).toBeUndefined()
      else expect(got).toBeCloseTo(wanted, 12)
    }
  })

  it('of both ends of a band is two claims', () => {
    const under = { distortion: 0.01, distortionOf: 'thd', reference: 'half of rated output' }
    expect(all('power bandwidth 30 Hz to 15 kHz at 1 %')).toEqual([
      { quantity: 'power bandwidth low', most: 30, conditions: under }, { quantity: 'power bandwidth high', least: 15e3, conditions: under },
    ])
    for (const words of ['power bandwidth 30 Hz to 15 kHz at 1 %', 'power bandwidth (-3 dB re rated output) 30 Hz to 15 kHz, 1 % THD', 'power bandwidth 30 Hz to 15 kHz at 1 %, 20 W']) {
      expect(all(words, amplifier)[0]).toEqual({ quantity: 'power bandwidth low', most: 30, conditions: { distortion: 0.01, distortionOf: 'thd', outputW: 20, loadOhm: 250 } })
    }
    expect(all('power bandwidth 30 Hz to 15 kHz at 1 %, -10 dB', amplifier)[1]!.conditions.outputW).toBeCloseTo(4, 12)
    for (const words of ['20 Hz to 30 kHz, -3 dB', '-3 dB points 20 Hz and 30 kHz', 'response 20 Hz - 30 kHz (-3 dB)']) {
      expect(all(words)).toEqual([
        { quantity: 'response low', most: 20, conditions: { bandDb: 3 } }, { quantity: 'response high', least: 30e3, conditions: { bandDb: 3 } },
      ])
    }
  })
})

describe('the unit of a claim', () => {
  it('says what rated output, load and source are', () => {
    expect(all('THD under 1 %', amplifier)).toEqual([{ quantity: 'thd', most: 0.01, conditions: { frequencyHz: 1000, outputW: 40, loadOhm: 250 } }])
    expect(all('hum and noise -70 dB below rated output', amplifier)[0]!.conditions).toEqual({ outputW: 40, sourceOhm: 600, weighting: 'flat', ...audio })
    // 40 W in 250 Ω are 100 V.
    expect(all('hum -60 dB below rated output', amplifier)[0]!.most).toBeCloseTo(0.1, 12)
    expect(all('damping factor 20 on the 100 V line', amplifier)[0]!.conditions.loadOhm).toBe(250)
  })
  it('is asked for by what cannot be without it', () => {
    expect(refused('damping factor 20 on a 100 V line').problems[0]!.expected).toMatch(/watts that the line carries, or --unit/)
    expect(refused('hum -60 dB below rated output').problems[0]!.expected).toMatch(/--unit/)
  })
  it('whose channels are rated differently has a claim for each', () => {
    const mixed = [amplifier[0]!, { ...amplifier[1]!, ratedW: 10, loadOhm: 15 }]
    expect(all('THD under 1 %', mixed).map(({ channel, conditions }) => [channel, conditions.outputW, conditions.loadOhm])).toEqual([['left', 40, 250], ['right', 10, 15]])
    expect(all('THD under 1 %, channel right', mixed)).toMatchObject([{ channel: 'right', conditions: { outputW: 10 } }])
    expect(all('gain 34 dB ± 1 dB', mixed)).toHaveLength(1)
    expect(assumed('THD under 1 %', mixed)).toContain('right: level: rated output')
  })
  it('has the channels that it has', () => {
    expect(refused('THD under 1 %, channel middle', amplifier)).toMatchObject({ problems: [{ column: 16, expected: "one of the unit's channels: left, right" }], left: [] })
    expect(refused('3 x 40 W at 1 % THD', amplifier).problems[0]).toMatchObject({ column: 1, got: '"3 x"' })
  })
})

describe('what is assumed', () => {
  it.each([
    ['40 W at 1 %, into 8 Ω', ['frequency: 1 kHz', 'distortion: harmonic (THD)']], ['2 x 40 W at 1 % THD into 8 Ω, 1 kHz', ['driven: all channels at once, as 2 x is printed']],
    ['40 W RMS at 1 % THD', ['average power of a sine', 'load: left open']], ['noise under 1 mV', ['unweighted', 'measured from 20 Hz to 20 kHz']],
    ['S/N 80 dB', ['level: rated output, as none is printed; the unit is not known here']], ['20 Hz to 20 kHz within 3 dB', ['within 3 dB is taken as ± 3 dB']],
    ['THD+N 0.1 % at 1 kHz, 20 Hz to 20 kHz, 1 W', ['band: what is measured in']], ['RIAA ± 1 dB', ['band: 20 Hz to 20 kHz']], ['IM 19 + 20 kHz 1 % at 1 W', ['form: difference, by its tones']],
  ])('is said: %s', (words, notes) => { for (const note of notes) expect(assumed(words)).toContain(note) })
  it('is not where the words leave it open', () => {
    expect(all('output power 40 W, any distortion, any frequency, any load', amplifier)).toEqual([{ quantity: 'output power', least: 40, conditions: {} }])
    expect(assumed('output power 40 W, any distortion, any frequency, any load', amplifier)).toBe('')
  })
})

describe('what is refused', () => {
  it.each([
    ['40 W music power into 8 ohms', 6, /bursts, and of no agreed length/, 'music power'], ['peak power 80 W', 1, /half the watts/, 'peak power'], ['PMPO 400 W', 1, /no agreed way/, 'PMPO'],
    ['80 W total output at 1 % THD', 6, /2 x 25 W/, 'total output'], ['noise -60 dBm', 11, /dBu, dBV or volts/, 'dBm'], ['typically 0.1 % THD', 1, /at least, at most, or ±/, 'typically'],
    ['noise under 5 mV p-p', 18, /root mean square/, 'p-p'], ['noise under 1 mV, input open', 19, /shorted or terminated/, 'input open'],
    ['THD 1 % at 1 kHz on Tuesdays', 21, /words of a claim/, 'Tuesdays'], ['separation 45 dB at 1 kHz, nicely balanced', 28, /words of a claim/, 'nicely balanced'],
  ])('%s: with the place, the reason and the way out', (words, column, expected, left) => {
    const { problems, left: rest } = refused(words)
    expect(problems).toHaveLength(1)
    expect(problems[0]).toMatchObject({ column, got: JSON.stringify(left) })
    expect(problems[0]!.expected).toMatch(expected)
    expect(rest).toEqual([left])
  })
  it.each([
    ['noise -80 dB', /what the decibels are below/], ['hum 60 dB', /what the decibels are below/], ['-80 dB', /what the decibels are of/], ['80 dB', /what the decibels are of/],
    ['40 W into 8 ohms', /the distortion up to which it counts/], ['maximum 40 W at 1 % THD', /a maximum may be what it gives/], ['20 Hz to 20 kHz', /how far the response may go/],
    ['response 20 Hz to 20 kHz 3 dB', /either way/], ['response ± 1 dB', /the band in which it holds/], ['gain 34 dB', /at least, at most, or a tolerance/], ['gain', /a figure of gain/], ['IM distortion under 1 %', /which intermodulation/],
    ['IM distortion (60 Hz / 7 kHz, 1:1) under 1 %', /which intermodulation/], ['SMPTE intermodulation 1:1 under 1 %', /tones of 4:1/], ['difference tone intermodulation under 1 %', /both difference tones/],
    ['recovers within 10 ms', /from how much overload/], ['THD 1 %, separation 45 dB', /one claim at a time|belongs to/], ['gain 34 dB ± 1 dB, THD 1 %', /belongs to gain/], ['THD 1 % at 1 kHz, 10 kHz', /each condition once/],
    ['noise 0 V', /above 0/], ['S/N 99999999999999 dB', /that a unit can have/], ['THD 1 % at 0 W', /above 0/], ['40 W into a 0 V line at 1 % THD', /that a unit can have/], ['separation 45 dB, A-weighted', /belongs to separation/], ['THD 1 % at 1,000 W', /may be 1.000 or 1000/], ['20-20 kHz ± 1 dB', /from a lower figure to a higher/], ['40 W at 1 % THD, 3 Hz', /^$/],
    ['gain 35 dB to 34 dB', /from a lower figure/], ['THD 1 % at 1 W, at rated output', /one level/], ['noise 1 mV at 3', /a unit behind the number/], ['40 W into 8 Ω on a 100 V line at 1 % THD', /one load/],
    ['power bandwidth 30 Hz to 15 kHz at 1 % at rated output', /how far below rated output/], ['power bandwidth 30 Hz to 15 kHz at 1 %, -6 dB', /--unit/], ['power bandwidth 30 Hz to 15 kHz at 1 %, 10 W, -3 dB', /the watts that its ends/],
    ['', /what is claimed/], ['2 x 0.1 % THD', /belongs to thd/],
  ])('%s', (words, expected) => {
    if (expected.source === '^$') expect(readClaim(words).ok).toBe(true)
    else expect(refused(words).problems.map(one => one.expected).join()).toMatch(expected)
  })
  it('tells what was understood so far, and all that was not', () => {
    expect(refused('40 W into 8 ohms at 1 % THD, gold plated, 1 kHz, hand made')).toMatchObject({
      understood: ['40 W', 'into 8 ohms', 'at 1 %', 'THD', '1 kHz'], left: ['gold plated', 'hand made'], problems: [{ column: 30 }, { column: 50 }],
    })
    expect(refused('THD 1 % at 1 kHz'.padEnd(700, '!')).problems[0]).toMatchObject({ column: 601 })
  })
})
