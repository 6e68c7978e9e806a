/**
 * The one way to drive a unit: ceilings and loads are looked at before, the level comes up in steps, time is
 * limited, and the generator is muted afterwards whatever happened.
 */
import { sleep } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import { asBenchError, BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { DriveTone } from '../schema/unit-roles.ts'
import { Heat } from './heat.ts'
import type { LoadState } from './port.ts'
import { channelOf, limitsOf, type Planned, type Proving } from './proving.ts'

export interface DriveAsked {
  /** By channel; a channel that is left out stays muted. */
  readonly tones: Readonly<Record<string, readonly DriveTone[]>>
  /** What must be had at least, s; it may last longer where load and ceilings let it. */
  readonly forS: number
  /** Volts to expect at an output, RMS; by the gain that is known where it is left out. */
  readonly outputV?: Readonly<Record<string, number>>
  /** An open output is meant: never of a valve stage. */
  readonly unloaded?: boolean
  /** In place of the sines: a square wave and a sine of this peak. */
  readonly transientPeakV?: number
}

export interface Driven {
  /** Seconds that are left of what load and ceilings let. */
  leftS(): number
  /** Sets other sines while it goes on; they must not ask for more than those that it began with. */
  change(channel: string, tones: readonly DriveTone[]): Promise<void>
  /** As the loads were measured, by channel; null in loop-back. */
  readonly loads: Readonly<Record<string, LoadState | null>>
}

/** The level comes up from a tenth: nothing steps from silence to all of it. */
const firstShare = 0.1
/** Above this share of the most watts a dwell counts. */
const dwellShare = 1 / 8

export async function whileDriven<T>(
  proving: Proving, asked: DriveAsked, work: (driven: Driven) => Promise<T>,
): Promise<T> {
  const { port } = proving
  port.signal.throwIfAborted()
  const ways = await Promise.all(Object.keys(asked.tones).map(name => wayOf(proving, name, asked)))
  for (const way of ways) await cooled(proving, way, asked.forS)
  const mostS = Math.min(...ways.map(way => way.mostS()))
  const startMs = port.clock.monotonicMs()
  const passedS = (): number => (port.clock.monotonicMs() - startMs) / 1000
  const driven: Driven = {
    leftS: () => mostS - passedS(),
    change: (channel, tones) => port.setTones(channel, tones),
    loads: Object.fromEntries(ways.map(({ name, load }) => [name, load])),
  }
  const limitMs = 1000 * Math.min(mostS, 1e6)
  try {
    return await withDeadline(port.clock, limitMs, 'driving the unit', async signal => {
      await up(proving, asked, signal)
      // Until then it gives more, and distorts less, than it does for long.
      if (ways.some(way => way.isHeavy)) await sleep(port.clock, 1000 * proving.options.sagS, signal)
      return await work(driven)
    }, port.signal)
  } finally {
    await muted(proving)
    for (const way of ways) way.heat?.took(way.watts, passedS())
  }
}

/** Mutes, and says so loudly where that fails: then the unit may still be driven. */
export async function muted({ port }: Proving): Promise<void> {
  try {
    await port.muteAll()
  } catch (error) {
    const what = `the generator could not be muted (${asBenchError(error).message}): the unit may be driven`
    throw new BenchError('ENERGY_UNKNOWN', what, {}, error)
  }
}

interface Way {
  readonly name: string
  readonly watts: number
  readonly heat: Heat | null
  readonly load: LoadState | null
  /** It takes enough for rails to sag. */
  readonly isHeavy: boolean
  mostS(): number
}

async function wayOf(proving: Proving, name: string, asked: DriveAsked): Promise<Way> {
  const { port } = proving
  const limits = limitsOf(proving, name)
  const { input } = channelOf(proving, name)
  const rmsV = asked.transientPeakV ?? Math.hypot(...asked.tones[name]!.map(({ levelV }) => levelV))
  const mostV = Math.min(limits.driveMaxV, input.levelMaxV)
  if (!(rmsV <= mostV)) refuse(name, 'asks more of its input than it may have', mostV, rmsV, 'V')
  const still = { name, watts: 0, heat: null, isHeavy: false }
  if (proving.patched !== 'unit') return { ...still, load: null, mostS: () => Infinity }
  const load = await port.load(name)
  const outputV = asked.outputV?.[name] ?? rmsV * gainOf(proving, name)
  if (!(outputV <= limits.outputMaxV)) refuse(name, 'would give too much', limits.outputMaxV, outputV, 'V')
  const rating = ratingOf(proving, name, load, asked.unloaded === true)
  if (rating === null) return { ...still, load, mostS: () => limits.dwellMaxS }
  const watts = outputV ** 2 / load.ohm!.value
  if (!(watts <= limits.outputMaxW)) refuse(name, 'would give too much', limits.outputMaxW, watts, 'W')
  const heat = proving.heat.get(name) ?? new Heat(port.clock, rating)
  proving.heat.set(name, heat)
  const isHeavy = watts > dwellShare * limits.outputMaxW
  const dwellS = isHeavy ? limits.dwellMaxS : Infinity
  return { name, watts, heat, load, isHeavy, mostS: () => Math.min(dwellS, heat.mayS(watts)) }
}

/** Until something was heard, the unit is taken to have no more gain than this. */
const gainMost = 1000
const gainOf = ({ gains }: Proving, name: string): number => gains.get(name) ?? gainMost

/** None of whose terminals may be earthed. */
export const needsDifferential = (kind: string): boolean => kind === 'bridged' || kind === 'floating'
export const earthedWords = 'the return of the digitizer is earthed, and would earth its'

/** Null where the output is meant to stand open. */
function ratingOf(
  proving: Proving, name: string, load: LoadState, unloaded: boolean,
): { continuousW: number; peakW: number; peakS: number } | null {
  const { output } = channelOf(proving, name)
  const isEarthed = !proving.port.digitizer.isDifferential
  const no = (says: string): never => {
    throw new BenchError('REFUSED', `channel ${name} is not driven: ${says}`)
  }
  if (isEarthed && needsDifferential(output.kind)) return no(`${earthedWords} ${output.kind} output`)
  if (load.kind === 'loudspeaker') return no('a loudspeaker hangs at its output')
  if (load.kind === 'open') {
    if (output.isValve) return no('a valve stage never runs without a load')
    return unloaded ? null : no('its output stands open')
  }
  const { continuousW, peakW, peakS } = load
  if (load.ohm === null || !(load.ohm.value > 0)) return no('its load was not measured in ohms')
  if (continuousW === null || peakW === null || peakS === null) return no('its load has no rated watts')
  return { continuousW, peakW, peakS }
}

async function cooled({ port }: Proving, { name, heat, watts }: Way, forS: number): Promise<void> {
  const restS = heat?.restS(watts, forS) ?? 0
  if (restS === 0) return
  const says = `is not driven: its load does not bear it for ${forS.toFixed(1)} s`
  if (!Number.isFinite(restS)) refuse(name, says, 0, watts, 'W')
  port.tell({ what: `resting its load for ${Math.ceil(restS)} s`, channel: name, done: 0, of: 1 })
  await sleep(port.clock, Math.ceil(1000 * restS) + 1, port.signal)
}

function refuse(name: string, says: string, most: number, got: number, unit: string): never {
  throw new BenchError('REFUSED', `channel ${name} ${says}`, {
    ...most > 0 ? { expected: `at most ${formatSi(most, unit, 4)}` } : {}, got: formatSi(got, unit, 4),
  })
}

async function up(
  { port }: Proving, { tones, transientPeakV }: DriveAsked, signal: AbortSignal,
): Promise<void> {
  const names = Object.keys(tones)
  for (const share of [firstShare, 1]) {
    for (const name of names) {
      if (transientPeakV !== undefined) await port.setTransient!(name, share * transientPeakV)
      else await port.setTones(name, scaled(tones[name]!, share))
      signal.throwIfAborted()
      if (share < 1) await port.setOutput(name, true)
      signal.throwIfAborted()
    }
    await sleep(port.clock, settleMs(port.generator.settleMs, Object.values(tones).flat()), signal)
  }
}

const scaled = (tones: readonly DriveTone[], share: number): DriveTone[] =>
  tones.map(({ frequencyHz, levelV }) => ({ frequencyHz, levelV: share * levelV }))

/** Five periods of the lowest sine, or what the generator takes. */
const settlePeriods = 5
function settleMs(generatorMs: number, tones: readonly DriveTone[]): number {
  const lowestHz = Math.min(...tones.map(({ frequencyHz }) => frequencyHz), 1000)
  return Math.max(generatorMs, 1000 * settlePeriods / lowestHz)
}

/** Time from nothing to level, s, and until the supply has followed. */
export const upS = ({ port, options: { sagS } }: Planned, tones: readonly DriveTone[]): number =>
  2 * settleMs(port.generator.settleMs, tones) / 1000 + sagS

/** Refuses what came out where it is more than its ceilings let. */
export function withinCeilings(proving: Proving, name: string, rmsV: number, ohm: number | null): void {
  if (proving.patched !== 'unit') return
  const { outputMaxV, outputMaxW } = limitsOf(proving, name)
  const over = (most: number, got: number, unit: string): never => {
    throw new BenchError('TRIPPED', `channel ${name} gave more than it was let: it is muted`, {
      expected: `at most ${formatSi(most, unit, 4)}`, got: formatSi(got, unit, 4),
    })
  }
  if (rmsV > overShare * outputMaxV) over(outputMaxV, rmsV, 'V')
  const watts = ohm === null ? 0 : rmsV ** 2 / ohm
  if (watts > overShare ** 2 * outputMaxW) over(outputMaxW, watts, 'W')
}
/** What is asked for stays below the ceilings; what is read may lie above by its uncertainty. */
const overShare = 1.03

