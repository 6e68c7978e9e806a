/** Gain, input sensitivity and balance of channels: what comes out for what goes in. */
import { audioBand } from '../analysis/audio/spectrum.ts'
import type { Correlation, UncertaintyComponent } from '../analysis/uncertainty.ts'
import { BenchError } from '../base/errors.ts'
import type { Figure } from '../schema/figure.ts'
import { figureOf, perShareDb } from './budget.ts'
import { sourceLevel } from './floor.ts'
import { hearTone, levelOf, outputLevel, type HearAsked, type ToneHeard } from './hear-tone.ts'
import { channelOf, drivenWith, limitsOf, loadOhmOf, type Proving } from './proving.ts'

/** What an input impedance that a profile states is good for, as a share (our own assumption). */
const impedanceShare = 0.1
const referenceHz = 1000
const orders = 10

interface InputLevel {
  /** Volts RMS at the terminals of the input. */
  readonly value: number
  readonly parts: readonly (UncertaintyComponent & { readonly share: number })[]
  readonly scaleU: number
  readonly scaleOf: string
}

/** From what the generator was heard to give, less what the input takes off. */
export function inputLevel(proving: Proving, channel: string, hz: number, levelV: number): InputLevel {
  const { generator, digitizer } = proving.port
  const { input: { impedanceOhm } } = channelOf(proving, channel)
  const loop = digitizer.inputOhm / (digitizer.inputOhm + generator.sourceOhm)
  const source = sourceLevel(proving.floor, channel, hz, levelV, loop)
  const loading = impedanceOhm / (impedanceOhm + generator.sourceOhm)
  const loadingU = (1 - loading) * impedanceShare / Math.sqrt(3)
  const part = (label: string, share: number): UncertaintyComponent & { share: number } =>
    ({ label, u: share, share })
  return {
    value: levelV * source.share * loading, scaleU: source.gainU,
    scaleOf: `the digitizer on ${source.rangeV} V of ${channel}`,
    parts: [
      part('noise of the loop-back', source.noiseU / source.share),
      part('level of the generator between loop-backs', source.betweenU / source.share),
      part('input impedance', loadingU),
    ],
  }
}

/** Shares of out over in, and which two of them are one scale. */
export interface RatioBudget {
  readonly out: number
  readonly into: number
  readonly parts: UncertaintyComponent[]
  readonly correlations: Correlation[]
}

/** `parts` are shares of the ratio, times `sensitivity`. */
export function ratioBudget(
  proving: Proving, channel: string, heard: ToneHeard, sensitivity: number,
): RatioBudget {
  const out = outputLevel(heard, channel)
  const into = inputLevel(proving, channel, heard.hz, heard.levelV)
  return {
    out: out.value, into: into.value,
    parts: [
      { label: 'scale at the output', u: out.scaleU, sensitivity },
      { label: 'scale at the input', u: into.scaleU, sensitivity: -sensitivity },
      { label: 'noise', u: out.noiseU / out.value, sensitivity, dof: heard.fundamental.dof },
      ...into.parts.map(({ label, u }) => ({ label, u, sensitivity: -sensitivity })),
    ],
    correlations: out.scaleOf === into.scaleOf && out.scaleU > 0 ? [{ a: 0, b: 1, r: 1 }] : [],
  }
}

/** Finds out by how much a channel amplifies, from a level that no unit takes amiss. */
export async function learnGain(proving: Proving, channel: string, hz = referenceHz): Promise<number> {
  const known = proving.gains.get(channel)
  if (known !== undefined) return known
  const { outputMaxV, driveMaxV } = limitsOf(proving, channel)
  const { input } = channelOf(proving, channel)
  const mostV = Math.min(driveMaxV, input.levelMaxV)
  let levelV = Math.min(mostV, outputMaxV * quietShare / 1000)
  for (;;) {
    const heard = await hearTone(proving, {
      channel, hz, orders: 2, band: audioBand, levels: { [channel]: levelV }, until: 'once',
    }).catch((error: unknown) => { if (levelV < mostV && isSilent(error)) return null; throw error })
    const outV = heard === null ? 0 : levelOf(heard).value
    // Nothing heard at such a level: the gain is at most what would have been heard.
    proving.gains.set(channel, heard === null ? outputMaxV * quietShare / levelV / 10 : outV / levelV)
    if (outV >= heardShare * outputMaxV || levelV >= mostV) break
    const enoughV = outV > 0 ? heardShare * 1.5 * outputMaxV / (outV / levelV) : Infinity
    levelV = Math.min(mostV, 10 * levelV, enoughV)
  }
  return proving.gains.get(channel)!
}
/** Of the most volts: where a unit of a thousandfold gain is heard first, and where its gain is taken. */
const quietShare = 0.05
const heardShare = 0.05
const isSilent = (error: unknown): boolean => error instanceof BenchError && error.code === 'NO_READING'

export interface AtOutput extends Omit<HearAsked, 'levels' | 'outputV'> {
  readonly outputV: number
  readonly driven: 'one' | 'all'
  /** Gain at this frequency over that at 1 kHz, as it is believed to be. */
  readonly tilt?: number
  /** As near to the asked volts as this share; 1 % when left out. */
  readonly near?: number
}

/** As near to the asked volts as this share; figures are of what was really there. */
const nearShare = 0.01
const triesMost = 4
/** No more than this at once: a unit that gave less may be one that limits. */
const raiseMost = 1.4

/** Drives until the asked volts come out. Refused by its ceilings where that cannot be. */
export async function hearAtOutput(proving: Proving, asked: AtOutput): Promise<ToneHeard> {
  const names = drivenWith(proving, asked.channel, asked.driven)
  const { tilt = 1, near = nearShare, outputV } = asked
  const levels: Record<string, number> = {}
  for (const name of names) levels[name] = outputV / (await learnGain(proving, name) * tilt)
  const expected = Object.fromEntries(names.map(name => [name, outputV]))
  let heard = await hearTone(proving, { ...asked, levels, outputV: expected, until: 'once' })
  for (let i = 0; i < triesMost; i++) {
    const gotV = levelOf(heard).value
    if (Math.abs(gotV / outputV - 1) <= near) break
    for (const name of names) levels[name]! *= Math.min(raiseMost, outputV / gotV)
    heard = await hearTone(proving, { ...asked, levels, outputV: expected, until: 'once' })
  }
  const gotV = levelOf(heard).value
  if (Math.abs(gotV / outputV - 1) > 5 * nearShare) {
    throw new BenchError('NO_READING', `channel ${asked.channel} does not come up`, {
      expected: `${outputV.toPrecision(4)} V at its output`, got: `${gotV.toPrecision(4)} V`,
    })
  }
  return asked.until === 'once' ? heard : hearTone(proving, { ...asked, levels, outputV: expected })
}

export interface LevelAsked {
  readonly channel: string
  readonly hz?: number
  readonly outputW: number
  readonly driven: 'one' | 'all'
}

const heardFor = (
  proving: Proving, { channel, hz = referenceHz, outputW, driven }: LevelAsked,
): Promise<ToneHeard> =>
  hearAtOutput(proving, {
    channel, hz, orders, band: audioBand, driven, until: 'level',
    outputV: Math.sqrt(outputW * loadOhmOf(proving, channel)),
  })

const under = (proving: Proving, heard: ToneHeard, driven: 'one' | 'all'): Figure['conditions'] => ({
  frequencyHz: heard.foundHz, loadOhm: heard.load?.ohm?.value, sourceOhm: proving.port.generator.sourceOhm,
  driven,
} as Figure['conditions'])

const overTerminals =
  'of volts at the terminals of the input, whose impedance is taken as the profile states it'

export async function gainFigure(proving: Proving, asked: LevelAsked): Promise<Figure> {
  const heard = await heardFor(proving, asked)
  return gainOfHeard(proving, asked, heard)
}

function gainOfHeard(proving: Proving, { channel, driven }: LevelAsked, heard: ToneHeard): Figure {
  const { out, into, parts, correlations } = ratioBudget(proving, channel, heard, perShareDb)
  return figureOf({
    quantity: 'gain', channel, value: 20 * Math.log10(out / into), parts, correlations,
    conditions: { ...under(proving, heard, driven), outputV: out }, notes: [overTerminals, heard.how],
  })
}

/** What goes in for the rated watts: as measured, and in proportion for what misses of them. */
export async function sensitivityFigure(proving: Proving, asked: LevelAsked): Promise<Figure> {
  const { channel, driven, outputW } = asked
  const heard = await heardFor(proving, asked)
  const ohm = heard.load!.ohm!
  const wantedV = Math.sqrt(outputW * ohm.value)
  const ratio = ratioBudget(proving, channel, heard, 1)
  const value = ratio.into * wantedV / ratio.out
  const parts = [
    ...ratio.parts.map(part => ({ ...part, sensitivity: value * part.sensitivity! })),
    { label: 'load', u: ohm.u / ohm.value / 2, sensitivity: value },
  ]
  return figureOf({
    quantity: 'input sensitivity', channel, value, parts, correlations: ratio.correlations,
    conditions: { ...under(proving, heard, driven), outputW }, notes: [overTerminals, heard.how],
  })
}

/** Gain of every other channel against the first, dB. */
export async function balanceFigures(
  proving: Proving, asked: Omit<LevelAsked, 'channel'>,
): Promise<Figure[]> {
  const told: { figure: Figure; heard: ToneHeard }[] = []
  for (const { name: channel } of proving.port.channels) {
    const heard = await heardFor(proving, { ...asked, channel })
    told.push({ figure: gainOfHeard(proving, { ...asked, channel }, heard), heard })
  }
  const [first, ...others] = told as [typeof told[0], ...typeof told]
  return others.map(({ figure, heard }) => figureOf({
    quantity: 'channel balance', channel: null, value: figure.value - first.figure.value,
    parts: [first.figure, figure].map(one => ({ label: `gain of ${one.channel}`, u: one.u })),
    conditions: { ...under(proving, heard, asked.driven), outputW: asked.outputW },
    notes: [`${figure.channel} against ${first.figure.channel}`],
  }))
}
