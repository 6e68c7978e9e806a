/**
 * A lot of which a sample alone is measured: which plan, which parts, and what their grades say of the lot.
 * Parts that were not measured have no grade, whatever becomes of the lot. Pure.
 */
import { acceptanceOfLot } from '../analysis/lots/sampling-curve.ts'
import { planForLot } from '../analysis/lots/sampling.ts'
import {
  firstSwitchingState, restartedSwitching, switchingStep, type SwitchingState,
} from '../analysis/lots/switching.ts'
import { BenchError } from '../base/errors.ts'
import { SeededRandom } from '../base/random.ts'
import type { Grade } from '../schema/run.ts'
import type { LotOutcome, SampleAsked, SampleDrawn } from '../schema/sampling.ts'

/** What the record says of a source: how it is inspected now. */
export interface Inspected { readonly inspection: SampleDrawn['inspection']; readonly lots: string }
export const uninspected: Inspected = { inspection: firstSwitchingState.severity, lots: '' }

/**
 * Draws a sample of a lot. `names`: its parts in the order of reel or drawer; `seed` is used where none is
 * asked for. REFUSED while inspection of the source is stopped, USAGE for a mended source that was not.
 */
export function drawSample(
  names: readonly string[], asked: SampleAsked, before: Inspected,
  { seed, original }: Pick<SampleDrawn, 'seed' | 'original'>,
): SampleDrawn {
  const { inspection, lots } = inForce(asked, before)
  const severity = inspection === 'stopped' ? 'tightened' : inspection
  const plan = planForLot(names.length, asked.aql, severity, asked.level)
  const used = asked.seed ?? seed
  return {
    source: asked.source, level: asked.level, aql: asked.aql, inspection, letter: plan.letter, lots,
    lotSize: names.length, n: plan.n, ac: plan.ac, re: plan.re, seed: used, original,
    drawn: drawn(names, plan.n, used), steady: asked.steady, reducedLimit: asked.reducedLimit ?? null,
    mended: asked.mended ?? null,
    curve: curveOf(names.length, plan.n, mostAccepted({ ...plan, inspection })),
  }
}

function inForce({ mended, source }: SampleAsked, before: Inspected): Inspected {
  if (before.inspection === 'stopped') {
    if (mended !== undefined) return { inspection: restartedSwitching.severity, lots: '' }
    throw new BenchError('REFUSED', `inspection of ${source} is stopped: ten lots in a row were tightened`, {
      expected: 'what was put right at the source', got: 'nothing said',
    })
  }
  if (mended === undefined) return before
  throw new BenchError('USAGE', 'a source is mended whose inspection was stopped', {
    expected: 'stopped inspection', got: `${before.inspection} inspection of ${source}`,
  })
}

/** The first n of a seeded shuffle, in the order in which hands find them. */
function drawn(names: readonly string[], n: number, seed: string): string[] {
  const random = new SeededRandom(seed)
  const places = names.map((_, i) => i)
  for (let i = places.length - 1; i > 0; i--) {
    const j = random.integer(0, i)
    ;[places[i], places[j]] = [places[j]!, places[i]!]
  }
  return places.slice(0, n).sort((a, b) => a - b).map(i => names[i]!)
}

/** On reduced inspection a lot between the two numbers is accepted, and normal inspection follows. */
const mostAccepted = ({ ac, re, inspection }: Pick<SampleDrawn, 'ac' | 're' | 'inspection'>): number =>
  inspection === 'reduced' ? re - 1 : ac

const curvePoints = 200

/** Chance of acceptance from a lot without bad parts to one that is hardly ever accepted. */
function curveOf(lotSize: number, n: number, ac: number): SampleDrawn['curve'] {
  const step = Math.max(1, Math.floor(lotSize / curvePoints))
  const curve: SampleDrawn['curve'] = []
  for (let bad = 0; bad <= lotSize; bad += step) {
    const accepted = acceptanceOfLot(bad, lotSize, n, ac)
    curve.push({ bad, accepted })
    if (accepted < 1e-3) break
  }
  return curve
}

export interface LotJudged {
  readonly outcome: LotOutcome
  readonly bad: number
  /** Measured and not told, or not measured yet. */
  readonly open: number
  /** Of those that were drawn. */
  readonly measured: number
  /** What is in force for the next lot of the source; null where this one is open or does not count. */
  readonly after: Inspected | null
  /** Why inspection changed; null where it did not. */
  readonly change: string | null
}

/**
 * By the grades of the parts that were drawn. A part counts as bad when it was rejected; one that could not
 * be told, or was not measured, leaves the lot undecided where it would turn the scale.
 */
export function judgeLot(sample: SampleDrawn, grades: ReadonlyMap<string, Grade>): LotJudged {
  const found = sample.drawn.map(name => grades.get(name))
  const bad = found.filter(grade => grade === 'reject').length
  const open = found.filter(grade => grade !== 'reject' && grade !== 'accept').length
  const most = mostAccepted(sample)
  const measured = found.filter(grade => grade !== undefined).length
  const counts = { bad, open, measured }
  if (measured < found.length || (bad <= most && bad + open > most)) {
    return { outcome: 'undecided', ...counts, after: null, change: null }
  }
  const outcome = bad <= most ? 'accepted' : 'refused'
  if (!sample.original) return { outcome, ...counts, after: null, change: null }
  const { state, reason } = switchingStep(stateOf(sample), {
    bad, ac: sample.ac, re: sample.re, steady: sample.steady,
    ...sample.reducedLimit === null ? {} : { reducedLimit: sample.reducedLimit },
  })
  return {
    outcome, ...counts, change: reason ?? null,
    after: {
      inspection: state.severity,
      lots: state.lots.map(one => `${one.bad}${one.accepted ? 'a' : 'r'}`).join(' '),
    },
  }
}

const stateOf = ({ inspection, lots }: Inspected): SwitchingState => ({
  severity: inspection,
  lots: lots.split(' ').filter(Boolean).map(text => ({
    bad: Number.parseInt(text, 10), accepted: text.endsWith('a'),
  })),
})
