/** What is to be proven of transformers of a list: windings as the trade writes them, and what they carry. */
import type { PartsLine } from '../schema/parts-list.ts'
import type { Unproven } from './plan.ts'
import type { Limit, RatedLoad, Transformer, Wound } from './to-prove.ts'

const number = String.raw`\d+(?:[.,]\d+)?`
/** One winding, or several that are alike: `12`, `12-0-12`, `0-110-220 V`, `2x12`. */
const winding = String.raw`(?:[2-9]\s*[x×]\s*)?${number}(?:\s*-\s*${number})*(?:\s*V\b)?`
/** Windings in order, the one that is fed first: `10:1`, `230 V : 12-0-12 V : 6.3 V`. */
const windingsText = new RegExp(String.raw`(?<![\d.,-])${winding}(?:\s*:\s*${winding})+`, 'i')
const ratedText = new RegExp(String.raw`(${number})\s*VA\b`, 'i')
const regulationText = new RegExp(String.raw`\bregulation\s+(${number})\s*%`, 'i')
const hertzText = new RegExp(String.raw`(${number})\s*Hz\b`, 'i')
/** Words that record a test of insulation which a qualified person made. */
const insulationText = /[^;]*\b(insulation|dielectric|flash|hipot)\b[^;]*/i
const [usualRatioShare, halvesShare] = [0.03, 0.03]
/** Volts of a winding are those under load: a small transformer gives up to so much more without. */
const loadedShare = 0.25
const betweenV = 20

type Lack = Omit<Unproven, 'id'>

/** The ratio is of turns, whichever winding is called primary. `mainsHz`: where the line says none. */
export function transformer(line: PartsLine, mainsHz = 50): Transformer | Lack {
  const { valueText, note, ratingText, value, toleranceMinus: minus, tolerancePlus: plus } = line
  const text = [valueText, ratingText, note].filter(Boolean).join(' ')
  const written = windingsText.exec(text)?.[0] ?? null
  const windings = written === null ? null : windingsIn(written)
  if (windings === null || windings.length < 2)
    return { why: 'the list gives no ratio of turns', wayOut: 'add it to its value, like 10:1' }
  const listed = 'tolerance of the parts list'
  const isInVolts = /V/i.test(written!) || ratedText.test(text)
  const within = toleranceOf(line, isInVolts)
  const rated = ratedIn(text, windings, mainsHz)
  return {
    kind: 'transformer', leakageShare: null, highOhm: null, lowOhm: null,
    ratio: plainRatio(windings, within, isInVolts),
    henry: value?.quantity === 'inductance' && minus !== null && plus !== null
      ? { low: value.si * (1 - minus), high: value.si * (1 + plus), source: listed } : null,
    quality: { low: 1, source: 'no shorted turn: reactance above loss, common practice' },
    between: {
      atV: betweenV, ampere: { high: 2e-7, source: 'at least 100 MΩ between windings, common practice' },
    },
    recorded: insulationText.exec(note)?.[0].trim() ?? null,
    ...windings.length === 2 && windings.every(parts => parts.length === 1) ? {}
      : { wound: { windings, ...within, halves } },
    ...rated ? { rated } : {},
  }
}

const halves: Limit = {
  low: 1 - halvesShare, high: 1 / (1 - halvesShare),
  source: 'parts that are alike within 3 %, common practice',
}

/** Null where something is written that is no winding, like a 0 alone or taps that do not rise. */
export function windingsIn(written: string): number[][] | null {
  const windings: number[][] = []
  for (const text of written.replace(/V/gi, '').split(':')) {
    const [, count, labels] = /^\s*(?:([2-9])\s*[x×]\s*)?(.*?)\s*$/i.exec(text)!
    const parts = partsOf(labels!.split('-').map(label => Number(label.trim().replace(',', '.'))))
    if (parts === null) return null
    for (let i = 0; i < Number(count ?? 1); i++) windings.push(parts)
  }
  return windings
}

/** From each lead to the next; what stands before the 0 counts down to it, as in 12-0-12. */
function partsOf(labels: readonly number[]): number[] | null {
  if (labels.length === 1) return labels[0]! > 0 ? [labels[0]!] : null
  const zero = labels.indexOf(0)
  if (zero < 0) return null
  const signed = labels.map((label, i) => i < zero ? -label : label)
  const parts = signed.slice(1).map((label, i) => Number((label - signed[i]!).toPrecision(12)))
  return parts.every(turns => turns > 0) ? parts : null
}

/** Of the turns of any winding against those of the first. */
function toleranceOf(
  { toleranceMinus: minus, tolerancePlus: plus }: PartsLine, isInVolts: boolean,
): Pick<Wound, 'below' | 'above' | 'source'> {
  if (minus !== null && plus !== null)
    return { below: minus, above: plus, source: 'tolerance of the parts list' }
  return isInVolts
    ? {
        below: usualRatioShare, above: loadedShare,
        source: 'turns for its volts under load, from 3 % less to a quarter more, common practice',
      }
    : { below: usualRatioShare, above: usualRatioShare, source: 'ratio of turns within 3 %, common practice' }
}

/** Of the first two; the one with more turns over the other. Volts under load are less on the second. */
function plainRatio(
  windings: Wound['windings'], { below, above, source }: Pick<Wound, 'below' | 'above' | 'source'>,
  isInVolts: boolean,
): Transformer['ratio'] {
  const [first, second] = windings.map(wholeOf) as [number, number]
  const nominal = Math.max(first / second, second / first)
  return isInVolts && first >= second
    ? { nominal, low: nominal / (1 + above), high: nominal / (1 - below), source }
    : { nominal, low: nominal * (1 - below), high: nominal * (1 + above), source }
}

const wholeOf = (parts: readonly number[]): number => parts.reduce((sum, turns) => sum + turns, 0)

function ratedIn(text: string, windings: Wound['windings'], mainsHz: number): RatedLoad | null {
  const numberOf = (one: RegExp): number | null => {
    const found = one.exec(text)?.[1]
    return found === undefined ? null : Number(found.replace(',', '.'))
  }
  const apparentVA = numberOf(ratedText)
  if (apparentVA === null || !(apparentVA > 0)) return null
  const percent = numberOf(regulationText)
  return {
    apparentVA, frequencyHz: numberOf(hertzText) ?? mainsHz,
    windingsV: windings.map(wholeOf),
    regulation: percent === null ? null : { high: percent / 100, source: 'regulation of the parts list' },
  }
}
