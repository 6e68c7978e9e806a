/** Claims and conditions drawn at random: any that the shapes allow and that a unit could have. */
import fc from 'fast-check'
import { conditionsOf, kinds } from '../../src/claims/kinds.ts'
import { claim, type Claim } from '../../src/schema/claims.ts'
import { figureQuantities, intermodulationForms, weightings, type Conditions, type FigureQuantity } from '../../src/schema/figure.ts'

/** Few figures, as people print, or all that a number can have. */
const between = (low: number, high: number): fc.Arbitrary<number> => fc.oneof(
  fc.double({ min: low, max: high, noNaN: true }),
  fc.double({ min: low, max: high, noNaN: true }).map(value => Number(value.toPrecision(2))).filter(value => value >= low && value <= high && value !== 0),
).map(value => value || low)

const pair = (low: number, high: number): fc.Arbitrary<readonly [number, number]> =>
  fc.tuple(between(low, high), between(low, high)).filter(([a, b]) => a !== b).map(([a, b]) => a < b ? [a, b] : [b, a])

const words = fc.string({ unit: fc.constantFrom(...'abc xyz 0123,.;:%()/dBW'), minLength: 1, maxLength: 40 })
const one: Partial<Record<keyof Conditions, fc.Arbitrary<unknown>>> = {
  frequencyHz: between(1, 1e5), loadOhm: between(0.1, 1e5), outputW: between(1e-3, 1e4), outputV: between(1e-5, 1e3),
  distortion: between(1e-6, 1), distortionOf: fc.constantFrom('thd', 'thd+n'), orders: fc.integer({ min: 2, max: 99 }),
  driven: fc.constantFrom('one', 'all'), weighting: fc.constantFrom(...weightings), detector: fc.constantFrom('rms', 'average', 'quasi-peak'),
  sourceOhm: fc.oneof(fc.constant(0), between(0.1, 1e5)), arithmetic: words,
  curve: fc.constantFrom('riaa', 'iec'), reference: fc.oneof(words, fc.constant('rated output')), mainsV: between(10, 260), ambientC: fc.oneof(between(1, 60), between(1, 40).map(value => -value)),
  bandDb: between(0.1, 20), overloadDb: between(0.1, 40),
}

function conditionsFor(quantity: FigureQuantity): fc.Arbitrary<Conditions> {
  const allowed = conditionsOf(quantity)
  const keys = allowed.filter(key => one[key] !== undefined)
  const record = fc.record(Object.fromEntries(keys.map(key => [key, one[key]!])), { requiredKeys: [] })
  const band = allowed.includes('bandLowHz') ? fc.option(pair(1, 1e5), { nil: undefined }) : fc.constant(undefined)
  const form = quantity === 'intermodulation' ? fc.option(fc.constantFrom(...intermodulationForms), { nil: undefined }) : fc.constant(undefined)
  const tones = quantity === 'intermodulation' ? fc.option(pair(10, 1e5), { nil: undefined }) : fc.constant(undefined)
  return fc.tuple(record, band, form, tones).map(([set, range, named, two]) => fitting(quantity, {
    ...set, ...range && { bandLowHz: range[0], bandHighHz: range[1] }, ...named && { form: named },
    ...named && two && { toneLowHz: two[0], toneHighHz: two[1] },
  } as Conditions))
}

/** What means something together: no name of a distortion that is not there, no range and frequency where that says nothing. */
function fitting(quantity: FigureQuantity, { distortionOf, frequencyHz, ...rest }: Conditions): Conditions {
  const { measures } = kinds[quantity]
  const isRated = rest.reference === 'rated output' && (rest.outputW ?? rest.outputV) !== undefined
  const { reference: _, ...others } = rest
  return {
    ...isRated ? others : rest, ...distortionOf && rest.distortion !== undefined ? { distortionOf } : {},
    ...frequencyHz !== undefined && (measures || rest.bandLowHz === undefined) ? { frequencyHz } : {},
  }
}

function boundsFor(quantity: FigureQuantity): fc.Arbitrary<Pick<Claim, 'least' | 'most'>> {
  const { sense, unit } = kinds[quantity]
  if (sense === 'signed') {
    const scale = unit === 'V' ? 0.1 : 10
    return fc.oneof(
      between(1e-3 * scale, scale).map(most => ({ least: -most, most })),
      fc.tuple(fc.oneof(fc.constant(0), between(1e-3, scale)), between(1e-3, scale)).map(([down, most]) => ({ least: -down || 0, most })),
      fc.tuple(between(1e-3, scale), fc.oneof(fc.constant(0), between(1e-3, scale))).map(([down, most]) => ({ least: -down, most })),
      pair(-scale, scale).filter(ends => ends.every(end => Math.abs(end) >= 1e-3 * scale)).map(([least, most]) => ({ least, most })),
    )
  }
  const size = unit === 'share' ? between(1e-6, 1) : unit === 'Hz' ? between(1, 1e5) : unit === 's' ? between(1e-5, 10) : between(1e-3, 500)
  return fc.oneof(size.map(least => ({ least })), size.map(most => ({ most })),
    fc.tuple(size, size).filter(([a, b]) => a !== b).map(([a, b]) => ({ least: Math.min(a, b), most: Math.max(a, b) })))
}

/** Of one quantity, or of any. */
export const anyClaim = (quantity?: FigureQuantity): fc.Arbitrary<Claim> =>
  (quantity ? fc.constant(quantity) : fc.constantFrom(...figureQuantities)).chain(of =>
    fc.tuple(boundsFor(of), conditionsFor(of), fc.option(fc.constantFrom('left', 'right', 'monitor-2'), { nil: undefined }))
      .map(([bounds, conditions, channel]) => claim.parse({ quantity: of, ...bounds, conditions, ...channel && { channel } })))
