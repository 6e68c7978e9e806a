/**
 * A transformer of more than two windings, or with taps: two parts of windings at a time, the person moves
 * the leads in between. Every part is held against the first winding by its turns, phase, copper and leakage;
 * parts of one winding that should be alike are held against each other.
 */
import type { Jig } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { Limit, RatedLoad, Transformer, Wound } from '../to-prove.ts'
import type { Guide } from './guide.ts'
import { leadsMoved } from './leads-moved.ts'
import { regulationAt } from './regulation.ts'
import { measurePair, recordedWords, type MeasuredPair } from './transformer.ts'
import type { Quantity } from './winding-core.ts'
import { moveTo, nameOf, passesOf, type Pass, type Stretch } from './winding-passes.ts'
import { findWindings, mostWindingOhm } from './windings.ts'

/** A part of a winding, measured. */
interface Known {
  readonly stretch: Stretch
  readonly copper: Quantity
  /** Turns over those of the winding that it was measured against. */
  readonly turns: Quantity
  readonly share: Quantity | null
  readonly isTurned: boolean | null
}
interface Begun {
  readonly pair: MeasuredPair
  readonly pass: Pass
  readonly known: Known
}

export async function proveWound(jig: Jig, part: Transformer, wound: Wound, guide: Guide): Promise<Proof> {
  const passes = passesOf(wound.windings)
  const done: Begun[] = []
  for (const [i, pass] of passes.entries()) {
    if (i > 0) {
      const failed = await moved(jig, guide, passes[i - 1]!, pass)
      if (failed) return { ...failed, figures: figuresOf(done) }
    }
    const pair = await pairOf(jig, part, wound, pass, guide)
    if ('fault' in pair) return named(pair, nameOf(pass.other), figuresOf(done))
    done.push({ pair, pass, known: knownOf(pair, pass) })
  }
  return together(part, wound, done)
}

async function moved(jig: Jig, guide: Guide, before: Pass, pass: Pass): Promise<Proof | null> {
  const leads = await leadsMoved(jig, guide, moveTo(before, pass), mostWindingOhm)
  const name = nameOf(pass.other)
  if (leads === 'kept on') return faulty('cannot tell', `nobody moved the leads to ${name}`)
  return leads === 'open' ? faulty('open', `${name} never conducted: it is open, or no lead is on it`) : null
}

async function pairOf(
  jig: Jig, part: Transformer, wound: Wound, pass: Pass, guide: Guide,
): Promise<MeasuredPair | Proof & { readonly fault: NonNullable<Proof['fault']> }> {
  const pairs = await findWindings(jig)
  const failed = (is: 'open' | 'other kind', says: string) => ({ ...faulty(is, says), fault: { is, says } })
  if ('fault' in pairs) return failed(pairs.fault, pairs.says)
  const [one, other] = pairs
  if (one.high !== 1 || one.low !== 2 || other.high !== 3)
    return failed('other kind', 'windings do not lie where the leads were said to go')
  return measurePair(jig, { ...part, ratio: ratioOf(wound, pass), henry: henryOf(part, pass) }, pairs, guide)
}

/** Turns of the larger of both over those of the smaller, as is asked. */
export function ratioOf({ below, above, source }: Wound, { one, other }: Pass): Transformer['ratio'] {
  const wanted = other.turns / one.turns
  const isMore = wanted >= 1
  // What is held against a winding other than the first has that one's deviation the other way round.
  const [less, more] = one.winding === 1 ? [1 - below, 1 + above] : [1 / (1 + above), 1 / (1 - below)]
  const nominal = isMore ? wanted : 1 / wanted
  return {
    nominal, source: `${nameOf(other)}: ${source}`,
    low: nominal * (isMore ? less : 1 / more), high: nominal * (isMore ? more : 1 / less),
  }
}

/** The list says it of the first winding, and the bridge reads it where that one has more turns. */
const henryOf = ({ henry }: Transformer, { one, other }: Pass): Limit | null =>
  one.winding === 1 && other.winding === 2 && other.from === 0 && one.turns >= other.turns ? henry : null

function knownOf({ ratio, high, copper, share, isTurned }: MeasuredPair, { other }: Pass): Known {
  const isHigh = high.pair.high === 3
  const turns = isHigh ? ratio : { value: 1 / ratio.value, u: ratio.u / ratio.value ** 2 }
  return { stretch: other, turns, copper: isHigh ? copper.high : copper.low, share, isTurned }
}

const named = (proof: Proof & { readonly fault: NonNullable<Proof['fault']> }, name: string,
  figures: Proof['figures']): Proof =>
  ({ ...proof, figures, fault: { ...proof.fault, says: `${name}: ${proof.fault.says}` } })

// ---- what all passes come to ----

function together(part: Transformer, wound: Wound, done: readonly Begun[]): Proof {
  const known = done.map(one => one.known)
  const halves = halvesOf(wound, known)
  const opposing = opposingOf(known)
  if (opposing) return faulty('other kind', opposing, figuresOf(done))
  const regulation = part.rated ? regulationOf(part.rated, done) : { findings: [], figures: {}, notes: [] }
  const findings = done.flatMap(one => findingsOf(one, one === done[0]))
  const ratios = findings.filter(({ name }) => name === 'turns ratio')
  const others = findings.filter(({ name }) => name !== 'turns ratio')
  const turned = [...new Set(known.flatMap(({ isTurned, stretch }) => isTurned ? [stretch.winding] : []))]
  const unphased = known.flatMap(({ isTurned, stretch }) => isTurned === null ? [nameOf(stretch)] : [])
  const proof = found([...ratios, ...halves, ...others, ...regulation.findings],
    { ...figuresOf(done), ...regulation.figures }, [
      ...unphased.length > 0 ? [`which end is in phase was not found of ${unphased.join(', ')}`] : [],
      ...done.some(({ pair }) => pair.share === null) ? ['its leakage inductance was not all measured'] : [],
      ...regulation.notes, recordedWords(part),
    ])
  return turned.length === 0 ? proof : {
    ...proof, fault: { is: 'reversed', says: `winding ${turned.join(' and ')} lies the other way round` },
  }
}

/** The ratio as it was asked for: below 1 where the smaller one was said to be the larger. */
function findingsOf({ pair, pass: { one, other }, known: { turns } }: Begun, isFirst: boolean): Finding[] {
  const isMore = other.turns >= one.turns
  const ratio = isMore ? turns : { value: 1 / turns.value, u: turns.u / turns.value ** 2 }
  const kept = pair.findings.filter(({ name }) => isFirst || !onceNames.has(name))
  return kept.map(finding => finding.name === 'turns ratio' ? { ...finding, measured: ratio }
    : finding.name === 'winding leakage' || finding.name === 'leakage inductance'
      ? { ...finding, limit: { ...finding.limit, source: `${nameOf(other)}: ${finding.limit.source}` } }
      : finding)
}
/** Of the core, which is one. */
const onceNames = new Set<Finding['name']>(['quality factor', 'inductance', 'winding resistance'])

/** Neighbours that the list has alike: like the halves of a winding with a tap in its middle. */
function halvesOf({ halves }: Wound, known: readonly Known[]): Finding[] {
  return known.flatMap((one, i) => {
    const next = known[i + 1]
    if (!next || next.stretch.winding !== one.stretch.winding || next.stretch.turns !== one.stretch.turns)
      return []
    const value = one.turns.value / next.turns.value
    const u = value * Math.hypot(one.turns.u / one.turns.value, next.turns.u / next.turns.value)
    return [{
      name: 'halves of a winding', measured: { value, u }, unit: '1',
      limit: { ...halves, source: `winding ${one.stretch.winding}: ${halves.source}` },
      conditions: `turns ${nameOf(one.stretch)} over those that follow`,
    }]
  })
}

/** Parts of one winding that work against each other, in words. */
function opposingOf(known: readonly Known[]): string | null {
  for (const { stretch, isTurned } of known) {
    const other = known.find(one => one.stretch.winding === stretch.winding && one.isTurned === !isTurned)
    if (isTurned !== null && other)
      return `parts of winding ${stretch.winding} work against each other: its leads are not as marked`
  }
  return null
}

function figuresOf(done: readonly Begun[]): Record<string, number> {
  const [first] = done
  const figures: Record<string, number> = {}
  if (!first) return figures
  const { high, low, copper } = first.pair
  figures['firstH'] = (high.pair.high === 1 ? high : low).at.henry.value
  figures['ohm20C, winding 1'] = (high.pair.high === 1 ? copper.high : copper.low).value
  for (const { pair, pass: { one, other }, known } of done) {
    const name = nameOf(other)
    figures[`turns, ${name} over winding ${one.winding}`] = known.turns.value
    figures[`ohm20C, ${name}`] = known.copper.value
    for (const key of ['leakageH', 'couplingFactor', 'betweenA'] as const) {
      if (pair.figures[key] !== undefined) figures[`${key}, ${name}`] = pair.figures[key]
    }
  }
  return { ...figures, airC: first.pair.figures['airC']! }
}

/** Copper of a winding is that of its parts; its leakage the middle of theirs. */
function regulationOf(rated: RatedLoad, done: readonly Begun[]): ReturnType<typeof regulationAt> {
  const { high, low, copper, frequencyHz } = done[0]!.pair
  const isHigh = high.pair.high === 1
  const others = rated.windingsV.slice(1).map((_, i) => {
    const parts = done.filter(({ known }) => known.stretch.winding === i + 2).map(({ known }) => known)
    const sum = (of: (part: Known) => number): number => parts.reduce((all, part) => all + of(part), 0)
    const shares = parts.flatMap(({ share }) => share ?? [])
    return {
      ohm: { value: sum(one => one.copper.value), u: Math.hypot(...parts.map(one => one.copper.u)) },
      share: shares.length < parts.length ? null : {
        value: sum(one => one.share!.value) / parts.length,
        u: Math.hypot(...shares.map(({ u }) => u)) / parts.length,
      },
    }
  })
  return regulationAt(rated, {
    first: { ohm: isHigh ? copper.high : copper.low, henry: (isHigh ? high : low).at.henry.value },
    others, measuredHz: frequencyHz,
  })
}
