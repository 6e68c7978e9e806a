/**
 * A transformer of two windings: which legs are a winding, their resistance brought to 20 °C, inductance and
 * loss of each on the bridge at one flux, ratio from both, phase and coupling from the windings in line, and
 * leakage inductance with the smaller one shorted. Insulation at voltage is never driven here: a look at
 * 20 V or less is no test of it.
 */
import { windingOhmAt, zeroResistanceC } from '../../analysis/devices/winding.ts'
import { formatSi } from '../../base/format.ts'
import { probing, type Jig, type Pair } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { RatedLoad, Transformer } from '../to-prove.ts'
import { inLine } from './coupled.ts'
import type { Guide } from './guide.ts'
import { nearestHz } from './reactive.ts'
import { withLeads } from './resistor.ts'
import { readSteady } from './steady.ts'
import { regulationAt } from './regulation.ts'
import { coreOf, type Failed, type Quantity, type Seen, type Winding } from './winding-core.ts'
import { levelsOf, usualLevelV, type BridgeLevels } from './winding-levels.ts'
import { findWindings, mostWindingOhm } from './windings.ts'

export async function proveTransformer(jig: Jig, part: Transformer, guide: Guide): Promise<Proof> {
  const pairs = await findWindings(jig)
  if ('fault' in pairs) return faulty(pairs.fault, pairs.says)
  const measured = await measurePair(jig, part, pairs, guide)
  if ('fault' in measured) return measured
  const regulation = part.rated ? regulationOf(part.rated, measured) : noRegulation
  const proof = found([...measured.findings, ...regulation.findings],
    { ...measured.figures, ...regulation.figures },
    [...measured.notes, ...regulation.notes, recordedWords(part)])
  return measured.isTurned === true
    ? { ...proof, fault: { is: 'reversed', says: 'its second winding lies the other way round' } } : proof
}

const noRegulation: Told = { findings: [], figures: {}, notes: [] }

/** The one with more turns is the one with more volts, whichever is called primary. */
function regulationOf(rated: RatedLoad, { high, low, copper, share, frequencyHz }: MeasuredPair): Told {
  const [firstV, secondV] = rated.windingsV as [number, number]
  const isFirstHigh = firstV >= secondV
  const of = (isHigh: boolean): { ohm: Quantity; henry: number } =>
    ({ ohm: isHigh ? copper.high : copper.low, henry: (isHigh ? high : low).at.henry.value })
  return regulationAt(rated, {
    first: of(isFirstHigh), others: [{ ...of(!isFirstHigh), share }], measuredHz: frequencyHz,
  })
}

/** What two windings are to each other, whichever part of a transformer they are. */
export interface MeasuredPair extends Told {
  readonly high: Winding
  readonly low: Winding
  readonly frequencyHz: number
  /** Turns of the high one over those of the low one. */
  readonly ratio: Quantity
  /** Leakage as a share of the inductance; null where nobody joined the legs. */
  readonly share: Quantity | null
  /** At 20 °C. */
  readonly copper: { readonly high: Quantity; readonly low: Quantity }
  /** Legs 1 and 3 are not in phase, where windings lie from 1 to 2 and from 3 to 4; null: not found. */
  readonly isTurned: boolean | null
}
type Failure = Proof & { readonly fault: NonNullable<Proof['fault']> }
const failing = (is: 'open' | 'short' | 'poor contact' | 'other kind' | 'cannot tell', says: string,
  figures: Record<string, number> = {}): Failure => ({ ...faulty(is, says, figures), fault: { is, says } })

/** With findings of ratio, core, copper, leakage and of what leaks between both. */
export async function measurePair(
  jig: Jig, part: Transformer, pairs: Both<Pair>, guide: Guide,
): Promise<MeasuredPair | Failure> {
  const levels = levelsOf(part, part.ratio.nominal, jig.reach)
  if (levels === null) return failing('cannot tell', 'the bridge would step up to more than a hand may touch')
  const ohms: Winding['ohm'][] = []
  for (const pair of pairs) {
    const ohm = await ohmOf(jig, pair)
    if (typeof ohm === 'string') return failing('poor contact', ohm)
    ohms.push(ohm)
  }
  const seen = await onBridge(jig, part, pairs, [ohms[0]!, ohms[1]!], levels)
  if ('says' in seen) return failing(seen.fault, seen.says)
  const { value: quality, u } = seen.high.at.quality
  if (quality + 2 * u < (part.quality.low ?? 0) / 2) {
    const share = quality.toPrecision(2)
    return failing('short', `turns are shorted: its reactance is only ${share} times its loss`,
      { quality, ratio: Math.sqrt(seen.high.at.henry.value / seen.low.at.henry.value) })
  }
  return characterise(jig, part, seen, guide)
}

/** A winding whose ohms move is no winding yet: what moves beyond this many times the first reading too. */
const rangeRoom = 5

async function ohmOf(jig: Jig, pair: Pair): Promise<Winding['ohm'] | string> {
  const wires = jig.reach.ohms!.wires.includes(4) ? 4 : 2
  const first = await jig.resistance(pair, { mostOhm: mostWindingOhm, wires })
  const mostOhm = Math.min(mostWindingOhm, Math.max(1, rangeRoom * first.value))
  const { value, u, moved, isSteady, quality } =
    await readSteady(() => jig.resistance(pair, { mostOhm, wires }))
  if (quality === 'good' && isSteady) return { value: Math.abs(value), u: withLeads(jig, pair, u, wires) }
  const by = quality === 'good' ? `by ${formatSi(moved, 'Ω', 3)}` : `beyond ${formatSi(mostOhm, 'Ω', 3)}`
  return `the winding from leg ${pair.high} to leg ${pair.low} moved ${by} while it was read: a poor contact`
}

/** The first of these at which the larger winding has this much reactance, Hz and ohms (common practice). */
const frequenciesHz = [120, 1000, 10_000] as const
const reactanceLeastOhm = 30

type Both<T> = readonly [T, T]

async function onBridge(
  jig: Jig, part: Transformer, pairs: Both<Pair>, ohms: Both<Winding['ohm']>, levels: BridgeLevels,
): Promise<Seen | Failed> {
  for (const wanted of frequenciesHz) {
    const frequencyHz = nearestHz(wanted, jig.reach)
    // At first nobody knows which winding has more turns; at its own share of the level it is read again.
    const rough = []
    for (const [i, pair] of pairs.entries()) {
      const core = coreOf(await jig.impedance(pair, { frequencyHz, levelV: levels.eachV }), ohms[i]!)
      if ('says' in core) return core
      rough.push(core)
    }
    const isFirst = rough[0]!.henry.value >= rough[1]!.henry.value
    const more = isFirst ? rough[0]! : rough[1]!
    const reactance = 2 * Math.PI * frequencyHz * more.henry.value
    if (reactance < reactanceLeastOhm && wanted !== frequenciesHz.at(-1)) continue
    const [h, l] = isFirst ? [0, 1] as const : [1, 0] as const
    const inOrder = { pairs: [pairs[h], pairs[l]], ohms: [ohms[h], ohms[l]] } as const
    return atOneFlux(jig, part, { ...inOrder, frequencyHz, levels })
  }
  return { fault: 'cannot tell', says: 'its windings have no reactance to speak of' }
}

/** Volts a turn alike in both, as far as the bridge goes: iron changes with the flux. */
async function atOneFlux(
  jig: Jig, { ratio }: Transformer,
  { pairs, ohms, frequencyHz, levels }: Pick<Seen, 'frequencyHz' | 'levels'>
    & { readonly pairs: Both<Pair>; readonly ohms: Both<Winding['ohm']> },
): Promise<Seen | Failed> {
  const { minV, maxV } = jig.reach.bridge!.levelsV ?? { minV: usualLevelV, maxV: usualLevelV }
  // What the low one gets at least steps up to this on the high one: `levels` keep that below 20 V.
  const highV = Math.min(maxV, Math.max(levels.eachV, minV * ratio.nominal))
  const lowV = Math.max(minV, highV / ratio.nominal)
  const windings: Winding[] = []
  for (const [i, pair] of pairs.entries()) {
    const read = await jig.impedance(pair, { frequencyHz, levelV: i === 0 ? highV : lowV })
    const at = coreOf(read, ohms[i]!)
    if ('says' in at) return at
    windings.push({ pair, ohm: ohms[i]!, at, sizeOhm: Math.hypot(read.rOhm.value, read.xOhm.value) })
  }
  const apart = lowV * ratio.nominal / highV
  const notes = apart < 1.5 ? []
    : [`its core had ${apart.toFixed(1)} times the flux in one winding that it had in the other`]
  return { high: windings[0]!, low: windings[1]!, frequencyHz, levels, notes }
}

/**
 * Nobody knows on which side of the leakage the loss of the core lies, nor how it is shared: the ratio is
 * unsure by up to a quarter of its share of the inductance, either way.
 */
const leakageSpread = 4 * Math.sqrt(3)
const leakageAssumed = 0.02

async function characterise(
  jig: Jig, part: Transformer, seen: Seen, guide: Guide,
): Promise<MeasuredPair> {
  const { high, low, frequencyHz } = seen
  const conditions = `${formatSi(frequencyHz, 'Hz')}, the other winding open`
  const coupled = await inLine(jig, seen, guide)
  const ratio = Math.sqrt(high.at.henry.value / low.at.henry.value)
  const unsure = (coupled.share?.value ?? leakageAssumed) / leakageSpread
  const ratioU = ratio * Math.hypot(
    high.at.henry.u / high.at.henry.value / 2, low.at.henry.u / low.at.henry.value / 2, unsure)
  const findings: Finding[] = [
    { name: 'turns ratio', measured: { value: ratio, u: ratioU }, unit: '1', conditions,
      limit: part.ratio },
    { name: 'quality factor', measured: high.at.quality, unit: '1', limit: part.quality, conditions },
  ]
  if (part.henry) {
    findings.push({ name: 'inductance', measured: high.at.henry, unit: 'H', limit: part.henry, conditions })
  }
  const copper = await inCopper(jig, part, seen)
  if (part.leakageShare && coupled.share) {
    findings.push({ name: 'leakage inductance', measured: coupled.share, unit: '1', limit: part.leakageShare,
      conditions: 'share of the inductance, the winding of fewer turns shorted' })
  }
  const between = await leakBetween(jig, part, seen)
  return {
    ...seen, ratio: { value: ratio, u: ratioU }, share: coupled.share, copper, isTurned: coupled.isTurned,
    findings: [...findings, ...copper.findings, ...between.findings],
    figures: {
      ratio, ratioU, magnetisingH: high.at.henry.value, secondH: low.at.henry.value,
      quality: high.at.quality.value, ...copper.figures, ...coupled.figures, ...between.figures,
    },
    notes: [windingWords(seen), ...coupled.notes, ...seen.notes, ...copper.notes, ...between.notes],
  }
}

const windingWords = ({ high, low }: Seen): string =>
  `more turns from ${high.pair.high} to ${high.pair.low}, fewer from ${low.pair.high} to ${low.pair.low}`

export const recordedWords = ({ recorded }: Transformer): string => recorded === null
  ? 'no test of its insulation at voltage is on record: that is for a qualified person'
  : `of its insulation at voltage the list records: ${recorded}; nothing of that was driven here`

/** A part that lay here is as warm as the air beside it. Without a sensor that is 15 to 35 °C. */
const [assumedC, assumedU] = [25, 10 / Math.sqrt(3)]
const statedC = 20

export interface Told {
  readonly findings: readonly Finding[]
  readonly figures: Record<string, number>
  readonly notes: readonly string[]
}

async function inCopper(
  jig: Jig, part: Transformer, { high, low }: Seen,
): Promise<Told & MeasuredPair['copper']> {
  const air = await jig.celsius()
  const isRead = air !== null && air.quality === 'good'
  const { value: celsius, u } = isRead ? air : { value: assumedC, u: assumedU }
  const at20 = ({ ohm }: Winding): Quantity => {
    const value = windingOhmAt(ohm.value, celsius, statedC)
    return { value, u: value * Math.hypot(ohm.u / ohm.value, u / (zeroResistanceC.copper + celsius)) }
  }
  const conditions = `brought from ${celsius.toFixed(0)} °C${isRead ? '' : ', assumed,'} to ${statedC} °C`
  const finding = (winding: Winding, limit: Transformer['highOhm']): Finding[] => limit === null ? []
    : [{ name: 'winding resistance', measured: at20(winding), unit: 'Ω', limit, conditions }]
  return {
    high: at20(high), low: at20(low),
    findings: [...finding(high, part.highOhm), ...finding(low, part.lowOhm)],
    figures: { highOhm20C: at20(high).value, lowOhm20C: at20(low).value, airC: celsius },
    notes: isRead ? [] : ['resistances are brought to 20 °C from an assumed 25 °C, 10 K either way'],
  }
}

const leakMs = 500

/** What gets from one winding to the other at volts that hurt nobody: a look, no test. */
async function leakBetween(
  jig: Jig, { between: { atV, ampere } }: Transformer, { high, low }: Seen,
): Promise<Told> {
  const { source } = jig.reach
  if (!source)
    return { findings: [], figures: {}, notes: ['nothing was seen of what leaks between its windings'] }
  const voltageV = Math.min(atV, source.voltageMaxV)
  const limitA = Math.min(source.currentMaxA, probing.currentA)
  const pair: Pair = { high: high.pair.high, low: low.pair.high }
  const { current } = await jig.force(pair, { voltageV, limitA }, leakMs)
  const measured = { value: Math.abs(current.value), u: current.u }
  return {
    findings: [{
      name: 'winding leakage', measured, unit: 'A', limit: ampere,
      conditions: `${formatSi(voltageV, 'V')} between the windings, after ${leakMs} ms`,
    }],
    figures: { betweenA: measured.value }, notes: [],
  }
}
