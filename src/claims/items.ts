/** What the words of a claim are made of, each with its place in the text. */
import type { Conditions } from '../schema/figure.ts'
import type { Amount } from './amounts.ts'

export const subjects = [
  'output power', 'intermodulation', 'signal to noise', 'hum and noise', 'noise', 'hum',
  'separation', 'crosstalk', 'damping factor', 'input sensitivity', 'gain', 'dc offset', 'equalisation error',
  'power bandwidth', 'power bandwidth low', 'power bandwidth high', 'response', 'response low',
  'response high', 'overload recovery', 'channel balance',
] as const
export type Subject = (typeof subjects)[number]

/** What `any` may leave open: nothing is then assumed of it. */
export const openable = [
  'frequency', 'measuring band', 'band', 'level', 'load', 'source', 'weighting', 'detector', 'form', 'tones',
  'curve', 'drop', 'overload', 'distortion',
] as const
export type Openable = (typeof openable)[number]

/** Null: the word distortion alone; either: one of the two, whichever was measured. */
export type DistortionName = 'thd' | 'thd+n' | 'either' | null

export type Said =
  | { readonly kind: 'subject'; readonly subject: Subject }
  | { readonly kind: 'distortion'; readonly of: DistortionName }
  /** `isAt`: a condition, and never what is claimed. */
  | { readonly kind: 'amount'; readonly amount: Amount; readonly isAt: boolean }
  | { readonly kind: 'conditions'; readonly set: Conditions }
  /** Volts of a line that carries the power of the claim. */
  | { readonly kind: 'line'; readonly lineV: number }
  | { readonly kind: 'rated' }
  | { readonly kind: 'measured'; readonly low: number; readonly high: number }
  | { readonly kind: 'ratio'; readonly ratio: number }
  | { readonly kind: 'times'; readonly count: number }
  | { readonly kind: 'any'; readonly what: Openable }
  | { readonly kind: 'channel'; readonly name: string }

/** From `at` up to `end` in the text. */
export type Item = Said & { readonly at: number; readonly end: number }

/** What could not be read: a place, what belongs there, and the way out where there is one. */
export interface Unread { readonly at: number; readonly end: number; readonly expected: string }
