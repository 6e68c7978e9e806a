/**
 * What is meant where a claim prints nothing: said, and never silent. The rules are ours, after common
 * practice; `any frequency` and its like in the words leave a condition open.
 */
import type { Conditions, FigureQuantity } from '../schema/figure.ts'
import { written } from './figures.ts'
import type { Openable } from './items.ts'
import { kinds } from './kinds.ts'
import type { Under } from './under.ts'

/** What the unit profile says of a channel. */
export interface Rating {
  readonly name: string
  readonly ratedW: number
  readonly loadOhm: number
  readonly sourceOhm: number
}

/** The conditions that hold, what was assumed for them, and what must be printed and is not. */
export interface Assumed {
  readonly set: Conditions
  readonly notes: readonly string[]
  readonly missing: readonly string[]
}

interface Draft {
  readonly quantity: FigureQuantity
  readonly under: Under
  readonly rating: Rating | null
  set: Conditions
  readonly notes: string[]
  readonly missing: string[]
}

/** `claimedW`: the power that is claimed, null where it is something else. */
export function assume(
  quantity: FigureQuantity, under: Under, rating: Rating | null, claimedW: number | null,
): Assumed {
  const draft: Draft = {
    quantity, under, rating, set: { ...under.set }, notes: [...under.assumed], missing: [],
  }
  for (const step of [ofDistortion, ofFrequency, ofBand, ofLevel, ofTones, ofDriven, ofRest]) step(draft)
  ofLoad(draft, claimedW)
  return draft
}

function set(draft: Draft, conditions: Conditions, note: string): void {
  draft.set = { ...draft.set, ...conditions }
  draft.notes.push(note)
}
const isOpen = ({ under }: Draft, what: Openable): boolean => under.open.has(what)

function ofDistortion(draft: Draft): void {
  const { quantity, under } = draft
  if (!kinds[quantity].own.includes('distortion')) return
  if (draft.set.distortion === undefined) {
    if (!isOpen(draft, 'distortion')) {
      draft.missing.push('the distortion up to which it counts, like at 1 % THD')
    }
  } else if (draft.set.distortionOf === undefined && under.isUnnamed) {
    set(draft, { distortionOf: 'thd' }, 'distortion: harmonic (THD), as nothing else is printed')
  }
}

const spotHz = 1000
const audio = { bandLowHz: 20, bandHighHz: 20_000 }
const audioWords = `${written(20, 'Hz')} to ${written(20_000, 'Hz')}`

function ofFrequency(draft: Draft): void {
  const { frequency, measures } = kinds[draft.quantity]
  const { frequencyHz, bandLowHz } = draft.set
  if (frequency !== 'spot' || frequencyHz !== undefined || isOpen(draft, 'frequency')) return
  if (bandLowHz !== undefined && !(measures && draft.under.isMeasured)) return
  set(draft, { frequencyHz: spotHz }, `frequency: ${written(spotHz, 'Hz')}, as none is printed`)
}

function ofBand(draft: Draft): void {
  const { quantity } = draft
  const { frequency } = kinds[quantity]
  if (draft.set.bandLowHz !== undefined || isOpen(draft, 'band') || isOpen(draft, 'measuring band')) return
  const hasNoise = quantity === 'thd+n' || quantity === 'output power' && draft.set.distortionOf === 'thd+n'
  if (quantity === 'response deviation') {
    draft.missing.push('the band in which it holds, like 20 Hz to 20 kHz')
  } else if (frequency === 'range') set(draft, audio, `band: ${audioWords}, as none is printed`)
  else if (frequency === 'measured' || hasNoise) {
    set(draft, audio, `measured from ${audioWords}, as no band is printed`)
  }
}

/** The watts that are still reached at the ends of a power bandwidth. */
function ofHalf(draft: Draft): void {
  const { under, rating } = draft
  const { bandDb, ...rest } = draft.set
  if (bandDb === undefined && under.isRated) {
    draft.missing.push('how far below rated output, like -3 dB; a power bandwidth usually ends at half of it')
  }
  if ((rest.outputW ?? rest.outputV ?? rest.reference) !== undefined) {
    if (bandDb !== undefined) draft.missing.push('the watts that its ends still give, or decibels, not both')
    return
  }
  if (isOpen(draft, 'level')) return
  const isHalf = bandDb === undefined || bandDb === 3
  const said = bandDb === undefined ? 'its ends give half of rated output, as nothing else is printed'
    : `its ends give ${bandDb} dB less than rated output`
  const share = isHalf ? 0.5 : 10 ** (-bandDb / 10)
  draft.set = rest
  if (rating) {
    const outputW = share * rating.ratedW
    set(draft, { outputW }, `${said}; that is ${written(Number(outputW.toPrecision(4)), 'W')}`)
  } else if (isHalf) set(draft, { reference: 'half of rated output' }, `${said}; the unit is not known here`)
  else draft.missing.push('the watts that its ends still give, or --unit with its profile')
}

/** Rated output in watts where the unit is known. */
function ofLevel(draft: Draft): void {
  if (kinds[draft.quantity].level === 'half') return ofHalf(draft)
  const { quantity, under, rating } = draft
  const { level } = kinds[quantity]
  const isPrinted = (['outputW', 'outputV', 'reference'] as const).some(key => draft.set[key] !== undefined)
  if (isPrinted && under.isRated) draft.missing.push('one level: rated output, or the one that is printed')
  if (isPrinted || isOpen(draft, 'level') || !under.isRated && level !== 'rated') return
  const said = under.isRated ? 'rated output' : 'level: rated output, as none is printed'
  if (rating === null) set(draft, { reference: 'rated output' }, `${said}; the unit is not known here`)
  else set(draft, { outputW: rating.ratedW }, `${said}; that is ${written(rating.ratedW, 'W')}`)
}

function ofTones(draft: Draft): void {
  if (draft.quantity !== 'intermodulation') return
  const { ratio } = draft.under
  const { form = formOf(draft.set, ratio), toneLowHz } = draft.set
  if (form === undefined) {
    if (!isOpen(draft, 'form')) {
      draft.missing.push('which intermodulation: 60 Hz and 7 kHz 4:1, difference tones 19 and 20 kHz, '
        + 'or transient')
    }
    return
  }
  const levels = form === 'difference' ? 1 : 4
  if (ratio !== null && ratio !== levels) {
    draft.missing.push(`tones of ${levels}:1, as this form of intermodulation has them`)
  }
  if (draft.set.form === undefined) set(draft, { form }, `form: ${form}, by its tones`)
  if (toneLowHz !== undefined || isOpen(draft, 'tones')) return
  if (form === 'difference') draft.missing.push('both difference tones, like 19 and 20 kHz')
  else {
    const [low, high] = form === 'smpte' ? [60, 7000] : [3150, 15_000]
    const note = `tones: ${written(low, 'Hz')} and ${written(high, 'Hz')}, as none are printed`
    set(draft, { toneLowHz: low, toneHighHz: high }, note)
  }
}

/** Which form two tones make: far apart 4:1, or close together 1:1. */
function formOf({ toneLowHz, toneHighHz }: Conditions, ratio: number | null): Conditions['form'] {
  if (toneLowHz === undefined || toneHighHz === undefined) return undefined
  const apart = toneHighHz / toneLowHz
  if (apart >= 8 && (ratio === null || ratio === 4)) return 'smpte'
  return apart < 2 && (ratio === null || ratio === 1) ? 'difference' : undefined
}

function ofDriven(draft: Draft): void {
  const { times } = draft.under
  if (times === null || times.count < 2 || draft.set.driven !== undefined) return
  set(draft, { driven: 'all' }, `driven: all channels at once, as ${times.count} x is printed`)
}

function ofRest(draft: Draft): void {
  const { quantity } = draft
  const { own, ratedSource } = kinds[quantity]
  if (own.includes('weighting')) {
    if (draft.set.weighting === undefined && !isOpen(draft, 'weighting')) {
      set(draft, { weighting: 'flat' }, 'unweighted, as no weighting is printed')
    }
    if (draft.set.weighting === '468' && draft.set.detector === undefined && !isOpen(draft, 'detector')) {
      set(draft, { detector: 'quasi-peak' }, 'quasi-peak detector, which belongs to this weighting')
    }
  }
  if (ratedSource && draft.set.sourceOhm === undefined && !isOpen(draft, 'source') && draft.rating) {
    const { sourceOhm } = draft.rating
    const note = `input terminated in ${written(sourceOhm, 'Ω')}, as the unit's profile has it`
    set(draft, { sourceOhm }, note)
  }
  if (own.includes('bandDb') && draft.set.bandDb === undefined && !isOpen(draft, 'drop')) {
    set(draft, { bandDb: 3 }, `its end is where it is 3 dB down, as nothing else is printed`)
  }
  if (own.includes('overloadDb') && draft.set.overloadDb === undefined && !isOpen(draft, 'overload')) {
    draft.missing.push('from how much overload it recovers, like 10 dB of overload')
  }
  if (own.includes('curve') && draft.set.curve === undefined && !isOpen(draft, 'curve')) {
    draft.missing.push('the curve, RIAA or IEC')
  }
}

/** A line of so many volts that carries so many watts is a load of V²/P. */
function ofLoad(draft: Draft, claimedW: number | null): void {
  const { under: { lineV }, rating, quantity } = draft
  if (lineV !== null) {
    const watts = claimedW ?? draft.set.outputW ?? rating?.ratedW
    if (draft.set.loadOhm !== undefined) draft.missing.push('one load: ohms or a line')
    else if (watts === undefined) {
      draft.missing.push('the watts that the line carries, or --unit with its profile')
    } else {
      const loadOhm = lineV ** 2 / watts
      const from = `${written(lineV, 'V')} line at ${written(watts, 'W')}`
      set(draft, { loadOhm }, `a ${from} is a load of ${written(Number(loadOhm.toPrecision(4)), 'Ω')}`)
    }
    return
  }
  if (!kinds[quantity].ratedLoad || draft.set.loadOhm !== undefined || isOpen(draft, 'load')) return
  if (rating === null) draft.notes.push('load: left open, as none is printed and the unit is not known here')
  else {
    const { loadOhm } = rating
    set(draft, { loadOhm }, `load: ${written(loadOhm, 'Ω')}, as the unit's profile has it`)
  }
}
