/** Draws whole units: the same kind, seed and faults always give the same one. */
import { assert } from '../../src/base/assert.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { SimulatedUnit } from './amplifier.ts'
import { drawUnit, type Design } from './draw.ts'
import { canHave, withFault, type UnitFault } from './faults.ts'
import { printedOf, type Printed } from './printed.ts'
import type { UnitTruth } from './truth.ts'

export const unitKinds = [
  'solid-state', 'capacitor-coupled', 'public-address', 'bridged', 'valve', 'phono',
] as const
export type UnitKind = (typeof unitKinds)[number]

export interface MakeUnitOptions {
  readonly faults?: readonly UnitFault[]
  /** Anything of the design that a scenario fixes. */
  readonly design?: Partial<Design>
  /** Name of the unit in its profile. */
  readonly name?: string
  readonly ambientC?: number
}

export interface MadeUnit {
  readonly kind: UnitKind
  readonly faults: readonly UnitFault[]
  /** Only tests, and whoever reveals it in the end, may look. */
  readonly truth: UnitTruth
  /** What the unit says of itself. */
  readonly printed: Printed
  readonly world: SimulatedUnit
}

export function makeUnit(kind: UnitKind, seed: number | string, options: MakeUnitOptions = {}): MadeUnit {
  const { faults = [], ambientC = 22 } = options
  const random = new SeededRandom(seed).fork(kind)
  const design = { ...designs[kind](random.fork('design')), ...options.design }
  const name = options.name ?? `${kind}-${String(seed).toLowerCase().replace(/[^a-z0-9]+/g, '-')}`
  const sound = drawUnit(name, design, random.fork('truth'))
  let truth = sound
  for (const fault of faults) {
    assert(canHave(truth, fault), `a ${kind} unit cannot have ${fault}`)
    truth = withFault(truth, fault, random.fork(fault))
  }
  const printed = once(() => printedOf(sound, random.fork('printed'), faults.includes('wrong-claim')))
  return {
    kind, faults, truth, world: new SimulatedUnit(truth, seed, ambientC),
    get printed() { return printed() },
  }
}

/** What is printed is worked out from true figures, which takes a while: when it is first asked for. */
function once<T>(of: () => T): () => T {
  let value: T | undefined
  return () => value ??= of()
}

/** Of a public-address line at its rated watts. */
const lineV = 100
const stereo = ['left', 'right'] as const
const direct: Design = {
  channels: stereo, arrangement: 'split', ratedW: 40, loadOhm: 8, sensitivityV: 0.775, railV: 35,
  outputKind: 'earthed', isValve: false, hasTransformer: false, inputOhm: 47e3, isPhono: false,
}

/** Rails that give the watts and some more straight into a load, V. */
const railFor = (watts: number, ohm: number, random: SeededRandom): number =>
  1.04 * Math.sqrt(2 * watts * ohm * random.uniform(1.3, 1.6)) + 2.3

const designs: Readonly<Record<UnitKind, (random: SeededRandom) => Design>> = {
  'solid-state': random => {
    const ratedW = random.pick([15, 25, 40, 60])
    const sensitivityV = random.pick([0.5, 0.775, 1])
    return { ...direct, ratedW, railV: railFor(ratedW, 8, random), sensitivityV }
  },
  'capacitor-coupled': random => {
    const ratedW = random.pick([8, 12, 20])
    const railV = 2 * railFor(ratedW, 8, random)
    return { ...direct, ratedW, arrangement: 'half', railV, sensitivityV: 0.5 }
  },
  'public-address': random => {
    const ratedW = random.pick([30, 40, 60])
    return {
      ...direct, ratedW, loadOhm: lineV ** 2 / ratedW, railV: random.uniform(30, 40),
      outputKind: 'line-transformer', hasTransformer: true, inputOhm: 22e3,
    }
  },
  bridged: random => ({
    ...direct, ratedW: random.pick([60, 100]), railV: random.uniform(24, 30), outputKind: 'bridged',
  }),
  valve: random => ({
    ...direct, channels: random.pick([stereo, ['mono']]), arrangement: 'push-pull',
    ratedW: random.pick([8, 10, 15]), railV: random.uniform(290, 340), isValve: true, hasTransformer: true,
    inputOhm: 220e3, sensitivityV: 0.5,
  }),
  phono: () => ({
    ...direct, ratedW: 1e-4, loadOhm: 10e3, railV: 12, sensitivityV: 5e-3, isPhono: true,
  }),
}
