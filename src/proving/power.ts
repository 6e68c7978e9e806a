/**
 * Output power at a limit of distortion: levels rise by 1 dB until the limit is crossed for good, the
 * crossing is bracketed to 0.1 dB, and then closed in on. Ceilings of volts and watts and what the load
 * bears end it.
 */
import { audioBand, type Band } from '../analysis/audio/spectrum.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import type { Conditions, Figure } from '../schema/figure.ts'
import { figureOf } from './budget.ts'
import { lastRisingCrossing, steepness, voltsAtLimit, type DistortionStep } from './crossing.ts'
import { powerCurve } from './curves.ts'
import { distortionOf, type Distortion, type DistortionOf } from './distortion.ts'
import { hearTone, outputLevel, wholeOf, type HearAsked, type ToneHeard } from './hear-tone.ts'
import { learnGain } from './level.ts'
import { channelOf, drivenWith, limitsOf, loadOhmOf, type Proving } from './proving.ts'

export interface PowerAsked {
  readonly channel: string
  readonly hz: number
  /** Share. */
  readonly limit: number
  readonly of: DistortionOf
  readonly orders?: number
  readonly band?: Band
  readonly driven: 'one' | 'all'
  /** Where the crossing is thought to be; the search begins 10 dB below. */
  readonly aimW: number
}

export interface PowerStep extends DistortionStep {
  readonly gainDb: number
  readonly heard: ToneHeard
  readonly told: Distortion
}

interface Search {
  readonly proving: Proving
  readonly asked: Required<PowerAsked>
  /** Volts that each driven generator is set to at 0 dB. */
  readonly levels: Readonly<Record<string, number>>
  readonly steps: PowerStep[]
}

const coarseDb = 1
const fineDb = 0.1
const belowDb = -10
const lowestDb = -40
/** So far above the limit no noise explains it. */
const surelyOver = 3
const closings = 2
const ofRate = (db: number): number => 10 ** (db / 20)

export async function powerAtLimit(proving: Proving, asked: PowerAsked): Promise<Figure> {
  const search = await begin(proving, { orders: 10, band: audioBand, ...asked })
  const end = await climb(search)
  keepCurve(search)
  const crossing = lastRisingCrossing(search.steps, asked.limit)
  if (crossing) return crossed(search, await closed(search, await bracketed(search, crossing)))
  const passing = search.steps.filter(step => step.distortion <= asked.limit)
  if (passing.length === 0) {
    return untold(search, search.steps[0]!, 'at most', 'its distortion is above the limit at every level')
  }
  return untold(search, passing.at(-1)!, 'at least', end)
}

function keepCurve({ proving, asked: { channel, of, driven, hz }, steps }: Search): void {
  const loadOhm = loadOhmOf(proving, channel)
  const course = steps.map(({ heard, volts, distortion }) =>
    ({ watts: volts ** 2 / (heard.load?.ohm?.value ?? loadOhm), distortion }))
  proving.curves.push(powerCurve(course, { channel, of, driven, loadOhm, hz }))
}

/**
 * Volts that the generator is set to where it clips, 1 % of all that is not the tone; null below its
 * ceilings.
 */
export async function clippingLevel(proving: Proving, channel: string, aimW: number): Promise<number | null> {
  const search = await begin(proving, {
    channel, aimW, hz: 1000, limit: clipped, of: 'thd+n', orders: 10, band: audioBand, driven: 'one',
  })
  await climb(search)
  const crossing = lastRisingCrossing(search.steps, clipped)
  if (crossing === null) return null
  const { below } = await bracketed(search, crossing)
  return below.heard.levelV
}
const clipped = 0.01

async function begin(proving: Proving, asked: Required<PowerAsked>): Promise<Search> {
  const { channel, aimW, driven } = asked
  const levels: Record<string, number> = {}
  const outputV = Math.sqrt(aimW * loadOhmOf(proving, channel))
  for (const name of drivenWith(proving, channel, driven)) {
    levels[name] = outputV / await learnGain(proving, name)
  }
  return { proving, asked, levels, steps: [] }
}

/** Why it ended. */
async function climb(search: Search): Promise<string> {
  const { steps, asked: { limit } } = search
  let gainDb = belowDb
  const first = await stepAt(search, gainDb)
  if (typeof first === 'string') throw new BenchError('REFUSED', first)
  // Noise at low levels is no reason to go lower: only where distortion falls on the way down.
  while (steps[0]!.distortion > limit && gainDb > lowestDb) {
    gainDb -= 6
    const lower = await stepAt(search, gainDb)
    if (typeof lower === 'string' || lower.distortion > steps[1]!.distortion) break
  }
  for (gainDb = belowDb + coarseDb; ; gainDb += coarseDb) {
    const step = await stepAt(search, gainDb)
    if (typeof step === 'string') return step
    const crossing = lastRisingCrossing(steps, limit)
    if (crossing === null) continue
    const over = steps.length - 1 - steps.indexOf(crossing.below)
    if (step.distortion >= surelyOver * limit || over >= 2) return 'crossed'
  }
}

/** A step of the search, or why it is not taken: nothing is driven beyond a ceiling to find out. */
async function stepAt(
  search: Search, gainDb: number, until: HearAsked['until'] = 'once',
): Promise<PowerStep | string> {
  const { proving, asked, levels, steps } = search
  const { channel, hz, orders, band } = asked
  const share = ofRate(gainDb)
  const set = Object.fromEntries(Object.entries(levels).map(([name, level]) => [name, level * share]))
  const stop = ceilingOver(search, set)
  if (stop) return stop
  const outputV = Object.fromEntries(Object.keys(set).map(name =>
    [name, Math.min(limitsOf(proving, name).outputMaxV, set[name]! * proving.gains.get(name)!)]))
  try {
    const heard = await hearTone(proving, { channel, hz, orders, band, levels: set, outputV, until })
    const told = distortionOf(proving, channel, heard, asked.of, orders)
    const step = { gainDb, heard, told, volts: wholeOf(heard), distortion: told.value }
    steps.push(step)
    steps.sort((a, b) => a.gainDb - b.gainDb)
    return step
  } catch (error) {
    if (hasCode(error, 'REFUSED')) return error.message
    throw error
  }
}

/** What would be beyond a ceiling of the input, or beyond those of the output by the gain at low levels. */
function ceilingOver({ proving, asked }: Search, set: Readonly<Record<string, number>>): string | null {
  for (const [name, level] of Object.entries(set)) {
    const { driveMaxV, outputMaxV, outputMaxW } = limitsOf(proving, name)
    const { input } = channelOf(proving, name)
    const volts = level * proving.gains.get(name)!
    const mostV = Math.min(driveMaxV, input.levelMaxV, proving.port.generator.levelMaxV)
    if (level > mostV) return `its input may have no more than ${mostV.toPrecision(3)} V`
    if (volts > outputMaxV) return `the ceiling is ${outputMaxV.toPrecision(3)} V at the output of ${name}`
    const watts = volts ** 2 / loadOhmOf(proving, name)
    if (watts > outputMaxW) return `the ceiling is ${outputMaxW.toPrecision(3)} W at the output of ${name}`
  }
  return asked.channel in set ? null : 'it is not driven'
}

interface Bracket { readonly below: PowerStep; readonly above: PowerStep }

/** To 0.1 dB, on the grid of such steps. */
async function bracketed(search: Search, { below, above }: Bracket): Promise<Bracket> {
  while (above.gainDb - below.gainDb > fineDb * 1.01) {
    const steps = Math.round((above.gainDb - below.gainDb) / fineDb)
    const middle = await taken(search, below.gainDb + fineDb * Math.floor(steps / 2))
    if (middle.distortion > search.asked.limit) above = middle
    else below = middle
  }
  return { below, above }
}

async function taken(search: Search, gainDb: number, until?: HearAsked['until']): Promise<PowerStep> {
  const step = await stepAt(search, gainDb, until)
  if (typeof step === 'string') throw new BenchError('REFUSED', step)
  return step
}

interface Closed { readonly at: PowerStep; readonly steep: number }

/**
 * Twice more where the line between the ends says that the limit is; the last of them with all its
 * captures.
 */
async function closed(search: Search, { below, above }: Bracket): Promise<Closed> {
  const { limit } = search.asked
  let at = below
  for (let i = 0; i < closings; i++) {
    const way =
      Math.log(voltsAtLimit(below, above, limit) / below.volts) / Math.log(above.volts / below.volts)
    const gainDb = below.gainDb + (above.gainDb - below.gainDb) * Math.min(1, Math.max(0, way))
    at = await taken(search, gainDb, i === closings - 1 ? 'distortion' : 'once')
    if (i === closings - 1) break
    if (at.distortion > limit) above = at
    else below = at
  }
  const far = Math.abs(at.volts - below.volts) > Math.abs(above.volts - at.volts) ? below : above
  return { at, steep: Math.max(1, steepness(far, at)) }
}

function crossed(search: Search, { at, steep }: Closed): Figure {
  const { limit } = search.asked
  const leftLn = Math.log(limit / at.distortion) / steep
  const ofLimit = 2 / (steep * at.distortion)
  return powerFigure(search, at, {
    factor: Math.exp(2 * leftLn), notes: [],
    parts: [
      { label: 'noise in the distortion', u: at.told.noiseU, share: ofLimit },
      { label: 'what the bench adds to the distortion', u: at.told.steadyU, share: ofLimit },
      { label: 'steps', u: Math.abs(leftLn) / Math.sqrt(3), share: 2 },
    ],
  })
}

function untold(search: Search, at: PowerStep, bound: 'at most' | 'at least', why: string): Figure {
  return powerFigure(search, at,
    { factor: 1, parts: [], bound, notes: [`the limit was not crossed: ${why}`] })
}

interface Found {
  readonly factor: number
  readonly parts: readonly { label: string; u: number; share: number }[]
  readonly bound?: 'at most' | 'at least'
  readonly notes: readonly string[]
}

function powerFigure({ proving, asked }: Search, { heard }: PowerStep, found: Found): Figure {
  const { channel, limit, of, orders, band, driven } = asked
  const ohm = heard.load!.ohm!
  const { scaleU, value: fundamentalV, noiseU } = outputLevel(heard, channel)
  const wholeV = fundamentalV * wholeOf(heard) / Math.sqrt(heard.fundamental.value)
  const value = wholeV ** 2 / ohm.value * found.factor
  const conditions: Conditions = {
    frequencyHz: heard.foundHz, loadOhm: ohm.value, distortion: limit, distortionOf: of, driven,
    sourceOhm: proving.port.generator.sourceOhm,
    ...of === 'thd' ? { orders } : { bandLowHz: band.fromHz, bandHighHz: band.toHz },
  }
  return figureOf({
    quantity: 'output power', channel, value, conditions, ...found.bound && { bound: found.bound },
    parts: [
      { label: 'scale', u: scaleU, sensitivity: 2 * value },
      { label: 'load', u: ohm.u / ohm.value, sensitivity: value },
      { label: 'noise', u: noiseU / fundamentalV, sensitivity: 2 * value },
      ...found.parts.map(({ label, u, share }) => ({ label, u, sensitivity: share * value })),
    ],
    notes: [
      'volts RMS of all in the band, squared, over the load as it was measured', heard.how, ...found.notes,
    ],
  })
}
