/** What a simulated unit really does, asked of its physics under the conditions that a figure was measured under. */
import type { StandBench } from '../../mocks/bench/stand-bench.ts'
import { SimLoadBank } from '../../mocks/instruments/load-bank.ts'
import { UnitFigures } from '../../mocks/units/figures.ts'
import { modulationOf } from '../../mocks/units/pairs.ts'
import type { Figure } from '../../src/schema/figure.ts'
import type { Curve } from '../../src/schema/unit-findings.ts'

export interface Told {
  readonly figure: Figure
  /** Of all thermal nodes, as it was told. */
  readonly celsius: Float64Array
}

export interface Asked extends Told {
  readonly sim: StandBench
  readonly curves: readonly Curve[]
}

interface At {
  /** Channel, from 0. */
  readonly channel: number
  /** What hangs at the output, as it really is, Ω. */
  readonly loadOhm: number
  /** As the source is, and with the EMF at the terminals of the input itself. */
  readonly whole: UnitFigures
  readonly terminals: UnitFigures
}

type Truth = (figure: Figure, at: At, asked: Asked) => number | null
const decibels = (ratio: number): number => 20 * Math.log10(ratio)

/** Null where its physics has no such figure. */
export function truthOf(asked: Asked): number | null {
  const { figure, sim, celsius } = asked
  const { channels } = sim.unit.truth
  const channel = Math.max(0, channels.findIndex(({ name }) => name === figure.channel))
  const loadOhm = trueLoad(sim, channel)
  const at = { loadOhm, driven: figure.conditions.driven ?? 'one', celsius } as const
  const of = (sourceOhm: number): UnitFigures => new UnitFigures(sim.unit.truth, { ...at, sourceOhm })
  return truths[figure.quantity]?.(figure, {
    channel, loadOhm, whole: of(figure.conditions.sourceOhm ?? sim.sourceOhm), terminals: of(0),
  }, asked) ?? null
}

function trueLoad(sim: StandBench, channel: number): number {
  const { loads } = sim.instruments
  const ohm = loads instanceof SimLoadBank ? loads.ohm(channel + 1) : null
  return ohm ?? sim.unit.truth.channels[channel]!.output.ratedOhm
}

/** Volts at the output for so many watts at the load that the profile states or the bench knows. */
const voltsOf = ({ conditions: { outputW, outputV } }: Figure, ohm: number): number =>
  outputV ?? Math.sqrt(outputW! * ohm)

const truths: Partial<Record<Figure['quantity'], Truth>> = {
  gain: (figure, { channel, terminals, loadOhm }) => {
    const hz = figure.conditions.frequencyHz!
    const emfV = terminals.emfFor(channel, hz, voltsOf(figure, loadOhm))
    return emfV === null ? null : terminals.gainDb({ channel, hz, emfV })
  },
  'input sensitivity': ({ conditions: { frequencyHz, outputW } }, { channel, terminals }) =>
    terminals.sensitivityV(channel, outputW!, frequencyHz),
  'channel balance': (figure, { terminals }) => {
    const hz = figure.conditions.frequencyHz!
    const [first, second] = [0, 1].map(channel => {
      const emfV = terminals.emfFor(channel, hz, voltsOf(figure, terminals.loadOhm(channel)))
      return emfV === null ? null : terminals.gainDb({ channel, hz, emfV })
    })
    return first === null || second === null ? null : second! - first!
  },
  'response deviation': (figure, { channel, whole, loadOhm }, { curves }) => {
    const curve = curves.find(one => one.name === 'response' && one.channel === figure.channel
      && one.y.values.includes(figure.value))
    if (!curve) return null
    const hz = curve.x.values[curve.y.values.indexOf(figure.value)]!
    const reference = curve.x.values[curve.y.values.indexOf(0)]!
    const emfV = whole.emfFor(channel, reference, voltsOf(figure, loadOhm))!
    const gain = (f: number): number => whole.gainDb({ channel, hz: f, emfV })
    return gain(hz) - gain(reference)
  },
  'response low': (figure, at) => cornerOf(figure, at, 'low'),
  'response high': (figure, at) => cornerOf(figure, at, 'high'),
  thd: (figure, { channel, whole, loadOhm }) => {
    const { frequencyHz: hz, orders } = figure.conditions
    const emfV = whole.emfFor(channel, hz!, voltsOf(figure, loadOhm))
    return emfV === null ? null : whole.distortion({ channel, hz: hz!, emfV }, { of: 'thd', orders: orders! })
  },
  'thd+n': (figure, { channel, whole, loadOhm }) => {
    const { frequencyHz: hz, bandLowHz, bandHighHz } = figure.conditions
    const emfV = whole.emfFor(channel, hz!, voltsOf(figure, loadOhm))
    if (emfV === null) return null
    const band = { fromHz: bandLowHz!, toHz: bandHighHz! }
    const share = whole.distortion({ channel, hz: hz!, emfV }, { of: 'thd+n', band })
    return share / Math.hypot(1, share)
  },
  'output power': ({ conditions }, { channel, whole }) => {
    const { frequencyHz, distortion, distortionOf, orders, bandLowHz, bandHighHz } = conditions
    const band = bandLowHz === undefined ? {} : { band: { fromHz: bandLowHz, toHz: bandHighHz! } }
    const share = distortionOf === 'thd+n' ? distortion! / Math.sqrt(1 - distortion! ** 2) : distortion!
    const found = whole.powerAt(channel, share, frequencyHz, {
      of: distortionOf!, ...orders === undefined ? {} : { orders }, ...band,
    })
    if (found === null) return null
    whole.tone({ channel, hz: frequencyHz!, emfV: found.emfV })
    return found.watts * blocked(whole, channel) ** 2
  },
  intermodulation: ({ conditions: { outputW, toneLowHz, toneHighHz, form } }, { channel, whole, loadOhm }) => {
    if (form !== 'smpte') return null
    const pair = { lowHz: toneLowHz!, highHz: toneHighHz! }
    const emfV = pairLevel(whole, { channel, ...pair, sineV: Math.sqrt(outputW! * loadOhm) })
    return modulationOf(whole, channel, emfV, pair).pairs
  },
  noise: ({ conditions: { weighting, bandLowHz, bandHighHz } }, { channel, whole }) =>
    weighting === undefined ? null
      : whole.noiseV(channel, weighting, { fromHz: bandLowHz!, toHz: bandHighHz! }, true),
  'signal to noise': ({ conditions }, { channel, whole }) => {
    const { weighting, bandLowHz, bandHighHz, outputW, outputV } = conditions
    const noiseV = whole.noiseV(channel, weighting!, { fromHz: bandLowHz!, toHz: bandHighHz! }, true)
    const ratedOhm = whole.unit.truth.channels[channel]!.output.ratedOhm
    return decibels((outputV ?? Math.sqrt(outputW! * ratedOhm)) / noiseV)
  },
  hum: (_, { channel, whole }) => whole.humV(channel),
  separation: ({ conditions: { frequencyHz } }, { channel, whole }) =>
    Math.min(...whole.unit.channels.map((__, heard) =>
      heard === channel ? Infinity : whole.separationDb(heard, frequencyHz!))),
  'damping factor': (figure, { channel, whole, loadOhm }) => {
    const { frequencyHz: hz, loadOhm: ratedOhm } = figure.conditions
    const emfV = whole.emfFor(channel, hz!, voltsOf(figure, loadOhm))
    return emfV === null ? null : whole.dampingFactor(channel, hz!, emfV) / loadOhm * ratedOhm!
  },
  'dc offset': (_, { channel, whole }) => whole.dcOffsetV(channel),
  'power bandwidth low': (figure, at) => bandwidthOf(figure, at)?.fromHz ?? null,
  'power bandwidth high': (figure, at) => bandwidthOf(figure, at)?.toHz ?? null,
}

/** EMF of a sine whose peak both tones have, so that together they come out with the peak of one of `sineV`. */
function pairLevel(
  figures: UnitFigures,
  { channel, lowHz, highHz, sineV }: { channel: number; lowHz: number; highHz: number; sineV: number },
): number {
  let emfV = sineV / figures.smallGain(channel, 1000)
  for (let turn = 0; turn < 6; turn++) {
    const tones = [[lowHz, 0.8], [highHz, 0.2]] as const
    const at = figures.products(channel, tones.map(([frequencyHz, share]) =>
      ({ frequencyHz, peakV: Math.SQRT2 * share * emfV, phaseRad: 0 })))
    emfV *= Math.SQRT2 * sineV / (at(lowHz) + at(highHz))
  }
  return emfV
}

/** What is left of the volts while it clips for long: its coupling has charged. */
function blocked(figures: UnitFigures, channel: number): number {
  const { unit } = figures
  const { overload } = unit.channels[channel]!.duty(unit.surroundings(channel))
  return 1 - unit.truth.channels[channel]!.blocking.depth * Math.min(1, Math.max(0, overload - 1))
}

function bandwidthOf({ conditions }: Figure, { channel, whole }: At): { fromHz: number; toHz: number } | null {
  const { outputW, distortion, distortionOf, orders } = conditions
  return whole.powerBandwidth(channel, 2 * outputW!, distortion!,
    { of: distortionOf!, ...orders === undefined ? {} : { orders } })
}

/** Where the response at that level is so far down; by halving. */
function cornerOf(figure: Figure, { channel, whole, loadOhm }: At, towards: 'low' | 'high'): number | null {
  const emfV = whole.emfFor(channel, 1000, voltsOf(figure, loadOhm))
  if (emfV === null) return null
  const gain = (hz: number): number => whole.gainDb({ channel, hz, emfV })
  const reference = gain(1000)
  const isWithin = (hz: number): boolean => gain(hz) - reference > -figure.conditions.bandDb!
  let [good, bad] = [1000, towards === 'low' ? 1 : 1e6]
  if (isWithin(bad)) return null
  for (let turn = 0; turn < 40; turn++) {
    const middle = Math.sqrt(good * bad)
    if (isWithin(middle)) good = middle
    else bad = middle
  }
  return good
}
