/** Two things go wrong in one night, at times that have nothing to do with each other. Drawn by seed. */
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import type { Act, Deed, NightStage, Outcome } from './bad-night.ts'
import { badNight } from './bad-night.ts'
import { both, breaks, during, fixture, longSoak, opensCover, rackOf, shared, stops } from './acts.ts'
import type { Excuse } from './invariants.ts'
import { breaches } from './invariants.ts'

interface Trouble { name: string; deed: Deed; excuse?: Excuse }

const troubles: readonly Trouble[] = [
  { name: 'supply stays on', deed: breaks('psu', { kind: 'output-stays-on' }), excuse: { supplyOn: true } },
  { name: 'supply deaf', deed: breaks('psu', { kind: 'deaf' }), excuse: { supplyOn: true } },
  { name: 'supply runs away', deed: breaks('psu', { kind: 'output-runaway', value: 300 }), excuse: { tooHighMs: 1600 } },
  { name: 'P01 welded', deed: fixture('P01', 'relay-welded'), excuse: { busLive: true } },
  { name: 'P01 lead open', deed: fixture('P01', 'lead-open') },
  { name: 'P02 lead open', deed: fixture('P02', 'lead-open') },
  { name: 'P02 bleeder open', deed: fixture('P02', 'bleeder-open') },
  { name: 'P01 formal welded', deed: fixture('P01', 'formal-welded') },
  { name: 'P02 formal dead', deed: fixture('P02', 'formal-dead') },
  { name: 'bus bleeder open', deed: shared('bus-bleeder-open') },
  { name: 'bus meter lead open', deed: shared('bus-meter-lead-open') },
  { name: 'cutoff welded', deed: breaks('cutoff', { kind: 'relay-welded' }), excuse: { contactClosed: true } },
  { name: 'cutoff welded unseen', deed: shared('cutoff-welded-unseen') },
  { name: 'cutoff loses power', deed: breaks('cutoff', { kind: 'power-cycle' }) },
  { name: 'scanner silent', deed: breaks('scanner', { kind: 'silent' }) },
  { name: 'scanner stuck', deed: both(breaks('scanner', { kind: 'relay-welded', value: 101 }), breaks('scanner', { kind: 'relay-dead' })) },
  { name: 'relay board loses power', deed: breaks('relays', { kind: 'power-cycle' }) },
  { name: 'relay board deaf', deed: breaks('relays', { kind: 'deaf' }), excuse: { relaysHeld: true, busLive: true } },
  { name: 'sense meter stuck', deed: breaks('sense-dmm', { kind: 'reading-stuck' }) },
  { name: 'bus meter stuck', deed: breaks('bus-dmm', { kind: 'reading-stuck' }) },
  { name: 'bus meter silent', deed: breaks('bus-dmm', { kind: 'silent' }) },
  { name: 'thermometer silent', deed: breaks('thermometer', { kind: 'silent' }) },
  { name: 'case sensor open', deed: breaks('thermometer', { kind: 'sensor-open', value: 2 }) },
  { name: 'bridge silent', deed: breaks('bridge', { kind: 'silent' }) },
  { name: 'cover opened', deed: opensCover },
  { name: 'person stops', deed: stops },
  { name: 'host sleeps', deed: ({ clock }) => clock.sleepHost(20_000) },
]

/** Stages in which a fault may strike, and how long each lasts at least, ms. */
const spans: readonly [NightStage, number][] = [
  ['polarity', 30_000], ['forming', 500_000], ['soaking', 280_000], ['formal', 240_000], ['watching', 50_000],
]

interface Pair { seed: number; troubles: [Trouble, Trouble]; acts: Act[]; title: string }

function drawn(seed: number): Pair {
  const random = new SeededRandom(`two faults ${seed}`)
  const first = random.integer(0, troubles.length - 1)
  const second = (first + random.integer(1, troubles.length - 1)) % troubles.length
  const pair: [Trouble, Trouble] = [troubles[first]!, troubles[second]!]
  const times = pair.map(() => {
    const [stage, ms] = spans[random.integer(0, spans.length - 1)]!
    return [stage, Math.round(random.uniform(0, ms))] as const
  })
  return {
    seed, troubles: pair, acts: pair.map(({ deed }, i) => during(times[i]![0], times[i]![1], deed)),
    title: pair.map(({ name }, i) => `${name} in ${times[i]![0]} after ${Math.round(times[i]![1] / 1000)} s`).join(' and '),
  }
}

const excuseOf = (pair: Pair): Excuse => Object.assign({}, ...pair.troubles.map(({ excuse }) => excuse ?? {})) as Excuse

/** How many pairs: ten in every test, more when asked for. */
const count = Number(process.env['NIGHTS'] ?? 10)
const pairs = Array.from({ length: count }, (_, i) => drawn(i + 1))

async function night(pair: Pair): Promise<Outcome> {
  return await badNight({
    seed: pair.seed, request: longSoak, acts: pair.acts,
    scenario: rackOf([pair.seed % 3 === 0 ? ['shorting', { atFraction: 0.25, afterS: 60 * pair.seed % 700, toOhm: 1000 }] : 'healthy', 'stale', 'healthy'], pair.seed),
  })
}

describe('two faults in one night', () => {
  it.each(pairs.map(pair => [pair.seed, pair.title, pair] as const))('%i: %s', async (_seed, _title, pair) => {
    const outcome = await night(pair)
    expect(await breaches(outcome, excuseOf(pair))).toEqual([])
    expect(['done', 'tripped', 'stopped']).toContain(outcome.run.state)
  })
})
