/** The canonical words of a claim: they are read back as the same claim, for whatever unit. */
import type { Claim } from '../schema/claims.ts'
import type { Conditions, FigureQuantity } from '../schema/figure.ts'
import { written, writtenSkew } from './figures.ts'
import { conditionsOf, kinds } from './kinds.ts'

export const subjectWords: Readonly<Record<FigureQuantity, string>> = {
  'output power': 'output power', thd: 'THD', 'thd+n': 'THD+N', intermodulation: 'intermodulation',
  'response deviation': 'response', noise: 'noise', 'signal to noise': 'signal to noise', hum: 'hum',
  separation: 'separation', 'damping factor': 'damping factor', 'input sensitivity': 'input sensitivity',
  gain: 'gain', 'dc offset': 'DC offset', 'equalisation error': 'equalisation error',
  'power bandwidth low': 'lower limit of power bandwidth',
  'power bandwidth high': 'upper limit of power bandwidth', 'response low': 'lower limit of response',
  'response high': 'upper limit of response', 'overload recovery': 'overload recovery',
  'channel balance': 'channel balance',
}

/**
 * `output power at least 40 W, at 2 % THD, 80 Hz to 12 kHz, into 250 Ω`. What is left open is said to be,
 * where reading would assume something: `any load`. Figures are above 0, but of signed quantities and gain.
 */
export function claimWords({ quantity, conditions, channel, ...bounds }: Claim): string {
  return [
    `${subjectWords[quantity]} ${boundWords(quantity, bounds)}`, ...conditionWords(quantity, conditions),
    ...openWords(quantity, conditions), ...channel === undefined ? [] : [`channel ${channel}`],
  ].join(', ')
}

/** `at least 40 W`, `between 33 dB and 35 dB`, `+0.5/-1 dB`. */
export function boundWords(quantity: FigureQuantity, { least, most }: Pick<Claim, 'least' | 'most'>): string {
  const { unit, sense } = kinds[quantity]
  if (least === undefined) return `at most ${written(most!, unit)}`
  if (most === undefined) return `at least ${written(least, unit)}`
  if (sense === 'signed' && least === -most) return `± ${written(most, unit)}`
  if (sense === 'signed' && unit === 'dB' && least <= 0 && most >= 0) return writtenSkew(least, most)
  return `between ${written(least, unit)} and ${written(most, unit)}`
}

type Say = (value: never, all: Conditions, quantity: FigureQuantity) => string
const driven = { one: 'one channel driven', all: 'all channels driven' }
const weighting = { flat: 'unweighted', A: 'A-weighted', C: 'C-weighted', 468: '468 weighted' }
const detector = { rms: 'RMS detector', average: 'average detector', 'quasi-peak': 'quasi-peak detector' }
const form = { smpte: 'SMPTE', difference: 'difference tones', transient: 'transient' }
const named = { thd: ' THD', 'thd+n': ' THD+N' }
const hertz = (value: number): string => written(value, 'Hz')

/** A figure may lack its other end. */
const ends = (low: number, join: string, high: number | undefined): string =>
  high === undefined ? `from ${hertz(low)}` : `${hertz(low)} ${join} ${hertz(high)}`

/** In this order; a key that another one tells as well has none of its own. */
const says: Partial<Record<keyof Conditions, Say>> = {
  distortion: (share: number, { distortionOf }) =>
    `at ${written(share, 'share')}${distortionOf ? named[distortionOf] : ' THD or THD+N'}`,
  orders: (orders: number) => `harmonics to order ${orders}`,
  form: (name: keyof typeof form) => form[name],
  toneLowHz: (low: number, { toneHighHz }) => ends(low, 'and', toneHighHz),
  arithmetic: (text: string) => `summed "${text}"`,
  overloadDb: (db: number) => `from ${written(db, 'dB')} of overload`,
  curve: (name: string) => name.toUpperCase(),
  weighting: (name: keyof typeof weighting) => weighting[name],
  detector: (name: keyof typeof detector) => detector[name],
  bandDb: (db: number) => `at -${written(db, 'dB')}`,
  frequencyHz: (value: number) => `at ${hertz(value)}`,
  bandLowHz: (low: number, { frequencyHz, bandHighHz }) =>
    `${frequencyHz === undefined ? '' : 'measured from '}${ends(low, 'to', bandHighHz)}`,
  outputW: (watts: number) => `at ${written(watts, 'W')}`,
  outputV: (volts: number) => `at ${written(volts, 'V')} output`,
  reference: (text: string, _, quantity) =>
    text === ratedOutput && kinds[quantity].level !== 'half' ? `at ${text}` : `reference "${text}"`,
  loadOhm: (ohm: number) => `into ${written(ohm, 'Ω')}`,
  driven: (which: keyof typeof driven) => driven[which],
  sourceOhm: (ohm: number) => ohm === 0 ? 'input shorted' : `source ${written(ohm, 'Ω')}`,
  mainsV: (volts: number) => `at ${written(volts, 'V')} mains`,
  ambientC: (celsius: number) => `at ${written(celsius, '°C')} ambient`,
}
/** Of a unit that is not known yet. */
const ratedOutput = 'rated output'

/** Each condition in words, in one order. */
export function conditionWords(quantity: FigureQuantity, conditions: Conditions): string[] {
  const allowed = conditionsOf(quantity)
  return (Object.keys(says) as (keyof Conditions)[]).flatMap(key =>
    conditions[key] === undefined || !allowed.includes(key) ? [] : [conditionWord(quantity, conditions, key)])
}

/** One that is there, in words. */
export const conditionWord = (quantity: FigureQuantity, all: Conditions, key: keyof Conditions): string =>
  says[key]?.(all[key] as never, all, quantity) ?? `${key} ${all[key]}`

/** Conditions that are not there, and that reading would otherwise assume or ask for. */
function openWords(quantity: FigureQuantity, under: Conditions): string[] {
  const { frequency, measures, level, ratedLoad, ratedSource, own } = kinds[quantity]
  const has = (...keys: readonly (keyof Conditions)[]): boolean => keys.some(key => under[key] !== undefined)
  const lacks = (key: keyof Conditions): boolean => own.includes(key) && !has(key)
  const hasBand = has('bandLowHz')
  const isNoisy = measures && (quantity === 'thd+n' || under.distortionOf === 'thd+n')
  const open: readonly (readonly [string, boolean])[] = [
    ['distortion', lacks('distortion')], ['form', lacks('form')], ['tones', lacks('toneLowHz')],
    ['curve', lacks('curve')], ['overload', lacks('overloadDb')], ['weighting', lacks('weighting')],
    ['detector', under.weighting === '468' && lacks('detector')], ['drop', lacks('bandDb')],
    ['frequency', frequency === 'spot' && !has('frequencyHz') && !hasBand],
    ['band', !hasBand && (frequency === 'range' || frequency === 'measured')],
    ['measuring band', !hasBand && isNoisy],
    ['level', (level === 'rated' || level === 'half') && !has('outputW', 'outputV', 'reference')],
    ['load', ratedLoad && !has('loadOhm')], ['source', ratedSource && !has('sourceOhm')],
  ]
  return open.flatMap(([what, isSo]) => isSo ? [`any ${what}`] : [])
}
