/** What can be measured of a unit, one thing at a time, as data: a plan is a list of these. */
import type { EqualisationName } from '../analysis/audio/equalisation.ts'
import type { TonePair } from '../analysis/audio/intermodulation.ts'
import type { Band } from '../analysis/audio/spectrum.ts'
import type { Conditions, Figure } from '../schema/figure.ts'
import { powerBandwidthFigure } from './bandwidth.ts'
import { dampingFigure } from './damping.ts'
import { distortionFigure, type DistortionOf } from './distortion.ts'
import { balanceFigures, gainFigure, sensitivityFigure } from './level.ts'
import { powerAtLimit } from './power.ts'
import type { Proving } from './proving.ts'
import {
  dcFigure, humFigure, listenTo, noiseFigure, signalToNoiseFigure, type NoiseAsked, type NoiseReference,
} from './quiet.ts'
import { recoveryFigure } from './recovery.ts'
import { cornerFigure, deviationFigures } from './response.ts'
import { separationFigure } from './separation.ts'
import { intermodulationFigure, type PairForm } from './two-tone.ts'

type Driven = 'one' | 'all'
interface OfChannel { readonly channel: string; readonly loadOhm: number; readonly echo?: Echo }
/** Conditions in the words of a claim, which mean what is measured. */
export type Echo = Pick<Conditions, 'reference' | 'arithmetic'>

export type QuietAsked =
  | { readonly what: 'noise'; readonly noise: NoiseAsked }
  | { readonly what: 'signal to noise'; readonly noise: NoiseAsked; readonly reference: NoiseReference }
  | { readonly what: 'hum' | 'dc offset' }

export type Job =
  | OfChannel & { readonly do: 'quiet'; readonly asked: readonly QuietAsked[] }
  | OfChannel & {
    readonly do: 'gain' | 'input sensitivity'
    readonly hz: number; readonly outputW: number; readonly driven: Driven
  }
  | Omit<OfChannel, 'channel'> & {
    readonly do: 'channel balance'; readonly channel: null; readonly hz: number; readonly outputW: number
  }
  | OfChannel & {
    readonly do: 'response'; readonly outputW: number; readonly fromHz: number; readonly toHz: number
    readonly against?: EqualisationName
  }
  | OfChannel & {
    readonly do: 'corner'; readonly outputW: number; readonly towards: 'low' | 'high'; readonly endHz: number
    readonly limitDb: number
  }
  | OfChannel & {
    readonly do: 'separation' | 'damping factor'; readonly hz: number; readonly outputW: number
  }
  | OfChannel & DistortionJob & { readonly do: 'distortion'; readonly outputW: number; readonly hz: number }
  | OfChannel & {
    readonly do: 'intermodulation'
    readonly form: PairForm; readonly tones: TonePair; readonly arithmetic: string
    readonly outputW: number; readonly driven: Driven
  }
  | OfChannel & DistortionJob & {
    readonly do: 'output power'; readonly limit: number; readonly hz: number; readonly aimW: number
  }
  | OfChannel & DistortionJob & {
    readonly do: 'power bandwidth'; readonly limit: number; readonly outputW: number
    readonly towards: 'low' | 'high'; readonly endHz: number
  }
  | OfChannel & {
    readonly do: 'overload recovery'; readonly hz: number; readonly ratedW: number; readonly overDb: number
  }

interface DistortionJob {
  readonly of: DistortionOf
  readonly orders: number
  readonly band: Band
  readonly driven: Driven
}

/** Its figures, with what all of them were measured under. */
export async function runJob(proving: Proving, job: Job): Promise<Figure[]> {
  const { mains, ambientC } = proving.port
  const celsius = await ambientC?.call(proving.port) ?? null
  const shared: Conditions = {
    ...mains && { mainsV: mains.voltageV }, ...celsius === null ? {} : { ambientC: celsius },
  }
  const figures = await figuresOf(proving, job)
  return figures.map(figure => ({ ...figure, conditions: { ...figure.conditions, ...shared, ...job.echo } }))
}

async function figuresOf(proving: Proving, job: Job): Promise<Figure[]> {
  switch (job.do) {
    case 'quiet': return quietFigures(proving, job)
    case 'gain': return [await gainFigure(proving, job)]
    case 'input sensitivity': return [await sensitivityFigure(proving, job)]
    case 'channel balance': return balanceFigures(proving, { ...job, driven: 'one' })
    case 'response': return deviationFigures(proving, job)
    case 'corner': return [await cornerFigure(proving, job)]
    case 'separation': return [await separationFigure(proving, job)]
    case 'damping factor': return [await dampingFigure(proving, job)]
    case 'distortion': return [await distortionFigure(proving, job)]
    case 'intermodulation': return [await intermodulationFigure(proving, job)]
    case 'output power': return [await powerAtLimit(proving, job)]
    case 'power bandwidth': return [await powerBandwidthFigure(proving, job)]
    case 'overload recovery': return [await recoveryFigure(proving, job)]
  }
}

async function quietFigures(proving: Proving, { channel, asked }: Job & { do: 'quiet' }): Promise<Figure[]> {
  const quiet = await listenTo(proving, channel)
  return asked.map(one => {
    switch (one.what) {
      case 'noise': return noiseFigure(proving, quiet, one.noise)
      case 'signal to noise':
        return signalToNoiseFigure(proving, quiet, { ...one.noise, reference: one.reference })
      case 'hum': return humFigure(proving, quiet)
      case 'dc offset': return dcFigure(proving, quiet)
    }
  })
}
