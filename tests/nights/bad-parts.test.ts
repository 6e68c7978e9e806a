/** Nights with parts that fail while they are on the bus. The rest of the rack has its night all the same. */
import { describe, expect, it } from 'vitest'
import type { MakeOptions, PartKind } from '../../mocks/parts/make-part.ts'
import type { PartResult } from '../../src/schema/run.ts'
import type { Act, Outcome } from './bad-night.ts'
import { badNight, quick, textsOf } from './bad-night.ts'
import { during, rackOf, stops } from './acts.ts'
import { breaches } from './invariants.ts'

const request = { parameters: { ...quick, soakS: 600 } }

/** The bad part on P01, a sound one on P02. */
async function night(seed: number, kind: PartKind, options: MakeOptions, acts: Act[] = []): Promise<Outcome & { bad: PartResult; sound: PartResult }> {
  const outcome = await badNight({ seed, scenario: rackOf([[kind, options], 'healthy'], seed), request, acts })
  const results = await outcome.bench.store.results(outcome.run.id)
  const of = (position: string): PartResult => results.find(result => result.position === position)!
  return { ...outcome, bad: of('P01'), sound: of('P02') }
}

const happened = ({ bench }: Outcome, kind: string): number | undefined =>
  bench.sim.truth()[0]!.happenings.find(happening => happening.kind === kind)?.atS

/** From what befell the part to its relay letting go, seconds. */
function releasedAfterS(outcome: Outcome, kind: string): number {
  const atMs = 1000 * happened(outcome, kind)!
  const off = outcome.bench.sim.instruments.relays.device.effects.list('relay 1').find(effect => effect.value === 0 && effect.atMs >= atMs)
  return off === undefined ? NaN : (off.atMs - atMs) / 1000
}

/** Two quiet sweeps of the position, the settling of its relay and a little. */
const dropS = 2 * 10 + 1

async function soundNight({ run, sound, ...rest }: Awaited<ReturnType<typeof night>>): Promise<void> {
  expect(await breaches({ run, ...rest })).toEqual([])
  expect(run.state).toBe('done')
  expect(sound.grade).toBe('accept')
}

describe('a part that shorts', () => {
  it.each([200, 5000, 20_000])('to %i Ω in the soak: off the bus within two sweeps, condemned', async toOhm => {
    const outcome = await night(111, 'shorting', { atFraction: 0.32, afterS: 300, toOhm })
    await soundNight(outcome)
    expect(releasedAfterS(outcome, 'short')).toBeLessThan(dropS)
    expect(outcome.bad).toMatchObject({ grade: 'reject', disposition: 'replace' })
    // However long it lasts, its own resistor turns no more than V²/R into heat.
    expect(outcome.bench.sim.audit().positions[0]!.limitMaxW).toBeLessThan(150 ** 2 / 100e3 + 0.01)
  })

  it('in its own formal reading, where only the supply limits it: off the bus within two fast sweeps', async () => {
    // 10 MΩ of leakage keep it 1.5 V under the bus until the low resistor takes it to where it gives way.
    const options = { atFraction: 149.6 / 450, afterS: 30, toOhm: 200, truth: { shuntOhm: 10e6 } }
    const outcome = await night(112, 'shorting', options, [during('formal', 0, () => {})])
    await soundNight(outcome)
    expect(1000 * happened(outcome, 'short')!).toBeGreaterThan(outcome.actedMs[0]!)
    expect(releasedAfterS(outcome, 'short')).toBeLessThan(2 * 2.5 + 1)
    expect(outcome.bad).toMatchObject({ grade: 'reject', disposition: 'replace' })
  })

  it('low in the climb, where a short takes little: judged by its step', async () => {
    const outcome = await night(113, 'shorting', { atFraction: 0.08, afterS: 30, toOhm: 200 })
    await soundNight(outcome)
    expect(outcome.bad).toMatchObject({ grade: 'reject', disposition: 'replace' })
  })
})

describe('a part that comes apart', () => {
  it.each([
    ['in the climb', 'opening', { atFraction: 0.1, afterS: 200 }], ['in the soak', 'opening', { atFraction: 0.32, afterS: 300 }],
    ['at its contact, in the soak', 'bad-contact', { contactAtS: 800 }],
  ] as [string, PartKind, MakeOptions][])('%s: it may be charged for ever, nobody is told that it is not, and it gets no grade', async (_when, kind, options) => {
    const outcome = await night(114, kind, options)
    await soundNight(outcome)
    expect(outcome.endV.parts.get('P01')).toBeGreaterThan(60)
    expect(outcome.lastTouch.get('P01')).toMatch(/^NOT SAFE TO TOUCH: UNMEASURED/)
    expect(outcome.bad).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
  })

  it.each([1, 2, 4, 5])('and together again, by chance (seed %i): no false word, and not condemned for its contact', async seed => {
    const outcome = await night(seed, 'bad-contact', { contactAtS: 250 + 100 * seed, intermittent: true })
    await soundNight(outcome)
    expect(outcome.bad.grade).not.toBe('reject')
  })

  it('at the release, and comes back with all its volts in the watch: seen, bled, and not called good', async () => {
    const outcome = await night(3, 'bad-contact', { contactAtS: 550, intermittent: true })
    await soundNight(outcome)
    expect(textsOf(outcome, 'touch').filter(text => text.startsWith('P01'))[0]).toMatch(/NOT SAFE TO TOUCH: UNMEASURED/)
    expect(textsOf(outcome, 'recovery').join()).toMatch(/P01 came back to 1\d\d V/)
    expect(outcome.bad.grade).not.toBe('accept')
  })
})

describe('a part that is not what it should be', () => {
  it('put in the wrong way round: seen at the polarity stop, never above it', async () => {
    const outcome = await night(115, 'reversed', {})
    await soundNight(outcome)
    expect(textsOf(outcome, 'drop').join()).toMatch(/stuck at [\d.]+ V of 5 V: presumed reversed or shorted/)
    expect(outcome.bad.grade).not.toBe('accept')
    expect(outcome.bench.sim.audit().positions[0]!.part!.voltsMaxV).toBeLessThan(2.5)
  })

  it('flashes over inside, again and again: not called good', async () => {
    const outcome = await night(116, 'scintillating', { atFraction: 0.2, afterS: 60 })
    await soundNight(outcome)
    expect(happened(outcome, 'scintillate')).toBeGreaterThan(0)
    expect(outcome.bad.grade).not.toBe('accept')
  })

  it('heats until it gives way: off before its can is hot', async () => {
    const outcome = await night(117, 'overheating', { atFraction: 0.32, afterS: 100, toOhm: 40_000 })
    await soundNight(outcome)
    expect(outcome.bad).toMatchObject({ grade: 'reject', disposition: 'replace' })
    expect(textsOf(outcome, 'drop').join()).toMatch(/P01/)
  })

  it('dried out: condemned by the bridge, never on the bus', async () => {
    const outcome = await night(118, 'dried-out', {})
    await soundNight(outcome)
    expect(outcome.bad.grade).toBe('reject')
  })
})

describe('a rack on which everything is bad', () => {
  const kinds: [PartKind, MakeOptions][] = [
    ['shorting', { atFraction: 0.2, afterS: 100, toOhm: 1000 }], ['opening', { atFraction: 0.25, afterS: 200 }], ['hopeless-leaky', {}],
    ['dried-out', {}], ['reversed', {}],
  ]
  it('ends by itself: each part is told from the others, and none is called good', async () => {
    const outcome = await badNight({ seed: 119, scenario: rackOf(kinds, 119), request })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    const results = await outcome.bench.store.results(outcome.run.id)
    expect(results).toHaveLength(kinds.length)
    for (const { position, grade } of results) {
      expect(outcome.bench.sim.truth().find(line => line.position === position)!.grades, position).toContain(grade)
    }
  })

  it('can be stopped while two of them fail', async () => {
    const outcome = await badNight({
      seed: 120, scenario: rackOf(kinds, 120), request,
      acts: [during('forming', 240_000, stops)],
    })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('stopped')
  })
})
