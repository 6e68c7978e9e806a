/** Draws whole nights by seed: parts, cadence, what is run, and what goes wrong when. The same seed gives the same night. */
import { SeededRandom } from '../src/base/random.ts'
import type { Cadence } from '../src/schema/bench.ts'
import type { Scenario } from '../mocks/bench/scenario.ts'
import { positionName, verdicts } from '../mocks/bench/scenario.ts'
import type { MakeOptions, PartKind } from '../mocks/parts/make-part.ts'
import type { NightStage } from './bad-night.ts'
import { troubles } from './troubles.ts'
import type { Strike, Trouble } from './troubles.ts'

export interface Stroke {
  trouble: Trouble
  strike: Strike | null
  /** When it strikes, for those at any time of a run: so long after the last run reaches this stage. */
  stage: NightStage
  afterMs: number
}
export interface PlannedRun { sequence: string; parameters: Record<string, unknown> }
export interface PlannedNight { seed: number; scenario: Scenario; cadence: Cadence; runs: PlannedRun[]; strokes: Stroke[]; title: string }

interface Rating {
  profile: string; voltageV: number; capacitanceF: number
  /** Where the can could not shed what a failed part turns to heat at its rating. */
  targetV?: number
}
const ratings: readonly Rating[] = [
  { profile: 'al-450v-47u-general', voltageV: 450, capacitanceF: 47e-6 },
  { profile: 'al-450v-32u-vintage', voltageV: 450, capacitanceF: 32e-6 },
  { profile: 'al-350v-100u-general', voltageV: 350, capacitanceF: 100e-6 },
  { profile: 'al-350v-50u-vintage', voltageV: 350, capacitanceF: 50e-6 },
  { profile: 'al-50v-100u-axial', voltageV: 50, capacitanceF: 100e-6 },
]
/** Where the bus stands longest, most strikes. */
const spans: readonly (readonly [NightStage, number])[] = [
  ['checking', 1], ['polarity', 1], ['forming', 4], ['soaking', 10], ['formal', 4], ['watching', 2], ['measuring', 1],
  ['bleeding', 1],
]
/** Readings that the long soak may cost, of the 10,000 of a whole night, where nothing long goes before it. */
const soakReadings = 5000
/** Readings that a bench check takes at most: it follows one part after the other down, and all are read meanwhile. */
const checkReadings = (capacitanceF: number, count: number): number => 700 + 2e6 * capacitanceF * count ** 2
/** A part that charges takes this share of what it is dropped at. */
const chargeShare = 0.15

export function drawNight(seed: number): PlannedNight {
  const random = new SeededRandom(`campaign night ${seed}`)
  const rating = random.pick(ratings)
  const count = random.integer(1, 4)
  const faults = pickWeighted(random, [[0, 30], [1, 35], [2, 23], [3, 12]])
  const chosen = choose(random, faults)
  const cadence = cadenceOf(random)
  const share = random.uniform(0.9, 1.1) * roomFor(chosen)
  const runs = runsOf(random, rating, count, taken => Math.round(share * (soakReadings - taken) / readingsPerS(cadence, count)))
  // What is not formed in steps has been formed before.
  const staleShare = runs.some(({ sequence }) => sequence === 'reform') ? 0.35 : 0
  const scenario = rackOf(seed, rating, kindsOf(count, chosen, staleShare, random.fork('kinds')), random.fork('parts'))
  const setting = { random, targetV: rating.targetV ?? rating.voltageV, positions: scenario.parts.map(({ position }) => position) }
  const strokes = chosen.map((trouble): Stroke => {
    const [stage, afterMs] = when(random, runs[runs.length - 1]!)
    return { trouble, strike: trouble.strike?.(setting) ?? null, stage, afterMs }
  })
  return { seed, scenario: { ...scenario, cadence: { ...cadence } }, cadence, runs, strokes, title: titleOf(rating, count, runs, strokes) }
}

/**
 * A night that is continued after a kill reads much of it twice, one with a part that takes long over every step climbs for
 * hours, and a part that shorts is followed down often.
 */
function roomFor(chosen: readonly Trouble[]): number {
  if (chosen.some(({ excuse, kind }) => excuse?.killed || kind === 'very-stale part' || kind === 'hopeless-leaky part')) return 0.85
  return chosen.length > 1 && chosen.some(({ kind }) => kind === 'shorting part') ? 0.96 : 1
}

function titleOf({ profile }: Rating, count: number, runs: readonly PlannedRun[], strokes: readonly Stroke[]): string {
  const wrong = strokes.map(({ trouble, stage, afterMs }) =>
    trouble.at === 'run' ? `${trouble.kind} in ${stage} after ${(afterMs / 1000).toFixed(0)} s` : trouble.kind)
  return `${count} × ${profile}, ${runs.map(({ sequence }) => sequence).join(' + ')}: ${wrong.length > 0 ? wrong.join(', ') : 'nothing wrong'}`
}

function choose(random: SeededRandom, count: number): Trouble[] {
  const chosen: Trouble[] = []
  while (chosen.length < count) {
    const one = pickWeighted(random, troubles.map(trouble => [trouble, trouble.weight] as const))
    if (!chosen.includes(one)) chosen.push(one)
  }
  return chosen
}

function kindsOf(count: number, chosen: readonly Trouble[], staleShare: number, random: SeededRandom): PartKind[] {
  const kinds = Array.from({ length: count }, (): PartKind => random.next() < staleShare ? 'stale' : 'healthy')
  chosen.filter(({ part }) => part !== undefined).forEach(({ part }, i) => { kinds[i % count] = part! })
  // Where the bad part sits is drawn too.
  for (let i = kinds.length - 1; i > 0; i--) {
    const j = random.integer(0, i)
    ;[kinds[i], kinds[j]] = [kinds[j]!, kinds[i]!]
  }
  return kinds
}

function rackOf(seed: number, rating: Rating, kinds: readonly PartKind[], random: SeededRandom): Scenario {
  return {
    name: `campaign-${kinds.length}`, description: 'a rack of the campaign, simulated', seed,
    rated: { voltageV: rating.voltageV, capacitanceF: rating.capacitanceF }, partProfile: rating.profile, dummyOhm: 100e6,
    ambientC: Math.round(random.uniform(17, 22)),
    parts: kinds.map((kind, i) => ({
      position: positionName(i), id: `C-${String(i + 1).padStart(2, '0')}`, kind, options: optionsOf(kind, random), ...verdicts[kind],
    })),
  }
}

const optionsOf = (kind: PartKind, random: SeededRandom): MakeOptions =>
  kind === 'stale' ? { depth: random.uniform(0, 0.6) } : kind === 'bad-contact' ? { intermittent: random.next() < 0.5 } : {}

/** Slow while all is quiet, quicker while anything moves. */
function cadenceOf(random: SeededRandom): Cadence {
  return {
    busMs: 3000, busQuietMs: 1000 * random.integer(15, 24), sweepMs: 5000, sweepQuietMs: 1000 * random.integer(45, 75),
    temperatureMs: 90_000,
  }
}

const readingsPerS = (c: Cadence, count: number): number =>
  1000 * (2.2 / c.busQuietMs + count / c.sweepQuietMs + count / c.temperatureMs)

/** `soakS`: how long the last run may soak where the one before it takes so many readings, s. */
function runsOf(
  random: SeededRandom, { voltageV, capacitanceF, targetV }: Rating, count: number, soakS: (taken: number) => number,
): PlannedRun[] {
  const slewVPerS = Math.min(5, Math.max(0.05, chargeShare * voltageV / 101e3 / (1.5 * capacitanceF)))
  const forming = {
    slewVPerS: Number(slewVPerS.toPrecision(3)), stepShare: 0.25, fineStepShare: 0.25, minStepS: 300, maxStepS: 7200, watchS: 120, soakS: soakS(0),
    ...(targetV === undefined ? {} : { targetV }),
  }
  const reform = { sequence: 'reform', parameters: forming }
  const soak = { sequence: 'leakage-soak', parameters: forming }
  const first = { sequence: 'capacitor-check', parameters: {} }
  const empty = { sequence: 'discharge', parameters: { watchS: 120 } }
  const check = { sequence: 'bench-check', parameters: {} }
  const checked = { sequence: 'reform', parameters: { ...forming, soakS: soakS(checkReadings(capacitanceF, count)) } }
  const stubborn = { sequence: 'stubborn', parameters: { ...forming, soakS: 3600 } }
  return pickWeighted<PlannedRun[]>(random, [
    [[reform], 55], [[first, reform], 12], [[soak], 12], [[empty, soak], 6], [[check, checked], 10], [[stubborn], 5],
  ])
}

/** A stage that its run comes to, and a time in it. */
function when(random: SeededRandom, { sequence, parameters }: PlannedRun): [NightStage, number] {
  const reached = spans.filter(([stage]) => sequence === 'reform' || stage !== 'forming')
  const stage = sequence === 'stubborn' ? 'soaking' : pickWeighted(random, reached)
  const spanS: Record<NightStage, number> = {
    checking: 4, polarity: 40, forming: 1500, soaking: sequence === 'stubborn' ? 3000 : Number(parameters['soakS']), formal: 240, bleeding: 15, watching: 100, measuring: 3,
  }
  return [stage, Math.round(1000 * random.uniform(0, spanS[stage]))]
}

function pickWeighted<T>(random: SeededRandom, items: readonly (readonly [T, number])[]): T {
  let left = random.next() * items.reduce((sum, [, weight]) => sum + weight, 0)
  for (const [item, weight] of items) {
    left -= weight
    if (left < 0) return item
  }
  return items[items.length - 1]![0]
}
