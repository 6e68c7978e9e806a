/**
 * A transformer of two windings: which legs are a winding, their resistance brought to 20 °C, inductance and
 * loss of each on the bridge at one flux, ratio from both, phase and coupling from the windings in line, and
 * leakage inductance with the smaller one shorted. Insulation at voltage is never driven here: a look at
 * 20 V or less is no test of it.
 */
import { coupling } from '../../analysis/devices/transformer.ts'
import { windingOhmAt, zeroResistanceC } from '../../analysis/devices/winding.ts'
import { formatSi } from '../../base/format.ts'
import { probing, type ImpedanceReading, type Jig, type Pair } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { Transformer } from '../to-prove.ts'
import type { Guide } from './guide.ts'
import { Joining } from './joining.ts'
import { nearestHz } from './reactive.ts'
import { withLeads } from './resistor.ts'
import { readSteady } from './steady.ts'
import { findWindings, mostWindingOhm } from './windings.ts'

/** Legs, resistance as it is now, and what the bridge saw with the other winding open. */
interface Winding {
  readonly pair: Pair
  readonly ohm: { readonly value: number; readonly u: number }
  readonly at: Core
  readonly sizeOhm: number
}
/** Inductance with the loss beside it, H, and the reactance over that loss. */
interface Core {
  readonly henry: { readonly value: number; readonly u: number }
  readonly quality: { readonly value: number; readonly u: number }
}

export async function proveTransformer(jig: Jig, part: Transformer, guide: Guide): Promise<Proof> {
  const pairs = await findWindings(jig)
  if ('fault' in pairs) return faulty(pairs.fault, pairs.says)
  const ohms: Winding['ohm'][] = []
  for (const pair of pairs) {
    const ohm = await ohmOf(jig, pair)
    if (typeof ohm === 'string') return faulty('poor contact', ohm)
    ohms.push(ohm)
  }
  const seen = await onBridge(jig, part, pairs, [ohms[0]!, ohms[1]!])
  if ('says' in seen) return faulty(seen.fault, seen.says)
  const { value: quality, u } = seen.high.at.quality
  if (quality + 2 * u < (part.quality.low ?? 0) / 2) {
    const share = quality.toPrecision(2)
    return faulty('short', `turns are shorted: its reactance is only ${share} times its loss`,
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

interface Seen {
  readonly high: Winding
  readonly low: Winding
  readonly frequencyHz: number
  readonly notes: string[]
}

/** The first of these at which the larger winding has this much reactance, Hz and ohms (common practice). */
const frequenciesHz = [120, 1000, 10_000] as const
const reactanceLeastOhm = 30
const levelV = 1

type Failed = { readonly fault: 'open' | 'other kind' | 'cannot tell'; readonly says: string }

type Both<T> = readonly [T, T]

async function onBridge(
  jig: Jig, part: Transformer, pairs: Both<Pair>, ohms: Both<Winding['ohm']>,
): Promise<Seen | Failed> {
  for (const wanted of frequenciesHz) {
    const frequencyHz = nearestHz(wanted, jig.reach)
    // At first nobody knows which winding has more turns; at its own share of the level it is read again.
    const rough = []
    for (const [i, pair] of pairs.entries()) {
      const core = coreOf(await jig.impedance(pair, { frequencyHz, levelV }), ohms[i]!)
      if ('says' in core) return core
      rough.push(core)
    }
    const isFirst = rough[0]!.henry.value >= rough[1]!.henry.value
    const more = isFirst ? rough[0]! : rough[1]!
    const reactance = 2 * Math.PI * frequencyHz * more.henry.value
    if (reactance < reactanceLeastOhm && wanted !== frequenciesHz.at(-1)) continue
    const [h, l] = isFirst ? [0, 1] as const : [1, 0] as const
    return atOneFlux(jig, part, [pairs[h], pairs[l]], [ohms[h], ohms[l]], frequencyHz)
  }
  return { fault: 'cannot tell', says: 'its windings have no reactance to speak of' }
}

/** Volts a turn alike in both, as far as the bridge goes: iron changes with the flux. */
async function atOneFlux(
  jig: Jig, { ratio }: Transformer, pairs: Both<Pair>, ohms: Both<Winding['ohm']>, frequencyHz: number,
): Promise<Seen | Failed> {
  const { minV, maxV } = jig.reach.bridge!.levelsV ?? { minV: levelV, maxV: levelV }
  const highV = Math.min(maxV, Math.max(levelV, minV * ratio.nominal))
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
  return { high: windings[0]!, low: windings[1]!, frequencyHz, notes }
}

/** What is left of a reading without the winding's resistance, as inductance and loss beside each other. */
export function coreOf(
  { rOhm, xOhm, frequencyHz }: ImpedanceReading, ohm: { readonly value: number; readonly u: number },
): Core | Failed {
  if (rOhm.quality !== 'good' || xOhm.quality !== 'good')
    return { fault: 'open', says: 'the bridge sees nothing of a winding that has resistance' }
  if (xOhm.value < -2 * xOhm.u)
    return { fault: 'other kind', says: 'a winding is capacitive: no transformer' }
  const omega = 2 * Math.PI * frequencyHz
  const [r, x] = [rOhm.value - ohm.value, Math.max(xOhm.value, xOhm.u)]
  const size = r * r + x * x
  const henry = size / (omega * x)
  // Of L = (r² + x²)/ωx: by r, by x; of Q = x/r likewise.
  const rU = Math.hypot(rOhm.u, ohm.u)
  const henryU = Math.hypot(2 * r / (omega * x) * rU, (x * x - r * r) / (omega * x * x) * xOhm.u)
  const loss = Math.max(Math.abs(r), rU)
  return {
    henry: { value: henry, u: henryU },
    quality: { value: x / loss, u: Math.hypot(xOhm.u, x / loss * rU) / loss },
  }
}

/**
 * Nobody knows on which side of the leakage the loss of the core lies, nor how it is shared: the ratio is
 * unsure by up to a quarter of its share of the inductance, either way.
 */
const leakageSpread = 4 * Math.sqrt(3)
const leakageAssumed = 0.02

async function characterise(jig: Jig, part: Transformer, seen: Seen, guide: Guide): Promise<Proof> {
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
  const proof = found([...findings, ...copper.findings, ...between.findings], {
    ratio, ratioU, magnetisingH: high.at.henry.value, secondH: low.at.henry.value,
    quality: high.at.quality.value, ...copper.figures, ...coupled.figures, ...between.figures,
  }, [
    windingWords(seen), ...coupled.notes, ...seen.notes, ...copper.notes, ...between.notes,
    recordedWords(part),
  ])
  return coupled.isTurned
    ? { ...proof, fault: { is: 'reversed', says: 'its second winding lies the other way round' } } : proof
}

const windingWords = ({ high, low }: Seen): string =>
  `more turns from ${high.pair.high} to ${high.pair.low}, fewer from ${low.pair.high} to ${low.pair.low}`

const recordedWords = ({ recorded }: Transformer): string => recorded === null
  ? 'no test of its insulation at voltage is on record: that is for a qualified person'
  : `of its insulation at voltage the list records: ${recorded}; nothing of that was driven here`

/** A part that lay here is as warm as the air beside it. Without a sensor that is 15 to 35 °C. */
const [assumedC, assumedU] = [25, 10 / Math.sqrt(3)]
const statedC = 20

interface Told {
  readonly findings: readonly Finding[]
  readonly figures: Record<string, number>
  readonly notes: readonly string[]
}

async function inCopper(jig: Jig, part: Transformer, { high, low }: Seen): Promise<Told> {
  const air = await jig.celsius()
  const isRead = air !== null && air.quality === 'good'
  const { value: celsius, u } = isRead ? air : { value: assumedC, u: assumedU }
  const at20 = ({ ohm }: Winding): { value: number; u: number } => {
    const value = windingOhmAt(ohm.value, celsius, statedC)
    return { value, u: value * Math.hypot(ohm.u / ohm.value, u / (zeroResistanceC.copper + celsius)) }
  }
  const conditions = `brought from ${celsius.toFixed(0)} °C${isRead ? '' : ', assumed,'} to ${statedC} °C`
  const finding = (winding: Winding, limit: Transformer['highOhm']): Finding[] => limit === null ? []
    : [{ name: 'winding resistance', measured: at20(winding), unit: 'Ω', limit, conditions }]
  return {
    findings: [...finding(high, part.highOhm), ...finding(low, part.lowOhm)],
    figures: { highOhm20C: at20(high).value, lowOhm20C: at20(low).value, airC: celsius },
    notes: isRead ? [] : ['resistances are brought to 20 °C from an assumed 25 °C, 10 K either way'],
  }
}

interface Coupled {
  readonly isTurned: boolean
  readonly share: { readonly value: number; readonly u: number } | null
  readonly figures: Record<string, number>
  readonly notes: readonly string[]
}

/** Both ways in line, then the larger with the smaller one shorted: by relays, or by the person's hands. */
async function inLine(jig: Jig, seen: Seen, guide: Guide): Promise<Coupled> {
  const joining = new Joining(jig, guide)
  const { high, low, frequencyHz } = seen
  const setup = { frequencyHz, levelV }
  const openOhm = 20 * (high.sizeOhm + low.sizeOhm)
  const [a, b] = [high.pair, low.pair]
  const ends =
    await joining.read({ high: a.high, low: b.low }, { high: a.low, low: b.high }, setup, openOhm)
  const crossed =
    await joining.read({ high: a.high, low: b.high }, { high: a.low, low: b.low }, setup, openOhm)
  const phase = phaseOf(high, low, ends, crossed)
  const leak = await leakageOf(jig, seen, joining)
  const whole = high.at.henry
  if (leak === null)
    return { ...phase, share: null, notes: [...phase.notes, 'its leakage inductance was not measured'] }
  return {
    ...phase, figures: { ...phase.figures, leakageH: leak.value },
    share: { value: leak.value / whole.value,
      u: Math.hypot(leak.u, leak.value * whole.u / whole.value) / whole.value },
  }
}

/** So many times the frequency: what is shorted shall be its inductance, not its resistance. */
const leakageFactor = 10
/** What is left open by where the loss of the core lies. */
const leakageShareU = 0.02

/**
 * What is left of the larger winding's inductance with the other one shorted; the loss of the core beside it
 * and the resistance of the shorted winding are reckoned off.
 */
async function leakageOf(
  jig: Jig, { high, low, frequencyHz }: Seen, joining: Joining,
): Promise<{ value: number; u: number } | null> {
  const setup = { frequencyHz: nearestHz(leakageFactor * frequencyHz, jig.reach), levelV }
  const omega = 2 * Math.PI * setup.frequencyHz
  const core = coreOf(await jig.impedance(high.pair, setup), high.ohm)
  const read = await joining.read(high.pair, low.pair, setup, omega * high.at.henry.value / 2)
  if (read === null || read.xOhm.quality !== 'good' || read.rOhm.quality !== 'good') return null
  // Above its resonance the open winding says nothing of its core.
  const lossS = 'says' in core ? 0 : 1 / (omega * core.henry.value * core.quality.value)
  const left = reactanceWithout(lossS, read.rOhm.value - high.ohm.value, read.xOhm.value)
  const resistive = (low.ohm.value / (omega * low.at.henry.value)) ** 2
  const value = left / omega - high.at.henry.value * resistive / (1 + resistive)
  return { value, u: Math.hypot(read.xOhm.u / omega, leakageShareU * value) }
}

/** Reactance of r + jx once a conductance beside it is taken away. */
function reactanceWithout(siemens: number, r: number, x: number): number {
  const size = r * r + x * x
  const [real, imaginary] = [r / size - siemens, -x / size]
  return -imaginary / (real ** 2 + imaginary ** 2)
}

/** The windings help each other where the end of one joins the beginning of the other. */
function phaseOf(
  { pair: a, ohm: aOhm, at: aAt }: Winding, { pair: b, ohm: bOhm, at: bAt }: Winding,
  ends: ImpedanceReading | null, crossed: ImpedanceReading | null,
): Pick<Coupled, 'isTurned' | 'figures' | 'notes'> {
  const both = { value: aOhm.value + bOhm.value, u: Math.hypot(aOhm.u, bOhm.u) }
  const one = ends && coreOf(ends, both)
  const other = crossed && coreOf(crossed, both)
  const untold = { isTurned: false, figures: {}, notes: ['which ends are in phase was not found'] }
  if (!one || !other || 'says' in one || 'says' in other) return untold
  const apart = one.henry.value - other.henry.value
  if (Math.abs(apart) < 3 * Math.hypot(one.henry.u, other.henry.u)) return untold
  const [aiding, opposing] = apart > 0 ? [one, other] : [other, one]
  // Of two windings that are alike next to nothing is left where they oppose each other.
  const { mutualH, factor } =
    coupling(aAt.henry.value, bAt.henry.value, aiding.henry.value, opposing.henry.value)
  const isAsAsked = [a, b].every(({ high, low }) => high % 2 === 1 && low === high + 1)
  return {
    isTurned: apart < 0 && isAsAsked,
    figures: { mutualH, couplingFactor: factor },
    notes: [`legs ${a.high} and ${apart > 0 ? b.high : b.low} are in phase`],
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
