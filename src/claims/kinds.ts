/** What can be claimed, on which side a figure is good, and which conditions belong to it. */
import type { Conditions, FigureQuantity } from '../schema/figure.ts'
import type { AmountUnit } from './amounts.ts'

export interface Kind {
  readonly unit: AmountUnit
  /** Signed: both ways from 0. Named: a figure alone does not say which side it bounds. */
  readonly sense: 'least' | 'most' | 'signed' | 'named'
  /** One frequency or a range of them; a range; the band that is measured in; none. */
  readonly frequency: 'spot' | 'range' | 'measured' | 'none'
  /** Whether a band that is measured in may stand beside the frequency. */
  readonly measures: boolean
  /** At rated output, or half of it, where nothing else is printed; as printed; none. */
  readonly level: 'rated' | 'half' | 'printed' | 'none'
  /** Where nothing is printed, the rated load, and the rated source, are meant. */
  readonly ratedLoad: boolean
  readonly ratedSource: boolean
  /** Further conditions of its own. */
  readonly own: readonly (keyof Conditions)[]
}

const kind = (unit: AmountUnit, sense: Kind['sense'], more: Partial<Kind> = {}): Kind => ({
  unit, sense, frequency: 'none', measures: false, level: 'none', ratedLoad: false, ratedSource: false,
  own: [], ...more,
})
const limit = ['distortion', 'distortionOf', 'orders'] as const
const heard = ['weighting', 'detector'] as const

export const kinds: Readonly<Record<FigureQuantity, Kind>> = {
  'output power': kind('W', 'least', { frequency: 'spot', measures: true, ratedLoad: true, own: limit }),
  thd: kind('share', 'most', { frequency: 'spot', level: 'rated', ratedLoad: true, own: ['orders'] }),
  'thd+n': kind('share', 'most', { frequency: 'spot', measures: true, level: 'rated', ratedLoad: true }),
  intermodulation: kind('share', 'most', {
    level: 'rated', ratedLoad: true, own: ['form', 'toneLowHz', 'toneHighHz', 'arithmetic'],
  }),
  'response deviation': kind('dB', 'signed', { frequency: 'range', level: 'printed' }),
  noise: kind('V', 'most', { frequency: 'measured', ratedSource: true, own: heard }),
  'signal to noise': kind('dB', 'least', {
    frequency: 'measured', level: 'rated', ratedSource: true, own: heard,
  }),
  hum: kind('V', 'most', { ratedSource: true }),
  separation: kind('dB', 'least', { frequency: 'spot', level: 'printed', ratedSource: true }),
  'damping factor': kind('1', 'least', { frequency: 'spot', level: 'printed', ratedLoad: true }),
  'input sensitivity': kind('V', 'most', { frequency: 'spot', level: 'rated', ratedLoad: true }),
  gain: kind('dB', 'named', { frequency: 'spot', level: 'printed' }),
  'dc offset': kind('V', 'signed'),
  'equalisation error': kind('dB', 'signed', { frequency: 'range', level: 'printed', own: ['curve'] }),
  'power bandwidth low': kind('Hz', 'most', { level: 'half', ratedLoad: true, own: limit }),
  'power bandwidth high': kind('Hz', 'least', { level: 'half', ratedLoad: true, own: limit }),
  'response low': kind('Hz', 'most', { level: 'printed', own: ['bandDb'] }),
  'response high': kind('Hz', 'least', { level: 'printed', own: ['bandDb'] }),
  'overload recovery': kind('s', 'most', {
    frequency: 'spot', level: 'printed', ratedLoad: true, own: ['overloadDb'],
  }),
  'channel balance': kind('dB', 'signed', { frequency: 'spot', level: 'printed' }),
}

const common = ['loadOhm', 'driven', 'sourceOhm', 'mainsV', 'ambientC'] as const

/** Conditions that a claim of that quantity may have. */
export function conditionsOf(quantity: FigureQuantity): readonly (keyof Conditions)[] {
  const { frequency, level, own } = kinds[quantity]
  return [
    ...common, ...own, ...frequency === 'spot' ? ['frequencyHz'] as const : [],
    ...frequency === 'none' ? [] : ['bandLowHz', 'bandHighHz'] as const,
    ...level === 'none' ? [] : ['outputW', 'outputV', 'reference'] as const,
  ]
}
