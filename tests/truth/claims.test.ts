/**
 * Claims of units whose true figures are known here: are they judged right as often as predicted? Exact tests
 * of counts, each trial with its own chance.
 */
import { describe, expect, it } from 'vitest'
import { binomialTestTwoSided, poissonBinomialTestTwoSided } from '../../src/analysis/binomial.ts'
import { normalCdf, normalQuantile } from '../../src/analysis/distributions.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { judgeClaim } from '../../src/claims/judge.ts'
import { readClaim } from '../../src/claims/read.ts'
import type { Claim, ClaimVerdict } from '../../src/schema/claims.ts'
import { figureUnits, type Figure } from '../../src/schema/figure.ts'

const pFails = 0.001

interface Trial {
  readonly verdict: ClaimVerdict
  readonly isTrue: boolean
  /** Chances of what it is said to be, from the true figures. */
  readonly met: number
  readonly notMet: number
}

/** Bounds on one side or both, of each sort of unit; u is small beside the bound, as an instrument is good for. */
const words = [
  '40 W into 8 Ω at 1 % THD, 1 kHz', 'THD at most 0.5 % at 1 W, 1 kHz', 'noise at most 1 mV, unweighted', 'separation 45 dB at 1 kHz', 'gain 34 dB ± 1 dB, 1 kHz',
  'DC at the output under 50 mV', '20 Hz to 20 kHz +0.5/-1 dB', 'damping factor 20 at 1 kHz, 8 Ω', 'lower limit of response at most 20 Hz',
]
const claims = words.map((one): Claim => {
  const read = readClaim(one)
  if (!read.ok) throw new Error(one)
  return read.claims[0]!
})

const boundOf = ({ least, most }: Claim, random: SeededRandom): number =>
  least === undefined ? most! : most === undefined ? least : random.pick([least, most])
const scaleOf = ({ least, most }: Claim): number => least !== undefined && most !== undefined ? most - least : (least ?? most)!

/** True figures flat about a bound, read with normal errors of `u`, which is told as `told * u`. */
function trial(claim: Claim, random: SeededRandom, told: number, places: readonly { channel: string; frequencyHz?: number }[]): Trial {
  const u = 0.02 * scaleOf(claim)
  const bound = boundOf(claim, random)
  const k = normalQuantile(0.95 ** (1 / places.length))
  const drawn = places.map(({ channel, frequencyHz }) => {
    const truth = bound + random.uniform(-6, 6) * u
    const room = Math.min(truth - (claim.least ?? -Infinity), (claim.most ?? Infinity) - truth) / u
    const figure: Figure = {
      quantity: claim.quantity, unit: figureUnits[claim.quantity], value: truth + u * random.normal(), u: told * u, notes: [],
      channel, conditions: { ...claim.conditions, ...frequencyHz && { frequencyHz } },
    }
    return { room, figure }
  })
  const product = (chance: (room: number) => number): number => drawn.reduce((all, { room }) => all * chance(room), 1)
  return {
    verdict: judgeClaim({ words: '', claim }, drawn.map(({ figure }) => figure), [...new Set(places.map(({ channel }) => channel))]),
    isTrue: drawn.every(({ room }) => room >= 0),
    met: product(room => normalCdf(room - k)), notMet: 1 - product(room => 1 - normalCdf(-room - k)),
  }
}

const test = (all: readonly Trial[], seen: (one: Trial) => boolean, chance: (one: Trial) => number): number =>
  all.length === 0 ? 1 : poissonBinomialTestTwoSided(all.filter(seen).length, all.map(chance))

/** p values of everything that is predicted. */
function tests(all: readonly Trial[]): Record<string, number> {
  const isMet = ({ verdict }: Trial): boolean => verdict.end === 'met'
  const isNotMet = ({ verdict }: Trial): boolean => verdict.end === 'not met'
  const strata = [[0, 0.05], [0.05, 0.25], [0.25, 0.5], [0.5, 0.75], [0.75, 0.95], [0.95, 1.1]] as const
  return {
    'met wrongly': test(all.filter(one => !one.isTrue), isMet, one => one.met),
    'met rightly': test(all.filter(one => one.isTrue), isMet, one => one.met),
    'refuted wrongly': test(all.filter(one => one.isTrue), isNotMet, one => one.notMet),
    'refuted rightly': test(all.filter(one => !one.isTrue), isNotMet, one => one.notMet),
    ...Object.fromEntries(strata.map(([from, to]) => {
      const within = all.filter(({ verdict: { pConform } }) => pConform >= from && pConform < to)
      return [`true with probability from ${from}`, test(within, one => one.isTrue, one => one.verdict.pConform)]
    })),
  }
}
const failures = (all: readonly Trial[]): string[] => Object.entries(tests(all)).filter(([, p]) => !(p > pFails)).map(([name]) => name)

const one = [{ channel: 'left' }]
const several = ['left', 'right'].flatMap(channel => [20, 1000, 20e3].map(frequencyHz => ({ channel, frequencyHz })))
const study = (count: number, told: number): Trial[] => {
  const random = new SeededRandom('claims of 1974')
  return Array.from({ length: count }, (_, i) => trial(claims[i % claims.length]!, random, told, one))
}

describe('claims held against what is true', () => {
  it('are judged right, and true, as often as predicted', () => {
    const all = study(3600, 1)
    expect(failures(all)).toEqual([])
    expect(all.filter(({ verdict }) => verdict.end === 'met').length).toBeGreaterThan(1000)
  })
  it('would be found out if half the uncertainty were claimed', () => {
    expect(failures(study(3600, 0.5))).toEqual(expect.arrayContaining(['met wrongly', 'refuted wrongly']))
  })
  it('of several channels and frequencies as often as one', () => {
    const random = new SeededRandom('claims of several')
    const [claim] = [readClaim('THD at most 0.5 % at 1 W, 20 Hz to 20 kHz')].map(read => read.ok ? read.claims[0]! : null)
    const all = Array.from({ length: 3000 }, () => trial(claim!, random, 1, several))
    for (const { verdict } of all) expect(verdict.figures).toHaveLength(6)
    expect(failures(all).filter(name => !name.startsWith('true'))).toEqual([])
  })
  it('that all their figures just meet are refuted one time in twenty, however many figures there are', () => {
    const random = new SeededRandom('just met')
    const read = readClaim('THD at most 0.5 % at 1 W, 20 Hz to 20 kHz')
    const claim = read.ok ? read.claims[0]! : null
    for (const places of [several.slice(0, 3), several]) {
      const count = 2000
      const refuted = Array.from({ length: count }, () => judgeClaim({ words: '', claim: claim! }, places.map(({ channel, frequencyHz }): Figure => ({
        quantity: 'thd', unit: '1', channel, value: 0.005 + 1e-4 * random.normal(), u: 1e-4, notes: [], conditions: { ...claim!.conditions, frequencyHz },
      })), [...new Set(places.map(({ channel }) => channel))])).filter(({ end }) => end === 'not met').length
      expect(binomialTestTwoSided(refuted, count, 0.05), `${refuted} of ${count}`).toBeGreaterThan(pFails)
    }
  })
})
