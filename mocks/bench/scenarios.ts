/** The demo's rack, and plain racks for campaigns. */
import { SeededRandom } from '../../src/base/random.ts'
import type { MakeOptions, PartKind } from '../parts/make-part.ts'
import { positionName, verdicts, type Scenario, type ScenarioPart } from './scenario.ts'

const cans = { voltageV: 450, capacitanceF: 47e-6 } as const
type Draft = readonly [kind: PartKind, options: MakeOptions]

/**
 * The Saltmarsh Pavilion's public-address rack of 1974: ten reservoir and smoothing cans, 450 V 47 µF, from
 * the valve amplifiers that spoke over the bandstand until the winter the sea came in. The seed decides which
 * sits where.
 */
export function scenarioPavilion(seed: number): Scenario {
  const random = new SeededRandom(seed).fork('pavilion')
  const drafts: Draft[] = [
    ['healthy', {}], ['healthy', {}],
    ['stale', { depth: 0.1 }], ['stale', { depth: 0.45 }], ['stale', { depth: 0.8 }],
    ['very-stale', { truth: anotherNight(random) }], ['hopeless-leaky', {}], ['dried-out', {}],
    ['shorting', { atFraction: 0.7, afterS: random.uniform(120, 600), toOhm: random.uniform(200, 2000) }],
    ['bad-contact', { contactAtS: random.uniform(3000, 5400) }],
  ]
  return {
    name: 'saltmarsh-pavilion',
    description: 'The Saltmarsh Pavilion public-address rack, 1974: ten smoothing cans, all simulated',
    seed, rated: cans, partProfile: 'al-450v-47u-general', dummyOhm: 100e6, ambientC: 21,
    parts: placed(shuffled(drafts, random), 'SP74'),
    cadence: { busMs: 1000, busQuietMs: 2000, sweepMs: 5000, sweepQuietMs: 30_000, temperatureMs: 60_000 },
  }
}

/** So far gone that eight hours through the limiting resistor bring it to half of rated voltage or so. */
function anotherNight(random: SeededRandom): NonNullable<MakeOptions['truth']> {
  return {
    weakFraction: random.uniform(0.018, 0.024), growthEfficiency: random.uniform(0.4, 0.5),
    formingV: cans.voltageV * random.uniform(0.16, 0.2),
  }
}

/**
 * A rack of `count` cans, sound but for the given fractions; with usual cadence. For campaigns and
 * benchmarks.
 */
export function scenarioHealthyRack(
  count: number, seed: number, { staleFraction = 0.3, veryStaleFraction = 0 } = {},
): Scenario {
  const random = new SeededRandom(seed).fork('rack')
  const drafts = Array.from({ length: count }, (): Draft => {
    const x = random.next()
    if (x < staleFraction) return ['stale', { depth: random.uniform(0, 0.8) }]
    return x < staleFraction + veryStaleFraction ? ['very-stale', {}] : ['healthy', {}]
  })
  return {
    name: `rack-${count}`, description: `A rack of ${count} simulated cans`, seed, rated: cans,
    partProfile: 'al-450v-47u-general', dummyOhm: 100e6, ambientC: 21, parts: placed(drafts, 'R'),
  }
}

function placed(drafts: readonly Draft[], prefix: string): ScenarioPart[] {
  return drafts.map(([kind, options], index) => ({
    position: positionName(index), id: `${prefix}-${String(index + 1).padStart(2, '0')}`, kind, options,
    ...verdicts[kind],
  }))
}

function shuffled<T>(items: readonly T[], random: SeededRandom): T[] {
  const list = [...items]
  for (let i = list.length - 1; i > 0; i--) {
    const j = random.integer(0, i)
    ;[list[i], list[j]] = [list[j]!, list[i]!]
  }
  return list
}
