/** What is to be proven of bridge rectifiers and potentiometers of a list. SI units. */
import type { PartsLine } from '../schema/parts-list.ts'
import type { BridgeRectifier, Gangs, Limit, Potentiometer, Value } from './to-prove.ts'

/** Reverse current is read at the rating, and never above this. */
const reverseMostV = 20

export const bridgeRectifier = ({ ratedV }: PartsLine): BridgeRectifier => ({
  kind: 'bridge-rectifier',
  forward: {
    currentA: 0.01,
    volt: { low: 0.35, high: 1, source: 'silicon junction at 10 mA, large or small, common practice' },
  },
  reverse: {
    voltageV: Math.min(ratedV ?? reverseMostV, reverseMostV),
    ampere: { high: 1e-6, source: 'each junction of a silicon bridge at 20 V, common practice' },
  },
})

/** Of carbon and cermet tracks, as shares of the track, and what is always allowed, ohms. */
const [endShare, endLeastOhm, noiseShare, noiseLeastOhm] = [0.01, 20, 0.01, 3]

/** Share of the track at half a turn, from the nearer end. */
const laws: readonly { readonly words: RegExp; readonly half: Limit }[] = [
  {
    words: /\b(lin|linear)\b/i,
    half: { low: 0.38, source: 'linear law, some 40 to 60 % at half a turn, common practice' },
  },
  {
    words: /\b(log|logarithmic|audio|anti-?log|reverse log)\b/i,
    half: { low: 0.03, high: 0.3, source: 'logarithmic law, 5 to 25 % at half a turn, common practice' },
  },
]

/** How many tracks lie on one shaft, as the trade says it. */
const gangWords: readonly { readonly words: RegExp; readonly count: number }[] = [
  { words: /\b(dual|double|stereo|tandem|two[- ]?gang(s|ed)?|2[- ]?gang(s|ed)?)\b/i, count: 2 },
  { words: /\b(triple|three[- ]?gang(s|ed)?|3[- ]?gang(s|ed)?)\b/i, count: 3 },
  { words: /\b(quadruple|four[- ]?gang(s|ed)?|4[- ]?gang(s|ed)?)\b/i, count: 4 },
]
const trackingText = /\btracking\s+(\d+(?:[.,]\d+)?)\s*dB\b/i

function gangsOf(text: string): { gangs?: Gangs } {
  const count = gangWords.find(({ words }) => words.test(text))?.count
  if (count === undefined) return {}
  const stated = trackingText.exec(text)?.[1]
  const trackingDb = stated === undefined
    ? { high: 3, source: 'gangs within 3 dB from a quarter to three quarters of the turn, common practice' }
    : { high: Number(stated.replace(',', '.')), source: 'tracking of the parts list' }
  return { gangs: { count, trackingDb } }
}

/**
 * The law is taken from words in the value or the note alone: letters for it mean different laws on
 * different sides of an ocean. Which way a logarithmic one rises is not measured.
 */
export const potentiometer = ({ valueText, note }: PartsLine, ohm: Value): Potentiometer => ({
  kind: 'potentiometer', ohm,
  endOhm: {
    high: Math.max(endLeastOhm, endShare * ohm.nominal),
    source: 'end resistance of 1 % of the track, at least 20 Ω, from memory',
  },
  noiseOhm: {
    high: Math.max(noiseLeastOhm, noiseShare * ohm.nominal),
    source: 'contact that varies by 1 % of the track, at least 3 Ω, as trimmers are rated, from memory',
  },
  half: laws.find(({ words }) => words.test(`${valueText} ${note}`))?.half ?? null,
  ...gangsOf(`${valueText} ${note}`),
})
