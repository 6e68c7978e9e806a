/**
 * What a simulated unit says of itself: its profile and its claims, in the shapes of the files that people
 * write. Claims are drawn around the true figures; a wrong one claims more than there is.
 */
import type { SeededRandom } from '../../src/base/random.ts'
import { UnitFigures } from './figures.ts'
import { modulationOf } from './pairs.ts'
import type { ChannelTruth, UnitTruth } from './truth.ts'

export interface PrintedClaim {
  readonly claim: {
    readonly quantity: string; readonly least?: number; readonly most?: number
    readonly conditions: Readonly<Record<string, number | string>>
  }
  /** Of the worst channel, in the unit of the quantity. */
  readonly trueValue: number
  readonly isTrue: boolean
}
export interface Printed {
  /** As a unit profile is written, its claims among it. */
  readonly profile: Readonly<Record<string, unknown>>
  readonly claims: readonly PrintedClaim[]
}

export function printedOf(truth: UnitTruth, random: SeededRandom, isOneWrong: boolean): Printed {
  const drafts = draftsOf(truth)
  const wrongAt = isOneWrong ? random.integer(0, drafts.length - 1) : -1
  const claims = drafts.map((draft, i) => printedClaim(draft, random, i === wrongAt))
  return { claims, profile: { ...profileOf(truth), claims: claims.map(({ claim }) => claim) } }
}

interface Draft {
  readonly quantity: string
  readonly value: number
  /** More is better, or less. */
  readonly better: 'more' | 'less'
  /** Levels in dB move by a difference, all else by a factor. */
  readonly isDb?: boolean
  /** Goes either way from 0: bounded on both sides. */
  readonly isSigned?: boolean
  readonly conditions: Readonly<Record<string, number | string>>
}

/** A claim on the safe side by 5 to 25 % (1 to 4 dB), or as far on the wrong side. */
function printedClaim(
  { quantity, value, better, isDb, isSigned, conditions }: Draft, random: SeededRandom, isWrong: boolean,
): PrintedClaim {
  const slack = isDb ? random.uniform(1, 4) : random.uniform(0.05, 0.25)
  const worse = (better === 'more') !== isWrong
  const moved = worse ? -slack : slack
  const stated = Number((isDb ? value + moved : value * (1 + moved)).toPrecision(3))
  const bounds = isSigned ? { least: -stated, most: stated }
    : better === 'more' ? { least: stated } : { most: stated }
  return {
    claim: { quantity, ...bounds, conditions },
    trueValue: value, isTrue: better === 'more' ? value >= stated : value <= stated,
  }
}

/** Distortion at which power is told, by how a unit is built; as such units print it. */
const limitOf = ({ output }: ChannelTruth): number => output.isValve ? 0.03 : output.transformer ? 0.02 : 0.01
const orders = 10

function draftsOf(truth: UnitTruth): Draft[] {
  const figures = new UnitFigures(truth, { driven: 'all' })
  const all = truth.channels.map((_, i) => i)
  const least = (of: (channel: number) => number): number => Math.min(...all.map(of))
  const most = (of: (channel: number) => number): number => Math.max(...all.map(of))
  const { output, equalisation } = truth.channels[0]!
  const loadOhm = output.ratedOhm
  const halfV = Math.sqrt(output.ratedW / 2 * loadOhm)
  const drafts: Draft[] = [
    {
      quantity: 'noise', value: most(i => figures.noiseV(i, 'A')), better: 'less',
      conditions: { weighting: 'A', sourceOhm: 0, detector: 'rms' },
    },
    {
      quantity: 'damping factor', better: 'more', conditions: { frequencyHz: 1000, loadOhm },
      value: least(i => figures.dampingFactor(i, 1000, figures.emfFor(i, 1000, halfV / 2)!, 1.5 * loadOhm)),
    },
  ]
  if (all.length > 1) {
    drafts.push({
      quantity: 'separation', value: least(i => figures.separationDb(i, 1000)), better: 'more', isDb: true,
      conditions: { frequencyHz: 1000, driven: 'one' },
    })
  }
  return [...drafts, ...equalisation ? equalDrafts(figures, all) : poweredDrafts(truth, figures, all)]
}

/** The response of a phono input is its curve: what is claimed is how near it comes. */
function equalDrafts(figures: UnitFigures, channels: readonly number[]): Draft[] {
  const ladder = Array.from({ length: 31 }, (_, i) => 20 * 1000 ** (i / 30))
  const errors = channels.flatMap(i => ladder.map(hz => Math.abs(figures.equalisationErrorDb(i, hz, 'riaa'))))
  const worst = Math.max(...errors)
  return [{
    quantity: 'equalisation error', value: worst, better: 'less', isSigned: true,
    conditions: { curve: 'riaa', bandLowHz: 20, bandHighHz: 20_000 },
  }]
}

function poweredDrafts(truth: UnitTruth, figures: UnitFigures, channels: readonly number[]): Draft[] {
  const { output } = truth.channels[0]!
  const loadOhm = output.ratedOhm
  const halfV = Math.sqrt(output.ratedW / 2 * loadOhm)
  const distortion = limitOf(truth.channels[0]!)
  const emf = (i: number): number => figures.emfFor(i, 1000, halfV)!
  const least = (of: (channel: number) => number): number => Math.min(...channels.map(of))
  const most = (of: (channel: number) => number): number => Math.max(...channels.map(of))
  return [
    {
      quantity: 'output power', better: 'more',
      value: least(i => figures.powerAt(i, distortion, 1000, { orders })?.watts ?? 0),
      conditions: { frequencyHz: 1000, loadOhm, distortion, distortionOf: 'thd', orders, driven: 'all' },
    },
    {
      quantity: 'thd', better: 'less',
      conditions: { frequencyHz: 1000, loadOhm, outputW: output.ratedW / 2, orders, driven: 'all' },
      value: most(i => figures.distortion({ channel: i, hz: 1000, emfV: emf(i) }, { orders })),
    },
    {
      quantity: 'intermodulation', better: 'less',
      conditions: {
        form: 'smpte', arithmetic: 'sidebands of a pair added, pairs by squares, of the high tone', loadOhm,
        outputW: output.ratedW / 2, driven: 'all',
      },
      value: most(i => modulationOf(figures, i, emf(i)).pairs),
    },
    {
      quantity: 'response low', value: most(i => figures.corners(i).fromHz), better: 'less',
      conditions: { bandDb: 3 },
    },
    {
      quantity: 'response high', value: least(i => figures.corners(i).toHz), better: 'more',
      conditions: { bandDb: 3 },
    },
    {
      quantity: 'input sensitivity', better: 'less',
      conditions: { frequencyHz: 1000, loadOhm, outputW: output.ratedW / 2, sourceOhm: 0 },
      value: most(emf),
    },
  ]
}

function profileOf({ name, channels, supply, thermal }: UnitTruth): Record<string, unknown> {
  const fullW = channels.reduce((sum, { output }) => sum + output.ratedW, 0)
  const stagesW = channels.reduce((sum, { power: { idleA, plusRail } }) =>
    sum + 2 * idleA * railV(supply, plusRail), 0)
  const idleW = supply.coreW + supply.heaterW + 10 + stagesW
  return {
    version: 1, unit: name, description: `Simulated unit ${name}`,
    supply: {
      kind: 'mains', voltageV: supply.mainsV, frequencyHz: supply.mainsHz, protection: 'earthed',
      fuse: `T${Number(supply.fuseA.toPrecision(2))}A`, currentMaxA: supply.fuseA,
      powerIdleMaxW: Math.ceil(2 * idleW), powerMaxW: Math.ceil(2 * idleW + 2.2 * fullW), mayRunLow: true,
    },
    channels: channels.map(channelProfile),
    rails: supply.rails.map(rail => ({
      name: rail.name, nominalV: Number(rail.openV.toPrecision(3)), tolerance: 0.15,
      ...supply.rails.length === 2 ? { pairedWith: supply.rails.find(each => each !== rail)!.name } : {},
    })),
    idle: channels.map(({ power }) => ({
      name: power.idleName, minA: Number((0.4 * power.idleA).toPrecision(2)),
      maxA: Number((2 * power.idleA).toPrecision(2)), overOhm: power.idleOverOhm,
    })),
    temperatures: thermal.places.map(({ name: place }) => ({ place, maxC: place === 'heatsink' ? 85 : 95 })),
    railsDownS: 120,
  }
}

const railV = ({ rails }: UnitTruth['supply'], name: string): number =>
  Math.abs(rails.find(rail => rail.name === name)!.openV)

function channelProfile({ name, inputOhm, output }: ChannelTruth): Record<string, unknown> {
  return {
    name,
    input: { impedanceOhm: Number(inputOhm.toPrecision(2)), sourceOhm: 0, levelMaxV: 5 },
    output: {
      kind: output.kind, isValve: output.isValve, loadOhm: Number(output.ratedOhm.toPrecision(6)),
      ratedW: output.ratedW, dcMaxV: 0.05,
    },
  }
}
