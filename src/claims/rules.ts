/**
 * Rules for the words of a claim: each looks at one place of the text and says what stands there. Trade words
 * are common practice.
 */
import type { Conditions } from '../schema/figure.ts'
import { endsWord, matchAt } from '../marks/reading.ts'
import { amountAt, pairAt, plainAt, type Amount } from './amounts.ts'
import { openable, type DistortionName, type Item, type Said, type Subject, type Unread } from './items.ts'

export type Found = { readonly said: Said; readonly end: number }
/** What stands at a place, null where no such thing does. `before`: what was read so far. */
export type Rule = (text: string, at: number, before: readonly Item[]) => Found | Unread | null

const atOutput = String.raw`(?: (?:at|on) (?:the |each )?outputs?(?: terminals?)?)?`
/** A pattern of whole words. */
const phrase = (...parts: readonly string[]): RegExp => new RegExp(`(?:${parts.join('')})(?![A-Za-z])`, 'iy')

const names: readonly (readonly [Subject, string])[] = [
  ['signal to noise', String.raw`signal[- ](?:to[- ])?noise(?: ratio)?|S\s?\/\s?N(?: ratio)?|SNR`],
  ['hum and noise', String.raw`(?:hum\s*(?:and|&|\+|plus|\/)\s*noise|noise\s*(?:and|&|\+|plus)\s*hum)`
    + `(?: level)?${atOutput}`],
  ['noise', String.raw`(?:output |residual )?noise(?: level| voltage)?${atOutput}`],
  ['hum', String.raw`(?:residual |mains )?hum(?: level| voltage)?${atOutput}`],
  ['separation', String.raw`(?:channel |stereo )?separation`], ['crosstalk', String.raw`cross[- ]?talk`],
  ['damping factor', 'damping(?: factor)?'], ['input sensitivity', '(?:input )?sensitivity'],
  ['gain', '(?:voltage )?gain'],
  ['dc offset', String.raw`(?:DC|D\.C\.|direct voltage)(?: offset)?(?: voltage| level)?${atOutput}`
    + String.raw`|(?:output )?offset(?: voltage)?${atOutput}`],
  ['power bandwidth low', String.raw`lower limit of (?:the )?power bandwidth`],
  ['power bandwidth high', String.raw`upper limit of (?:the )?power bandwidth`],
  ['power bandwidth', String.raw`(?:half[- ])?power bandwidth`],
  ['response low', String.raw`lower limit of (?:the )?response`],
  ['response high', String.raw`upper limit of (?:the )?response`],
  ['response', String.raw`(?:frequency |amplitude )?response(?: deviation)?`],
  ['channel balance', String.raw`(?:channel|gain) (?:balance|match(?:ing)?)`],
  ['overload recovery', String.raw`overload recovery(?: time)?|recover(?:s|y)(?: time)?`],
  ['output power', '(?:(?:rated|continuous|average|sine(?:[- ]wave)?|RMS) )*(?:output )?power(?: output)?'
    + String.raw`|rated output(?=:?\s+[\d.])`],
  ['intermodulation', String.raw`(?:total )?inter-?modulation(?: distortion)?|IMD?(?: distortion)?`],
]
const subjectRules = names.map(([subject, words]) => [subject, phrase(words)] as const)

const subject: Rule = (text, at) => {
  for (const [name, pattern] of subjectRules) {
    const match = matchAt(pattern, text, at)
    if (match) return { said: { kind: 'subject', subject: name }, end: match.end }
  }
  return null
}

const curves = phrase('(?:equali[sz]ation(?: error)? )?(?:(?:against|to) )?(?:the )?(RIAA|IEC)',
  '(?: (?:curve|equali[sz]ation))?(?: (?:error|accuracy|deviation))?')
const bareCurve = phrase('equali[sz]ation error')
const curve: Rule = (text, at, before) => {
  const named = matchAt(curves, text, at)
  if (!named) {
    const bare = matchAt(bareCurve, text, at)
    return bare && { said: { kind: 'subject', subject: 'equalisation error' }, end: bare.end }
  }
  const set: Conditions = { curve: /riaa/i.test(named.groups[0]!) ? 'riaa' : 'iec' }
  const isSubject = before.some(item => item.kind === 'subject')
  // What is claimed, unless something was named before; then the curve is read once more for that.
  return isSubject ? { said: { kind: 'conditions', set }, end: named.end }
    : { said: { kind: 'subject', subject: 'equalisation error' }, end: at }
}

const distortions: readonly (readonly [DistortionName, RegExp])[] = [
  ['either', phrase(String.raw`THD or THD\s?\+\s?N`)],
  ['thd+n', phrase(String.raw`(?:T\.?H\.?D\.?|(?:total )?(?:harmonic )?distortion)\s*(?:\+|&|and|plus)\s*`,
    'N(?:oise)?')],
  ['thd', phrase(String.raw`T\.?H\.?D\.?|(?:total )?harmonic distortion`)], [null, phrase('distortion')],
]
const distortion: Rule = (text, at) => {
  for (const [of, pattern] of distortions) {
    const match = matchAt(pattern, text, at)
    if (match) return { said: { kind: 'distortion', of }, end: match.end }
  }
  return null
}

/** A rule for words that say a condition by themselves. */
const says = (words: string, set: Conditions, pattern = phrase(words)): Rule => {
  return (text, at) => {
    const match = matchAt(pattern, text, at)
    return match && { said: { kind: 'conditions', set }, end: match.end }
  }
}
const weighted = String.raw`[- ]?weight(?:ed|ing)`
const worded: readonly Rule[] = [
  says(String.raw`(?:both|all(?: two| four| \d)?)(?: the)? channels? (?:loaded and )?(?:driven|working)`
    + '|(?:both|all) driven', { driven: 'all' }),
  says('(?:one|either|a single|single|only one) channels? (?:driven|at a time)(?: alone)?'
    + '|each channel driven (?:alone|by itself)', { driven: 'one' }),
  says(`A${weighted}`, { weighting: 'A' }), says(`C${weighted}`, { weighting: 'C' }),
  says(String.raw`unweighted|flat|linear`, { weighting: 'flat' }),
  says(String.raw`(?:ITU-R |CCIR )?(?:BS\.)?468(?:${weighted})?`, { weighting: '468' }),
  says(String.raw`quasi-?\s?peak(?: detector)?`, { detector: 'quasi-peak' }),
  says('RMS detector', { detector: 'rms' }), says('average detector', { detector: 'average' }),
  says('(?:inputs? (?:is |are )?|with )?short(?:ed|-circuited|-circuit)(?: inputs?)?', { sourceOhm: 0 }),
  says('SMPTE', { form: 'smpte' }),
  says('(?:difference|twin)[- ](?:tones?|frequency)|CCIF', { form: 'difference' }),
  says('DIM|TIM|transient', { form: 'transient' }),
]

/** A rule for a figure of `unit` between words. */
function figure(
  before: string, unit: Parameters<typeof plainAt>[2], behind: string, say: (value: number) => Said,
): Rule {
  const lead = new RegExp(`(?:${before})`, 'iy')
  const tail = new RegExp(`(?:${behind})`, 'iy')
  return (text, at) => {
    const begins = matchAt(lead, text, at)
    const found = begins && plainAt(text, begins.end, unit)
    const ends = found && matchAt(tail, text, found.end)
    return ends && endsWord(text, ends.end) ? { said: say(found.value), end: ends.end } : null
  }
}
const set = (key: keyof Conditions) => (value: number): Said =>
  ({ kind: 'conditions', set: { [key]: value } })

const article = String.raw`(?:an? |the )?`
const figured: readonly Rule[] = [
  figure(`(?:(?:in)?to |on |at )?${article}`, 'V', String.raw`\s*(?:line|distribution)(?: transformer)?`,
    lineV => ({ kind: 'line', lineV })),
  figure(`(?:at |on |from )?${article}`, 'V', String.raw`\s*(?:AC )?(?:mains|supply)`, set('mainsV')),
  figure('at (?:an ambient (?:temperature )?of )?', '°C', String.raw`(?:\s*ambient)?`, set('ambientC')),
  figure(`inputs? (?:is |are )?(?:terminated|loaded|closed) (?:in|with|by|into) ${article}`, 'Ω', '',
    set('sourceOhm')),
  figure(`(?:from ${article})?source(?: impedance| resistance)?(?: of)? `, 'Ω', '', set('sourceOhm')),
  figure(`(?:from )?${article}`, 'Ω', String.raw`\s*source(?: impedance| resistance)?`, set('sourceOhm')),
  figure(`(?:(?:in)?to |across |loaded with |load(?: of)? )?${article}`, 'Ω', String.raw`(?:\s*load)?`,
    set('loadOhm')),
  figure(`(?:at )?${article}`, 'V', String.raw`\s*output`, set('outputV')),
  figure(String.raw`(?:from |after )?`, 'dB', String.raw`(?: of)? overload`, set('overloadDb')),
]

const noLevel = phrase(String.raw`(?:at|for|below|under|re|ref\.?|relative to|referred to|of)\s+(?:the\s+)?`,
  String.raw`(?:rated|full)\s+(?:output(?: power)?|power(?: output)?)`)
const rated: Rule = (text, at) => {
  const match = matchAt(noLevel, text, at)
  return match && { said: { kind: 'rated' }, end: match.end }
}

const against = /(?:below|under|re|ref\.?|relative to|referred to)\s+/iy
/** What decibels are below, right behind them. */
const reference: Rule = (text, at, before) => {
  const last = before.at(-1)
  if (last?.kind !== 'amount' || last.amount.unit !== 'dB') return null
  const begins = matchAt(against, text, at)
  const found = begins && (['W', 'V'] as const).flatMap(unit => {
    const one = plainAt(text, begins.end, unit)
    return one ? [{ ...one, key: unit === 'W' ? 'outputW' as const : 'outputV' as const }] : []
  })[0]
  return found ? { said: { kind: 'conditions', set: { [found.key]: found.value } }, end: found.end } : null
}

const toneJoin = /\s*(?:\/|\+|&|\band\b)\s*/iy
const tones: Rule = (text, at) => {
  const pair = pairAt(text, at, 'Hz', toneJoin)
  if (!pair) return null
  const { low, high, end } = pair
  return { said: { kind: 'conditions', set: { toneLowHz: low, toneHighHz: high } }, end }
}

const pointsWords = /points?(?: (?:at|of))?\s+/iy
/** `-3 dB points 20 Hz and 30 kHz` */
const points: Rule = (text, at) => {
  const begins = matchAt(pointsWords, text, at)
  const pair = begins && pairAt(text, begins.end, 'Hz', toneJoin)
  if (!pair) return null
  const { low, high, end } = pair
  const amount: Amount = { unit: 'Hz', notes: [], shape: 'range', low, high, nominal: null }
  return { said: { kind: 'amount', isAt: false, amount }, end }
}

const measuredWords = /(?:measured|measuring band(?:width)?)(?: (?:from|in|over|within|of))?\s+/iy
const measured: Rule = (text, at) => {
  const begins = matchAt(measuredWords, text, at)
  const found = begins && amountAt(text, begins.end)
  if (!found || 'expected' in found || found.amount.unit !== 'Hz') return null
  if (found.amount.shape !== 'range') return null
  const { low, high } = found.amount
  return { said: { kind: 'measured', low, high }, end: found.end }
}

const ratioAt = /(\d{1,2})\s*:\s*(\d{1,2})(?!\d)/y
const ratio: Rule = (text, at) => {
  const match = matchAt(ratioAt, text, at)
  if (!match) return null
  const [high, low] = match.groups.map(Number)
  return { said: { kind: 'ratio', ratio: high! / low! }, end: match.end }
}

const timesAt = /(\d{1,2})\s*[x×*]\s*(?=[\d.,])/iy
const times: Rule = (text, at) => {
  const match = matchAt(timesAt, text, at)
  return match && { said: { kind: 'times', count: Number(match.groups[0]) }, end: match.end }
}

const ordersAt = phrase(String.raw`(?:harmonics|orders)(?: (?:up )?to|(?: from)? 2 to|\s2\s?-)`,
  String.raw`(?: the)?(?: order)?\s*(\d{1,3})(?:st|nd|rd|th)?(?![\d.,]*\d)`)
const orders: Rule = (text, at) => {
  const match = matchAt(ordersAt, text, at)
  const count = Number(match?.groups[0])
  return match && count >= 2 ? { said: { kind: 'conditions', set: { orders: count } }, end: match.end } : null
}

const channelAt = new RegExp(String.raw`(?:(?:of |on )?channel\s+([a-z][a-z0-9-]{0,31})(?![A-Za-z0-9-])`
  + String.raw`|([a-z][a-z0-9-]{0,31})\s*:(?=\s))`, 'y')
/** `channel left`, or a name with a colon before everything. */
const channel: Rule = (text, at, before) => {
  const match = matchAt(channelAt, text, at)
  const name = match?.groups[0] ?? (before.length === 0 ? match?.groups[1] : undefined)
  return match && name !== undefined ? { said: { kind: 'channel', name }, end: match.end } : null
}

const anyAt = new RegExp(`(?:at |against |into |from )?any (${openable.join('|')})(?![A-Za-z])`, 'iy')
const any: Rule = (text, at) => {
  const match = matchAt(anyAt, text, at)
  const what = openable.find(one => one === match?.groups[0]!.toLowerCase())
  return match && what ? { said: { kind: 'any', what }, end: match.end } : null
}

const quotedAt = /(reference|summed)\s+"([^"]{1,80})"/iy
const quoted: Rule = (text, at) => {
  const match = matchAt(quotedAt, text, at)
  if (!match) return null
  const key = match.groups[0]!.toLowerCase() === 'reference' ? 'reference' : 'arithmetic'
  return { said: { kind: 'conditions', set: { [key]: match.groups[1]! } }, end: match.end }
}

const atWord = /(?:at|@)\s+/iy
const amount: Rule = (text, at) => {
  const found = amountAt(text, at)
  const begins = found ? null : matchAt(atWord, text, at)
  const here = found ?? (begins && amountAt(text, begins.end))
  if (!here) return null
  if ('expected' in here) return { at, end: here.end, expected: here.expected }
  return { said: { kind: 'amount', amount: here.amount, isAt: begins !== null }, end: here.end }
}

/** In this order: what names something comes before bare figures. */
export const rules: readonly Rule[] = [
  quoted, any, rated, measured, distortion, subject, ...worded, orders, curve, channel, reference, ...figured,
  points, tones, ratio, times, amount,
]
