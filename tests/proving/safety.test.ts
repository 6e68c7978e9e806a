/** What is refused before anything is driven, and that nothing is driven afterwards, whatever ended it. */
import { describe, expect, it } from 'vitest'
import { BenchError } from '../../src/base/errors.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { claim as claimShape, type Claim } from '../../src/schema/claims.ts'
import { Heat } from '../../src/proving/heat.ts'
import { planProof } from '../../src/proving/plan.ts'
import { beginProving } from '../../src/proving/proving.ts'
import { verifyUnit } from '../../src/proving/verify.ts'
import { whileDriven } from '../../src/proving/drive.ts'
import { channelOf, run, SimBench, type Setup } from './bench.ts'

const power: Partial<Claim> = { quantity: 'output power', least: 30, conditions: { distortion: 0.01, distortionOf: 'thd', frequencyHz: 1000 } }

async function verified(bench: SimBench, claims: readonly Partial<Claim>[]): Promise<string[]> {
  const proving = beginProving(bench, { recordS: 0.08 })
  const loads = Object.fromEntries(await Promise.all(bench.channels.map(async ({ name }) => [name, await bench.load(name)] as const)))
  const plan = planProof(proving, { reach: bench, loads }, claims.map(one => ({ words: 'test', claim: claimShape.parse({ channel: 'left', ...one }) })))
  const ends: string[] = []
  for await (const proven of verifyUnit(proving, plan)) ends.push('error' in proven ? proven.error.code : 'done')
  return ends
}

async function drives(setup: Setup, levelV = 0.1): Promise<SimBench> {
  const bench = new SimBench(setup)
  const proving = beginProving(bench)
  proving.patched = 'unit'
  proving.gains.set('left', 20)
  await run(bench, whileDriven(proving, { tones: { left: [{ frequencyHz: 1000, levelV }] }, forS: 1 }, async () => {
    expect(bench.driven).toEqual(['left'])
  }))
  expect(bench.driven).toEqual([])
  return bench
}

describe('driving', () => {
  it('a measured and rated load is driven, and muted afterwards', async () => {
    expect((await drives({})).sent.some(one => one.startsWith('output left true'))).toBe(true)
  })
  it.each<[string, Setup, number, RegExp]>([
    ['a loudspeaker', { load: { kind: 'loudspeaker' } }, 0.1, /loudspeaker/],
    ['a load that was not measured', { load: { ohm: null } }, 0.1, /not measured/],
    ['a load without rated watts', { load: { continuousW: null } }, 0.1, /no rated watts/],
    ['an open output', { load: { kind: 'open' } }, 0.1, /stands open/],
    ['an open valve stage', { load: { kind: 'open' }, channels: [channelOf('left', { isValve: true })] }, 0.1, /valve/],
    ['a bridged output by an earthed digitizer', { isDifferential: false, channels: [channelOf('left', { kind: 'bridged' })] }, 0.1, /bridged/],
    ['more volts than its ceiling', { limits: { outputMaxV: 1 } }, 0.1, /too much/],
    ['more watts than its ceiling', { limits: { outputMaxW: 0.4 } }, 0.1, /too much/],
    ['more than its input may have', {}, 3, /input/],
    ['more watts than its load bears', { load: { continuousW: 0.1, peakW: 0.2 } }, 0.1, /does not bear/],
  ])('%s is refused before anything is let out', async (_, setup, levelV, says) => {
    const bench = new SimBench(setup)
    const proving = beginProving(bench)
    proving.patched = 'unit'
    proving.gains.set('left', 20)
    const work = whileDriven(proving, { tones: { left: [{ frequencyHz: 1000, levelV }] }, forS: 1 }, async () => { throw new Error('driven') })
    await expect(run(bench, work)).rejects.toThrow(says)
    expect(bench.sent.filter(one => /^output|^tones/.test(one))).toEqual([])
  })
  it('says so where muting fails', async () => {
    const bench = new SimBench()
    const proving = beginProving(bench)
    bench.before = verb => { if (verb === 'mute') throw new BenchError('LINK_DOWN', 'gone') }
    proving.patched = 'loop'
    await expect(run(bench, whileDriven(proving, { tones: { left: [{ frequencyHz: 1000, levelV: 0.1 }] }, forS: 1 }, async () => 1)))
      .rejects.toMatchObject({ code: 'ENERGY_UNKNOWN' })
  })
})

describe('a whole proof', () => {
  it('ends muted where it comes to its end', async () => {
    const bench = new SimBench()
    expect(await run(bench, verified(bench, [power]))).toEqual(['done'])
    expect(bench.driven).toEqual([])
    expect(bench.patches).toBe(2)
  })
  it.each([20, 45, 80])('ends muted where verb %d fails, and drives nothing more', async at => {
    const bench = new SimBench()
    let [count, failedAt] = [0, -1]
    bench.before = verb => {
      if (verb === 'mute' || ++count !== at) return
      failedAt = bench.sent.length
      throw new BenchError('LINK_TIMEOUT', 'no answer')
    }
    await expect(run(bench, verified(bench, [power]))).rejects.toMatchObject({ code: 'LINK_TIMEOUT' })
    expect(bench.driven).toEqual([])
    expect(bench.sent.slice(failedAt).every(verb => verb === 'mute')).toBe(true)
  })
  it.each([20, 45, 80])('ends muted where a person stops it at verb %d', async at => {
    const bench = new SimBench()
    let [count, stoppedAt] = [0, -1]
    bench.before = verb => {
      if (verb === 'mute' || ++count !== at) return
      stoppedAt = bench.sent.length
      bench.control.abort(new BenchError('STOPPED', 'a person'))
    }
    await expect(run(bench, verified(bench, [power]))).rejects.toMatchObject({ code: 'STOPPED' })
    expect(bench.driven).toEqual([])
    expect(bench.sent.slice(stoppedAt).filter(verb => /true$/.test(verb))).toEqual([])
  })
  it('never puts more than the ceiling into the load, and then tells a bound', async () => {
    const bench = new SimBench({ limits: { outputMaxW: 32 } })
    expect(await run(bench, verified(bench, [power]))).toEqual(['done'])
    expect(bench.mostW.get('left')).toBeLessThan(32 * 1.01)
    expect(bench.mostW.get('left')).toBeGreaterThan(20)
  })
  it('trips where a unit gives more than it was let', async () => {
    const bench = new SimBench({ limits: { outputMaxW: 32 } })
    bench.before = verb => { if (verb.startsWith('capture') && (bench.mostW.get('left') ?? 0) > 5) bench.units[0]!.gain = 60 }
    await expect(run(bench, verified(bench, [power]))).rejects.toMatchObject({ code: 'TRIPPED' })
    expect(bench.driven).toEqual([])
  })
})

describe('what a load may take', () => {
  it('bears its continuous watts for ever, more for a time, and rests for the next', () => {
    const clock = new VirtualClock()
    const heat = new Heat(clock, { continuousW: 50, peakW: 100, peakS: 10 })
    expect(heat.mayS(50)).toBe(Infinity)
    expect(heat.mayS(101)).toBe(0)
    expect(heat.mayS(100)).toBe(10)
    clock.sleepHost(10_000)
    heat.took(100, 10)
    expect(heat.mayS(100)).toBe(0)
    expect(heat.restS(100, 5)).toBeCloseTo(5, 9)
    clock.sleepHost(5000)
    expect(heat.restS(100, 5)).toBe(0)
    expect(heat.restS(100, 11)).toBe(Infinity)
  })
})
