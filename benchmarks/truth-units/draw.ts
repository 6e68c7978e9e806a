/**
 * Units for the truth study of proofs: a kind, hidden figures, and claims about one channel whose bounds are
 * drawn about what it really does, so that each may go either way.
 */
import { makeUnit, type UnitKind } from '../../mocks/units/make-unit.ts'
import type { SimulatedUnit } from '../../mocks/units/amplifier.ts'
import { UnitFigures } from '../../mocks/units/figures.ts'
import { modulationOf } from '../../mocks/units/pairs.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { Conditions, FigureQuantity } from '../../src/schema/figure.ts'
import { unitProfile, type UnitProfile } from '../../src/schema/unit-profile.ts'

export interface StudyUnit {
  readonly kind: UnitKind
  readonly unit: SimulatedUnit
  readonly profile: UnitProfile
  readonly benchSeed: number
}

const kinds = ['solid-state', 'capacitor-coupled', 'public-address', 'bridged', 'valve'] as const satisfies readonly UnitKind[]

export function drawStudyUnit(seed: number, index: number): StudyUnit {
  const name = `units ${seed} ${index}`
  const random = new SeededRandom(name)
  const kind = random.pick([...kinds])
  // Of its lines the bank of loads has the one of 40 W.
  const design = kind === 'public-address' ? { design: { ratedW: 40, loadOhm: 250 } } : {}
  const made = makeUnit(kind, name, design)
  const printed = unitProfile.parse({ ...made.printed.profile, claims: [] })
  const channel = random.integer(0, made.truth.channels.length - 1)
  const claims = claimsFor(made.world, channel, random.fork('claims'))
  const profile = unitProfile.parse({ ...printed, claims })
  return { kind, unit: made.world, profile, benchSeed: random.integer(1, 2 ** 30) }
}

interface Drawn {
  readonly quantity: FigureQuantity
  readonly value: number
  readonly better: 'more' | 'less'
  /** Standard deviation of the bound about the value: some five standard uncertainties. */
  readonly spread: number
  readonly conditions: Conditions
}

/** Each as a claim taken apart. What the unit does not do, it does not claim. */
function claimsFor(unit: SimulatedUnit, channel: number, random: SeededRandom): UnitProfile['claims'] {
  const { name } = unit.truth.channels[channel]!
  return drawnFor(unit, channel).filter(({ value }) => Number.isFinite(value) && value !== 0).map(one => {
    const { quantity, value, better, spread, conditions } = one
    if (quantity === 'dc offset') {
      return { quantity, most: Math.max(1e-5, Math.abs(value) + spread * random.normal()), conditions, channel: name }
    }
    const bound = value + spread * random.normal()
    return { quantity, ...better === 'more' ? { least: bound } : { most: bound }, conditions, channel: name }
  }) as UnitProfile['claims']
}

const orders = 10
const limitOf = ({ output }: SimulatedUnit['truth']['channels'][number]): number =>
  output.isValve ? 0.03 : output.transformer ? 0.02 : 0.01

function drawnFor({ truth }: SimulatedUnit, channel: number): Drawn[] {
  const figures = new UnitFigures(truth, { sourceOhm: sourceOf(truth.channels[channel]!.output.isValve) })
  const terminals = new UnitFigures(truth)
  const { output } = truth.channels[channel]!
  const { ratedOhm: loadOhm, ratedW } = output
  const hz = 1000
  const emfAt = (watts: number): number => figures.emfFor(channel, hz, Math.sqrt(watts * loadOhm)) ?? NaN
  const halfW = ratedW / 2
  const one = { frequencyHz: hz, loadOhm, driven: 'one' as const }
  const share = (of: number, value: number): number => of * Math.abs(value)
  const say = (
    quantity: FigureQuantity, value: number, better: Drawn['better'], spread: number, conditions: Conditions,
  ): Drawn => ({ quantity, value, better, spread, conditions })
  const thd = figures.distortion({ channel, hz, emfV: emfAt(halfW) }, { orders })
  const smpte = modulationOf(figures, channel, emfAt(halfW)).pairs
  const distortion = limitOf(truth.channels[channel]!)
  const power = figures.powerAt(channel, distortion, hz, { orders })?.watts ?? NaN
  const { fromHz, toHz } = figures.corners(channel)
  const noise = figures.noiseV(channel, 'A')
  const hum = figures.humV(channel)
  const sensitivity = terminals.sensitivityV(channel, halfW, hz) ?? NaN
  const gain = terminals.gainDb({ channel, hz, emfV: sensitivity })
  const damping = figures.dampingFactor(channel, hz, emfAt(halfW / 4))
  return [
    say('gain', gain, 'more', 0.08, { frequencyHz: hz, loadOhm }),
    say('input sensitivity', sensitivity, 'less', share(0.015, sensitivity), { ...one, outputW: halfW }),
    say('thd', thd, 'less', share(0.05, thd), { ...one, outputW: halfW, orders }),
    say('intermodulation', smpte, 'less', share(0.05, smpte), { loadOhm, driven: 'one', outputW: halfW, form: 'smpte' }),
    say('output power', power, 'more', share(0.03, power), { ...one, distortion, distortionOf: 'thd', orders }),
    say('response low', fromHz, 'less', share(0.01, fromHz), { bandDb: 3 }),
    say('response high', toHz, 'more', share(0.003, toHz), { bandDb: 3 }),
    say('noise', noise, 'less', share(0.05, noise), { weighting: 'A', detector: 'rms' }),
    say('hum', hum, 'less', share(0.02, hum), {}),
    say('dc offset', figures.dcOffsetV(channel), 'less', 1e-3, {}),
    ...truth.channels.length > 1
      ? [say('separation', figures.separationDb(1 - channel, hz), 'more', 0.06, { frequencyHz: hz, driven: 'one' })] : [],
    ...output.isValve ? [] : [say('damping factor', damping, 'more', share(0.04, damping), { frequencyHz: hz, loadOhm })],
  ]
}

/** Of the stand, as its leads are made for a unit. */
const sourceOf = (isValve: boolean): number => isValve ? 10_000 : 600
