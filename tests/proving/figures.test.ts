/** Each figure on a bench without errors comes out as the closed form of the unit says. */
import { describe, expect, it } from 'vitest'
import { equalisations } from '../../src/analysis/audio/equalisation.ts'
import type { Claim } from '../../src/schema/claims.ts'
import { claim as claimShape } from '../../src/schema/claims.ts'
import type { Figure } from '../../src/schema/figure.ts'
import { planProof } from '../../src/proving/plan.ts'
import { beginProving } from '../../src/proving/proving.ts'
import { verifyUnit } from '../../src/proving/verify.ts'
import { channelOf, run, SimBench, soundUnit, type Setup } from './bench.ts'
import { atPeak, decibels, loadedShare, peakAtLimit, peakFor, responseDb } from './truth.ts'

export async function provenOf(bench: SimBench, claims: readonly Partial<Claim>[], options = {}): Promise<{ figures: Figure[]; errors: string[]; unprovable: string[] }> {
  const proving = beginProving(bench, options)
  return run(bench, (async () => {
    const loads = Object.fromEntries(await Promise.all(bench.channels.map(async ({ name }) => [name, await bench.load(name)] as const)))
    const plan = planProof(proving, { reach: bench, loads }, claims.map(one => ({ words: 'as a test has it', claim: claimShape.parse({ least: -1e9, most: 1e9, ...one }) })))
    const figures: Figure[] = []
    const errors: string[] = []
    for await (const proven of verifyUnit(proving, plan)) {
      if ('error' in proven) errors.push(proven.error.message)
      else figures.push(...proven.figures)
    }
    return { figures, errors, unprovable: plan.unprovable.map(({ why }) => why) }
  })())
}

const one = async (setup: Setup, claim: Partial<Claim>): Promise<Figure> => {
  const { figures, errors, unprovable } = await provenOf(new SimBench(setup), [{ channel: 'left', ...claim }])
  expect([...errors, ...unprovable]).toEqual([])
  return figures.at(-1)!
}

const riaaShape = (hz: number, slowS: number): number => {
  const w = 2 * Math.PI * hz
  return 10 * Math.hypot(1, w * 318e-6) / Math.hypot(1, w * slowS) / Math.hypot(1, w * 75e-6)
}
const quietUnit = { noiseVPerRootHz: 1e-9, hum: [], dcV: 0 }

describe.each([['one clock', true], ['two clocks', false]])('figures with %s', (_, sharesClock) => {
  const setup = (over: Setup = {}): Setup => ({ ...over, bench: { sharesClock, clockShare: sharesClock ? 0 : 3e-5, ...over.bench } })

  it('gain and sensitivity', async () => {
    const gain = await one(setup(), { quantity: 'gain' })
    expect(gain.value).toBeCloseTo(decibels(20 * loadedShare(soundUnit, 8)) + responseDb(soundUnit, 1000, 500), 2)
    const sensitivity = await one(setup(), { quantity: 'input sensitivity' })
    const peak = peakFor(soundUnit, Math.sqrt(240) / loadedShare(soundUnit, 8))
    expect(sensitivity.value / (peak / Math.SQRT2 / 20)).toBeCloseTo(1, 3)
  })
  it('THD and THD+N', async () => {
    const peak = peakFor(soundUnit, Math.sqrt(160) / loadedShare(soundUnit, 8))
    const thd = await one(setup(), { quantity: 'thd', conditions: { outputW: 20, frequencyHz: 1000 } })
    expect(thd.value / atPeak(soundUnit, peak, 1000).thd).toBeCloseTo(1, 1.7)
    expect(Math.abs(thd.value - atPeak(soundUnit, peak, 1000).thd)).toBeLessThan(3 * thd.u + 0.015 * thd.value)
    const thdN = await one(setup(), { quantity: 'thd+n', conditions: { outputW: 20, frequencyHz: 1000 } })
    expect(thdN.value / atPeak(soundUnit, peak, 1000).thdN).toBeCloseTo(1, 1.7)
  })
  it('power where it clips', async () => {
    const figure = await one(setup(), { quantity: 'output power', least: 30, most: 1e6, conditions: { distortion: 0.01, distortionOf: 'thd+n', frequencyHz: 1000 } })
    const { wholeV } = atPeak(soundUnit, peakAtLimit(soundUnit, 1000, 0.01, 'thdN'), 1000)
    expect(figure.value / ((wholeV * loadedShare(soundUnit, 8)) ** 2 / 8)).toBeCloseTo(1, 2.5)
    expect(figure.bound).toBeUndefined()
  })
  it('response and its corners', async () => {
    const deviation = await one(setup({ units: [quietUnit] }), { quantity: 'response deviation', conditions: { bandLowHz: 20, bandHighHz: 20_000 } })
    expect(deviation.value).toBeCloseTo(responseDb(soundUnit, 20_000), 2)
    const low = await one(setup({ units: [{ ...quietUnit, lowHz: 12 }] }), { quantity: 'response low' })
    expect(low.value / 12.03).toBeCloseTo(1, 2)
    const high = await one(setup({ units: [quietUnit] }), { quantity: 'response high' })
    expect(high.value / 59_850).toBeCloseTo(1, 2)
  })
  it('noise, hum and DC', async () => {
    const noise = await one(setup(), { quantity: 'noise', conditions: { weighting: 'flat' } })
    expect(noise.value / Math.sqrt(1e-12 * 19_980 + 60e-6 ** 2 + 150e-6 ** 2)).toBeCloseTo(1, 1.5)
    const hum = await one(setup(), { quantity: 'hum' })
    expect(hum.value / Math.hypot(60e-6, 150e-6)).toBeCloseTo(1, 1.5)
    expect(hum.notes.join()).toMatch(/50\.03 Hz/)
    expect((await one(setup(), { quantity: 'dc offset' })).value).toBeCloseTo(6e-3, 4)
  })
  it('separation, damping and intermodulation', async () => {
    expect((await one(setup(), { quantity: 'separation' })).value).toBeCloseTo(-decibels(5e-4), 1)
    expect((await one(setup({ units: [quietUnit] }), { quantity: 'damping factor' })).value / 80).toBeCloseTo(1, 2)
    const smpte = await one(setup(), { quantity: 'intermodulation', conditions: { form: 'smpte', outputW: 20 } })
    const peak = Math.sqrt(320) / loadedShare(soundUnit, 8)
    const [second, third] = [2 * soundUnit.b2 * 0.8 * peak, 1.5 * soundUnit.b3 * (0.8 * peak) ** 2]
    expect(smpte.value / Math.hypot(second, third)).toBeCloseTo(1, 1)
  })
  it('balance', async () => {
    const { figures } = await provenOf(new SimBench(setup({ units: [{}, { gain: 19 }] })), [{ quantity: 'channel balance' }])
    expect(figures[0]!.value).toBeCloseTo(decibels(19 / 20), 2)
  })
  it('equalisation against either curve', async () => {
    const shape = (hz: number): number => riaaShape(hz, 3180e-6 * 1.05)
    const unit = { ...quietUnit, gain: 10, shape, b2: 0, b3: 0 }
    const channels = ['left', 'right'].map(name => channelOf(name, { loadOhm: 8, ratedW: 0.5 }))
    const setup = { channels, units: [unit], bench: { sharesClock } }
    const error = await one(setup, { quantity: 'equalisation error', conditions: { curve: 'riaa', outputW: 0.05 } })
    const other = await provenOf(new SimBench(setup), [{ channel: 'left', quantity: 'equalisation error', conditions: { curve: 'iec', outputW: 0.05 } }])
    // The lowest tone that fills its record lies just below 20 Hz.
    const lowestHz = sharesClock ? 27 * 48_000 / 65_536 : 20
    const wanted = (curve: 'riaa' | 'iec'): number => decibels(shape(lowestHz) / shape(1000)) - equalisations[curve](lowestHz)
    const values = (await provenOf(new SimBench(setup), [{ channel: 'left', quantity: 'equalisation error', conditions: { curve: 'riaa', outputW: 0.05 } }])).figures.map(({ value }) => value)
    expect(error.conditions.curve).toBe('riaa')
    expect(Math.max(...values)).toBeCloseTo(wanted('riaa'), 2)
    expect(Math.max(...other.figures.map(({ value }) => value))).toBeCloseTo(wanted('iec'), 2)
  })
  it('power bandwidth', async () => {
    // Its curve is the same at every frequency, and its input reaches no further where its gain falls.
    const figure = await one(setup(), { quantity: 'power bandwidth high', conditions: { distortion: 0.01, distortionOf: 'thd' } })
    expect(figure.bound).toBe('at least')
    expect(figure.value).toBeGreaterThan(30_000)
  })
})
