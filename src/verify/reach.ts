/** What a stand can do for the proof of a unit, and where it ends. Pure. */
import { isLoad } from '../powering/loads.ts'
import type { Led } from '../powering/places.ts'
import type { PlanInput } from '../powering/work.ts'
import type { ChannelLimits, LoadState, Reach } from '../proving/port.ts'
import type { Load } from '../schema/unit-roles.ts'
import type { VerifyParameters } from './parameters.ts'

/**
 * What a unit may be let give past its rated volts: one that clips late still gives its square wave (common
 * practice: it clips at up to 1.6 times its rated watts, and a square wave has twice those of a sine).
 */
const overVolts = 1.8

export type Gear = Pick<PlanInput, 'profile' | 'stand' | 'places' | 'roles'>

/** Null: it lacks what `lacks` says. */
export function reachOf({ stand, places, roles }: Gear, { dwellMaxS }: VerifyParameters): Reach | null {
  const { generator, digitizer, load } = roles
  if (!generator || !digitizer || !load || places.outputs.length === 0) return null
  const divider = dividerOf(places.outputs)
  const mostV = Math.min(generator.levelMaxV, ...places.outputs.map(({ spec }) => spec.input.levelMaxV))
  return {
    channels: places.outputs.map(({ spec }) => spec),
    generator: {
      sourceOhm: generator.sourceOhm + places.outputs[0]!.output.inLineOhm, levelMaxV: mostV,
      frequencyMinHz: generator.frequencyMinHz, frequencyMaxHz: generator.frequencyMaxHz,
      tonesMost: generator.tonesMost, sharesClock: generator.sharesClock, settleMs: generator.settleMs,
      ...generator.own && { noiseVPerRootHz: generator.own.noiseVPerRootHz },
    },
    digitizer: {
      inputOhm: digitizer.inputOhm, isDifferential: digitizer.isDifferential, divider,
      rangesV: digitizer.rangesV.map(rangeV => rangeV * divider),
      sampleRatesHz: digitizer.sampleRatesHz, samplesMost: digitizer.samplesMost,
      ...digitizer.own && { noiseVPerRootHz: digitizer.own(Math.min(...digitizer.rangesV)).noiseVPerRootHz },
    },
    loadStepsOhm: stepsOf(places.outputs, load),
    mains: { voltageV: stand.mainsV, frequencyHz: stand.mainsHz },
    limits: Object.fromEntries(places.outputs.map(one => [one.spec.name, limitsOf(one, load, dwellMaxS)])),
  }
}

const dividerOf = (outputs: readonly Led[]): number => outputs[0]!.output.divider

/** Under a valve stage no load is switched: between two steps it would stand open. */
function stepsOf(outputs: readonly Led[], load: Pick<Load, 'stepsOhm'>): readonly number[] {
  if (!outputs.some(({ spec }) => spec.output.isValve)) return load.stepsOhm
  const standing = new Set(outputs.map(one => ratedStep(one, load)))
  return load.stepsOhm.filter(ohm => standing.has(ohm))
}

function limitsOf({ spec, output: at }: Led, load: Load, dwellMaxS: number): ChannelLimits {
  const { input: { levelMaxV }, output: { ratedW, loadOhm } } = spec
  const outputMaxV = Math.min(overVolts * Math.sqrt(ratedW * loadOhm), at.dividerMaxV ?? Infinity)
  return {
    driveMaxV: levelMaxV, outputMaxV,
    outputMaxW: Math.min(outputMaxV ** 2 / loadOhm, load.peakW), dwellMaxS,
  }
}

/** The load of one output while it stands at `stepOhm`; null: open. */
export function loadState(
  { spec }: Led, load: Load, stepOhm: number | null, { loads, leadOhm, leadU }: VerifyParameters,
): LoadState {
  const lead = { value: leadOhm, u: leadU }
  if (stepOhm === null) {
    return { kind: 'open', ohm: null, leadOhm: lead, continuousW: null, peakW: null, peakS: null }
  }
  const told = loads[spec.name]
  const isRated = isLoad(stepOhm, spec.output.loadOhm)
  const { continuousW, peakW, peakS } = load
  const u = load.stepU?.(stepOhm)
  const ohm = told && isRated ? { value: told.ohm, u: told.u }
    : u === undefined ? null : { value: stepOhm, u }
  return { kind: 'load', ohm, leadOhm: lead, continuousW, peakW, peakS }
}

/** The step that is the rated load of a channel; null where the bank has none. */
export const ratedStep = ({ spec: { output } }: Led, { stepsOhm }: Pick<Load, 'stepsOhm'>): number | null =>
  stepsOhm.filter(ohm => isLoad(ohm, output.loadOhm))
    .sort((a, b) => Math.abs(a - output.loadOhm) - Math.abs(b - output.loadOhm))[0] ?? null
