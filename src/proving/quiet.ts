/**
 * What comes out of a unit that is not driven: noise unweighted, A and by the 468 curve, the lines of the
 * mains apart from it, and DC. The generator is muted; its source resistance terminates the input.
 */
import { mainsIn } from '../analysis/audio/noise.ts'
import { lineWithNoise } from '../analysis/audio/noise-around.ts'
import { audioBand, binsOf, showsLine, type Band } from '../analysis/audio/spectrum.ts'
import { weightings, type WeightingName } from '../analysis/audio/weighting.ts'
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { Conditions, Figure, weightings as figureWeightings } from '../schema/figure.ts'
import { figureOf, perShareDb } from './budget.ts'
import { withinCeilings } from './drive.ts'
import { silentBehind, type Silence } from './floor.ts'
import { learnGain } from './level.ts'
import { recordFor } from './listen.ts'
import { silenceOf } from './loop-back.ts'
import { loadOhmOf, patched, type Planned, type Proving } from './proving.ts'
import { meanOf } from './repeats.ts'
import { generatorDensity } from './source-noise.ts'
import { restOf } from './tone-powers.ts'

export type Weighting = (typeof figureWeightings)[number]
const curveOf: Readonly<Record<Weighting, WeightingName>> = { flat: 'flat', A: 'A', C: 'C', 468: 'itu468' }
const detectorNote =
  'read with an RMS detector; the quasi-peak meter of the 468 recommendation reads some decibels more'

export interface Quiet {
  readonly channel: string
  readonly silence: Awaited<ReturnType<typeof silenceOf>>
  readonly own: Silence
  /** What the unit makes of the noise of the generator, V²/Hz at the output. */
  readonly generator: Power
  readonly ohm: number | null
}

/** What a response that is not flat makes of it (our own assumption). */
const tiltShare = 0.05

/** Long enough to tell one mains line from the next. */
const lineHz = 50
const quietCaptures = 8

/** Listens to a channel whose input is terminated; everything that this file tells is told from it. */
export async function listenTo(proving: Proving, channel: string): Promise<Quiet> {
  await patched(proving, 'unit')
  await proving.port.muteAll()
  const gain = await learnGain(proving, channel)
  const size = quietSize(proving)
  const silence = await silenceOf(proving, channel, { peakV: 0, size, captures: quietCaptures })
  const load = await proving.port.load(channel)
  const ohm = load.ohm?.value ?? null
  withinCeilings(proving, channel, Math.max(...silence.dc.map(Math.abs)), ohm)
  const own = silentBehind(proving.floor, channel, silence, proving.port.digitizer.divider)
  if (own) {
    const { value, u } = generatorDensity(proving, channel, silence.sampleHz)
    // Its gain at 1 kHz is taken for all of the band.
    const amplified = { value: value * gain ** 2, u: Math.hypot(u, tiltShare * value) * gain ** 2 }
    return { channel, silence, own, ohm, generator: amplified }
  }
  throw new BenchError('REFUSED', `the digitizer was not listened to by itself on ${silence.rangeV} V`, {
    expected: 'a loop-back with this range first',
  })
}

export const quietSize = (proving: Planned): ReturnType<typeof recordFor> =>
  recordFor(proving, { lowHz: lineHz / 2, topHz: audioBand.toHz })

interface Lines { readonly mainsHz: number; readonly orders: readonly number[] }
const humOrders = 10

function linesOf({ port: { mains } }: Proving, { silence }: Quiet, toHz: number): Lines | null {
  if (mains === null) return null
  const mainsHz = mainsIn(silence.lines, mains.frequencyHz)
  const orders = Array.from({ length: humOrders }, (_, i) => i + 1)
    .filter(order => order * mainsHz <= toHz && showsLine(silence.lines, order * mainsHz))
  return { mainsHz, orders }
}

interface Power { readonly value: number; readonly u: number }

/** Of the lines, without the noise under them. */
function humPower(
  { lines, captures }: Silence, told: Lines, gain: (hz: number) => number,
): Power & { each: Power[] } {
  const each = told.orders.map(order => {
    const { power, floor, u } = lineWithNoise(lines, order * told.mainsHz)
    const weight = gain(order * told.mainsHz) ** 2
    return { value: weight * (power - floor), u: weight * u / Math.sqrt(captures) }
  })
  const value = each.reduce((sum, one) => sum + one.value, 0)
  return { each, value, u: Math.hypot(...each.map(one => one.u)) }
}

function noisePower(silence: Silence, told: Lines | null, band: Band, gain: (hz: number) => number): Power {
  const linesHz = told?.orders.map(order => order * told.mainsHz).filter(hz => hz >= band.fromHz) ?? []
  const { value, u } = restOf(silence.noise, linesHz, band, gain)
  return { value, u: u / Math.sqrt(silence.captures) }
}

interface Net extends Power { readonly bound?: 'at most'; readonly noiseU: number; readonly ownU: number }
const ownShareMost = 0.5

/** Root of what is left when the bench's own is taken off by squares. `phaseU` of lines alone. */
function lessOwn(whole: Power, own: Power, phaseU: number): Net {
  if (own.value >= ownShareMost * whole.value) {
    const value = Math.sqrt(Math.max(whole.value, 0))
      + phaseU / Math.sqrt(Math.max(whole.value, Number.MIN_VALUE))
    const u = Math.min(whole.u / (2 * value), Math.sqrt(whole.u))
    return { value, u, bound: 'at most', noiseU: u, ownU: 0 }
  }
  const value = Math.sqrt(whole.value - own.value)
  const [noiseU, ownU] = [whole.u / (2 * value), Math.hypot(own.u, phaseU) / (2 * value)]
  return { value, noiseU, ownU, u: Math.hypot(noiseU, ownU) }
}

const phaseOf = (whole: readonly Power[], own: readonly Power[]): number =>
  Math.sqrt(whole.reduce((sum, { value }, i) =>
    sum + 2 * Math.max(0, value) * Math.max(0, own[i]?.value ?? 0), 0))

const both = (a: Power, b: Power): Power => ({ value: a.value + b.value, u: Math.hypot(a.u, b.u) })

/** Width of a band, each frequency by the square of its weight. */
function weighedHz({ noise }: Silence, band: Band, gain: (hz: number) => number): number {
  const { first, last } = binsOf(noise, band)
  let sum = 0
  for (let bin = first; bin <= last; bin++) sum += gain(bin * noise.binHz) ** 2
  return sum * noise.binHz
}

function netNoise(
  proving: Proving, quiet: Quiet, weighting: Weighting, band: Band,
): Net & { hum: Power; lines: Lines | null } {
  const gain = weightings[curveOf[weighting]]
  const lines = linesOf(proving, quiet, band.toHz)
  const none = { value: 0, u: 0, each: [] }
  const humOf = (one: Silence): ReturnType<typeof humPower> =>
    lines === null ? none : humPower(one, lines, gain)
  const [hum, ownHum] = [humOf(quiet.silence), humOf(quiet.own)]
  const noise = noisePower(quiet.silence, lines, band, gain)
  const hertz = weighedHz(quiet.silence, band, gain)
  const played = { value: hertz * quiet.generator.value, u: hertz * quiet.generator.u }
  const own = both(noisePower(quiet.own, lines, band, gain), played)
  return { ...lessOwn(both(noise, hum), both(own, ownHum), phaseOf(hum.each, ownHum.each)), hum, lines }
}

export interface NoiseAsked { readonly weighting: Weighting; readonly band?: Band }

const conditionsOf = (
  proving: Proving, { ohm }: Quiet, { weighting, band = audioBand }: NoiseAsked,
): Conditions => ({
  weighting, detector: 'rms', bandLowHz: band.fromHz, bandHighHz: band.toHz,
  sourceOhm: proving.port.generator.sourceOhm, ...ohm === null ? {} : { loadOhm: ohm },
})

const partsOf = ({ value, noiseU, ownU }: Net, gainU: number): { label: string; u: number }[] => [
  { label: 'so short a record of noise', u: noiseU }, { label: 'what the bench adds', u: ownU },
  { label: 'scale', u: gainU * value },
]

function notesOf(net: ReturnType<typeof netNoise>, weighting: Weighting): string[] {
  const { hum, lines, bound } = net
  const humV = Math.sqrt(Math.max(0, hum.value))
  return [
    ...lines ? [`lines of the mains at ${lines.mainsHz.toFixed(2)} Hz: ${formatSi(humV, 'V')} of it`] : [],
    ...weighting === '468' ? [detectorNote] : [],
    ...bound ? ['generator and digitizer alone read within 3 dB of it: it is what all of them read'] : [],
  ]
}

export function noiseFigure(proving: Proving, quiet: Quiet, asked: NoiseAsked): Figure {
  const net = netNoise(proving, quiet, asked.weighting, asked.band ?? audioBand)
  return figureOf({
    quantity: 'noise', channel: quiet.channel, value: net.value, parts: partsOf(net, quiet.silence.gainU),
    ...net.bound && { bound: net.bound }, conditions: conditionsOf(proving, quiet, asked),
    notes: notesOf(net, asked.weighting),
  })
}

/** Noise below what gives so many watts at the load that the profile states, or below so many volts. */
export type NoiseReference = { readonly outputW: number } | { readonly outputV: number }

export function signalToNoiseFigure(
  proving: Proving, quiet: Quiet, asked: NoiseAsked & { reference: NoiseReference },
): Figure {
  const net = netNoise(proving, quiet, asked.weighting, asked.band ?? audioBand)
  const { reference } = asked
  const loadOhm = loadOhmOf(proving, quiet.channel)
  const referenceV = 'outputV' in reference ? reference.outputV : Math.sqrt(reference.outputW * loadOhm)
  const words = 'outputV' in reference ? formatSi(reference.outputV, 'V')
    : `${formatSi(reference.outputW, 'W')} at ${loadOhm} Ω`
  return figureOf({
    quantity: 'signal to noise', channel: quiet.channel, value: 20 * Math.log10(referenceV / net.value),
    parts: partsOf(net, quiet.silence.gainU).map(part => ({ ...part, sensitivity: perShareDb / net.value })),
    ...net.bound && { bound: 'at least' as const },
    conditions: { ...conditionsOf(proving, quiet, asked), ...reference, reference: words },
    notes: [`below ${words}`, ...notesOf(net, asked.weighting)],
  })
}

/** All lines of the mains to the tenth together. */
export function humFigure(proving: Proving, quiet: Quiet): Figure {
  const lines = linesOf(proving, quiet, Infinity)
  if (lines === null) {
    throw new BenchError('REFUSED', 'the bench does not say what its mains is: no hum is told')
  }
  const hum = humPower(quiet.silence, lines, weightings.flat)
  const own = humPower(quiet.own, lines, weightings.flat)
  const net = lessOwn(hum, { value: Math.max(0, own.value), u: own.u }, phaseOf(hum.each, own.each))
  const strongest = lines.orders.map((order, i) => ({ order, power: hum.each[i]!.value }))
    .sort((a, b) => b.power - a.power).slice(0, 3).map(({ order, power }) =>
      `${(order * lines.mainsHz).toFixed(1)} Hz ${formatSi(Math.sqrt(Math.max(0, power)), 'V')}`)
  return figureOf({
    quantity: 'hum', channel: quiet.channel, value: net.value, parts: partsOf(net, quiet.silence.gainU),
    ...net.bound && { bound: net.bound }, conditions: conditionsOf(proving, quiet, { weighting: 'flat' }),
    notes: [`mains found at ${lines.mainsHz.toFixed(2)} Hz; strongest ${strongest.join(', ')}`],
  })
}

/** With its sign. */
export function dcFigure(proving: Proving, { channel, silence, ohm }: Quiet): Figure {
  const spread = Math.sqrt(lineWithNoise(silence.lines, 0).floor)
  const dc = meanOf(silence.dc.map(value => ({ value, u: spread })))
  return figureOf({
    quantity: 'dc offset', channel, value: dc.value,
    parts: [
      { label: 'zero of the digitizer', u: silence.offsetUV },
      { label: 'scale', u: silence.gainU * Math.abs(dc.value) },
      { label: 'noise', u: dc.u, dof: dc.dof },
    ],
    conditions: { sourceOhm: proving.port.generator.sourceOhm, ...ohm === null ? {} : { loadOhm: ohm } },
  })
}
