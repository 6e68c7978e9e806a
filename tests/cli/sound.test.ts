import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeEach, describe, expect, it } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import { realContext } from '../../src/cli/context.ts'
import { runCli } from '../../src/cli/run-cli.ts'

const folder = mkdtempSync(join(tmpdir(), 'nightbench-sound-'))
afterAll(() => rmSync(folder, { recursive: true }))
const path = (name: string): string => join(folder, name)

let said: string
let complained: string
const run = async (...argv: string[]): Promise<number> => await runCli(argv, {
  ...realContext('ida'), clock: new RealClock(), env: {},
  out: { write: (text: string) => { said += text } }, err: { write: (text: string) => { complained += text } },
})
const asked = async (...argv: string[]) => {
  said = ''
  expect(await run(...argv, '--json')).toBe(0)
  return JSON.parse(said)
}
beforeEach(() => { said = ''; complained = '' })

describe('a tone that was generated', () => {
  it('comes back with its level, whole periods, and no more than its rounding', async () => {
    const made = await asked('generate', 'tone', '-o', path('tone.wav'), '--level', '-6')
    expect(made.hz[0] * 65_536 / 48_000 % 2).toBe(1)
    const { found: { tone }, unit, cautions } = await asked('analyse', path('tone.wav'), '--as', 'tone', '--from', '1', '--for', String(65_536 / 48_000))
    expect([unit, cautions]).toEqual(['FS', []])
    expect(tone.window.name).toBe('rectangular')
    expect(tone.frequencyHz.value).toBeCloseTo(made.hz[0], 6)
    expect(tone.rms.value).toBeCloseTo(10 ** (-6 / 20) / Math.SQRT2, 6)
    // Rounding and dither of 24 bits: three times a twelfth of a step squared.
    expect(20 * Math.log10(tone.thdN.f.value)).toBeLessThan(-128)
  })
  it('sets the scale by what a meter reads, and is in volts with its uncertainty from then on', async () => {
    await asked('generate', 'tone', '-o', path('tone.wav'), '--seconds', '2')
    const { scale } = await asked('analyse', path('tone.wav'), '--as', 'tone', '--reads', '0.775,u=0.002', '--save', path('scale.json'), '--note', 'line in')
    expect(scale.fullScaleV).toBeCloseTo(0.775 / (10 ** (-3 / 20) / Math.SQRT2), 3)
    expect(JSON.parse(readFileSync(path('scale.json'), 'utf8'))).toEqual(scale)
    const { found: { tone }, unit } = await asked('analyse', path('tone.wav'), '--as', 'tone', '--scale', path('scale.json'), '--from', '0.1', '--for', '1.5')
    expect(unit).toBe('V')
    expect(tone.rms.value / 0.775).toBeCloseTo(1, 1)
    expect(tone.rms.u / tone.rms.value).toBeCloseTo(0.002 / 0.775, 5)
    expect(tone.thd.f.u / tone.thd.f.value).toBeLessThan(10)
    said = ''
    expect(await run('analyse', path('tone.wav'), '--as', 'tone', '--scale', path('scale.json'))).toBe(0)
    expect(said).toMatch(/level +\(\d+(\.\d+)? ± \d+(\.\d+)?\) m?V RMS/)
    expect(said).toMatch(/THD\+N +\(.*\) % of the fundamental/)
    expect(said).not.toMatch(/NaN|undefined/)
  })
})

describe('two tones, noise and silence that were generated', () => {
  it('have no intermodulation but their rounding', async () => {
    await asked('generate', 'smpte', '-o', path('two.wav'), '--seconds', '3')
    const smpte = await asked('analyse', path('two.wav'), '--as', 'smpte', '--from', '0.5', '--for', '2')
    expect(smpte.found.modulation.pairSum.value).toBeLessThan(3e-6)
    expect(smpte.found.modulation.lowRms.value / smpte.found.modulation.highRms.value).toBeCloseTo(4, 4)
    await asked('generate', 'difference', '-o', path('two.wav'), '--seconds', '3')
    const difference = await asked('analyse', path('two.wav'), '--as', 'difference', '--from', '0.5', '--for', '2')
    expect(difference.found.difference.both.ofSum.value).toBeLessThan(3e-6)
    for (const as of ['difference', 'noise']) {
      said = ''
      expect(await run('analyse', path('two.wav'), '--as', as, '--mains', '50')).toBe(0)
      expect(said).not.toMatch(/NaN|undefined/)
    }
  })
  it('have the level that was asked for', async () => {
    await asked('generate', 'noise', '-o', path('noise.wav'), '--level', '-20', '--seconds', '5')
    const { found: { noise } } = await asked('analyse', path('noise.wav'), '--as', 'noise', '--from', '0.1', '--for', '4.5')
    const want = 0.1 * Math.sqrt(19_980 / 24_000)
    expect(Math.abs(noise.rms.flat.value - want)).toBeLessThan(4 * noise.rms.flat.u)
    await asked('generate', 'silence', '-o', path('still.wav'), '--bits', '16', '--seconds', '1')
    const still = await asked('analyse', path('still.wav'), '--as', 'noise')
    expect(20 * Math.log10(still.found.noise.rms.flat.value)).toBeLessThan(-94)
  })
})

describe('a sweep that comes back', () => {
  it('has its gain and its response told, whatever was recorded before it', async () => {
    const still = join(folder, 'sweep.wav')
    await asked('generate', 'sweep', '-o', still, '--seconds', '4')
    const { found: { response }, unit } = await asked('analyse', still, '--as', 'sweep', '--played', still)
    expect(unit).toBe('FS')
    expect(response.gain.value).toBeCloseTo(1, 3)
    expect(response.band.mostDb - response.band.leastDb).toBeLessThan(0.05)
    said = ''
    expect(await run('analyse', still, '--as', 'sweep', '--played', still)).toBe(0)
    expect(said).toMatch(/0.00 to 0.00 dB\n-3 dB at +beyond what was swept \(low\) and beyond what was swept \(high\)/)
    expect(said).not.toMatch(/NaN|undefined/)
    expect(await run('analyse', still, '--as', 'sweep')).toBe(2)
    expect(complained).toMatch(/--played/)
  })
})

describe('what cannot be done', () => {
  it.each([
    [['--as', 'taste'], /--as is not understood: expected tone, smpte/], [['--as', 'tone', '--channel', '2'], /no such channel: expected 1 to 1, got 2/],
    [['--as', 'tone', '--band', '20'], /two numbers/], [['--as', 'smpte'], /no tone at 60 Hz/], [['--as', 'tone', '--reads', '1'], /--reads is not understood|not understood/],
    [['--as', 'tone', '--save', 'x'], /--save needs/], [['--as', 'tone', '--for', '-1'], /0 or more/], [['--as', 'tone', '--from', '99'], /has 1.000 s/],
  ])('%j says so and ends with 2', async (options, words) => {
    expect(await run('generate', 'tone', '-o', path('one.wav'), '--seconds', '1')).toBe(0)
    expect(await run('analyse', path('one.wav'), ...options)).toBe(2)
    expect(complained).toMatch(words)
  })
  it.each([
    ['no such file', () => path('none.wav'), /cannot be read/], ['other bytes', () => { writeFileSync(path('x.bin'), Buffer.from([1, 0, 2])); return path('x.bin') }, /other bytes/],
    ['a folder', () => folder, /cannot be read/],
  ])('%s is no recording', async (_what, file, words) => {
    expect(await run('analyse', file(), '--as', 'tone')).toBe(2)
    expect(complained).toMatch(words)
  })
  it('is asked of a signal', async () => {
    expect(await run('generate', 'tone', '-o', path('one.wav'), '--hz', '30000')).toBe(2)
    expect(complained).toMatch(/between 0 and 24000 Hz/)
    expect(await run('generate', 'sweep', '-o', path('one.wav'), '--hz', '20')).toBe(2)
    expect(await run('generate', 'song', '-o', path('one.wav'))).toBe(2)
  })
})
