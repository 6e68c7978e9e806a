/**
 * The bench as the proof of a unit sees it, over the roles of a run on mains. Whatever drives goes through
 * the verbs of src/powering, so that a trip withholds it; the patch is a person's, with the mains open.
 */
import { sleep } from '../base/clock.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import { drive, driveApart, muteAll, switchLoad } from '../powering/mains.ts'
import type { Led } from '../powering/places.ts'
import type { Power } from '../powering/power.ts'
import type { CaptureOf, LoadState, MeterReach, ProvingPort } from '../proving/port.ts'
import type { Capture, DriveTone } from '../schema/unit-roles.ts'
import type { VerifyParameters } from './parameters.ts'
import { patchTo } from './patch.ts'
import { loadState, ratedStep, reachOf } from './reach.ts'

export type Sweep = () => Promise<void>

/** Where the generator is led; null while nobody has said. */
export interface Patched { to: 'loop' | 'unit' | null }

export interface Stand {
  readonly power: Power
  readonly sweep: Sweep
  readonly parameters: VerifyParameters
  readonly patched: Patched
  /** Tones that a muted channel gets when it is let out. */
  readonly set: Map<string, readonly DriveTone[]>
}

/** Throws REFUSED where the stand lacks what it takes. */
export function portOver(power: Power, sweep: Sweep, parameters: VerifyParameters): ProvingPort {
  const reach = reachOf(power, parameters)
  if (reach === null) {
    throw new BenchError('REFUSED', 'this stand cannot prove a unit', {
      expected: 'generator, digitizer, load and an output', got: 'one is missing',
    })
  }
  const stand: Stand = { power, sweep, parameters, patched: { to: null }, set: new Map() }
  const meter = meterOf(stand)
  return {
    ...reach, clock: power.clock, signal: power.signal, ...meter && { meter },
    tell: ({ what, channel, done, of }) => {
      power.state.stage = [channel, what, of > 1 ? `${done} of ${of}` : null].filter(Boolean).join(', ')
    },
    patch: to => patchTo(stand, reach, to),
    setTones: (channel, tones) => setTones(stand, channel, tones),
    setOutput: (channel, on) => setOutput(stand, channel, on),
    muteAll: () => muteAll(power),
    capture: asked => capture(stand, asked),
    load: channel => loadOf(stand, channel),
    connectLoad: (channel, ohm) => connectLoad(power, channel, ohm),
  }
}

export function placeOf({ places }: Power, channel: string): Led {
  const place = places.outputs.find(({ spec }) => spec.name === channel)
  if (place) return place
  throw new BenchError('REFUSED', `the stand has no output for ${channel}`)
}

async function setTones(stand: Stand, channel: string, tones: readonly DriveTone[]): Promise<void> {
  stand.set.set(channel, tones)
  if (stand.power.state.driven.has(channel)) await letOut(stand, channel, tones)
}

async function setOutput(stand: Stand, channel: string, on: boolean): Promise<void> {
  const { power, set } = stand
  if (on) return letOut(stand, channel, set.get(channel) ?? [])
  await power.roles.generator!.setOutput(placeOf(power, channel).output.generator, false)
  power.state.driven.delete(channel)
}

async function letOut(stand: Stand, channel: string, tones: readonly DriveTone[]): Promise<void> {
  const { power, patched } = stand
  if (patched.to === 'loop') return driveApart(power, channel, tones)
  try {
    await drive(power, channel, tones)
  } catch (error) {
    // Where it was refused for its load, the load went away: that is more than a figure that is left.
    if (hasCode(error, 'REFUSED')) await loadOf(stand, channel)
    throw error
  }
}

/** Behind the divider volts are so much more at the unit, and known so much less well. */
async function capture({ power, patched }: Stand, asked: CaptureOf): Promise<Capture> {
  const places = asked.channels.map(name => placeOf(power, name).output)
  // Dividers are alike by the plan; how well each is known may differ.
  const dividerPct = patched.to === 'loop' ? 0 : Math.max(...places.map(place => place.dividerPct))
  const divider = patched.to === 'loop' ? 1 : places[0]!.divider
  const taken = await power.roles.digitizer!.capture({
    channels: places.map(({ digitizer }) => digitizer!), sampleHz: asked.sampleHz, samples: asked.samples,
    // Just below the range itself: a division may leave it a hair above.
    rangeV: asked.rangeV / divider * (1 - 1e-9),
  })
  return {
    ...taken, volts: divider === 1 ? taken.volts : taken.volts.map(one => one.map(v => v * divider)),
    gainU: Math.hypot(taken.gainU, dividerPct / 100 / Math.sqrt(3)), offsetUV: taken.offsetUV * divider,
  }
}

/** As it reads back. One that is not what this run left it at is a fault of the stand, driven or not. */
async function loadOf({ power, parameters }: Stand, channel: string): Promise<LoadState> {
  const { roles: { load }, state } = power
  const place = placeOf(power, channel)
  const standsOhm = await load!.connected(place.output.load)
  const switched = state.loads.get(channel)
  const leftOhm = switched === undefined ? ratedStep(place, load!) : switched
  if (standsOhm === leftOhm) return loadState(place, load!, standsOhm, parameters)
  const word = (ohm: number | null): string => ohm === null ? 'open' : `${ohm} Ω`
  power.fault(
    'load.open', `the load of ${channel} reads ${word(standsOhm)}, and was left at ${word(leftOhm)}`)
  throw power.signal.reason as Error
}

/** One that stands there already is left alone: between two steps the output would stand open. */
async function connectLoad(power: Power, channel: string, ohm: number | null): Promise<void> {
  const standsOhm = await power.roles.load!.connected(placeOf(power, channel).output.load)
  if (standsOhm !== ohm) await switchLoad(power, channel, ohm)
}

/** An AC meter has one input: it is of use where the unit has one output. */
function meterOf({ power }: Stand): MeterReach | null {
  const { roles: { acMeter }, places, clock, signal } = power
  if (!acMeter || places.outputs.length > 1) return null
  const { bandMinHz, bandMaxHz, readingMs } = acMeter
  return {
    bandMinHz, bandMaxHz, read: async () => {
      await sleep(clock, readingMs, signal)
      return await acMeter.readVoltage()
    },
  }
}
