/** One proof of a unit: the port, what was learnt of it so far, and what its loads have taken. */
import { BenchError } from '../base/errors.ts'
import type { Curve } from '../schema/unit-findings.ts'
import type { UnitChannel } from '../schema/unit-profile.ts'
import { emptyFloor, type Floor } from './floor.ts'
import type { Heat } from './heat.ts'
import type { ChannelLimits, ProvingPort, Reach } from './port.ts'

export interface ProvingOptions {
  /** Length of a record, s; longer where a low frequency asks for it. */
  readonly recordS: number
  /** Captures of one figure are averaged until noise is this share of it, or of its other uncertainty. */
  readonly noiseShare: number
  readonly capturesMost: number
  /** What the supply of a unit is given to sag, s, once it gives more than an eighth of its most watts. */
  readonly sagS: number
}
export const provingDefaults: ProvingOptions = { recordS: 0.6, noiseShare: 2e-3, capturesMost: 16, sagS: 0.6 }

/** As much of it as is known before anything is driven. */
export interface Planned {
  readonly port: Reach
  readonly options: ProvingOptions
}

export interface Proving extends Planned {
  readonly port: ProvingPort
  readonly floor: Floor
  /** Volts out for one volt that the generator is set to, by channel, as last heard near 1 kHz. */
  readonly gains: Map<string, number>
  readonly heat: Map<string, Heat>
  /** Ω that a channel's load was set to, where it is not what the profile states. */
  readonly loadsOhm: Map<string, number>
  /** Courses that were measured on the way to a figure. */
  readonly curves: Curve[]
  patched: 'loop' | 'unit' | null
}

export const planned = (port: Reach, options: Partial<ProvingOptions> = {}): Planned =>
  ({ port, options: { ...provingDefaults, ...options } })

export const beginProving = (port: ProvingPort, options: Partial<ProvingOptions> = {}): Proving => ({
  port, options: planned(port, options).options, floor: emptyFloor(), gains: new Map(), heat: new Map(),
  loadsOhm: new Map(), curves: [], patched: null,
})

/** Patches where it is not so already; nothing is driven meanwhile. */
export async function patched(proving: Proving, to: 'loop' | 'unit'): Promise<void> {
  if (proving.patched === to) return
  await proving.port.muteAll()
  proving.patched = null
  await proving.port.patch(to)
  proving.patched = to
}

export function channelOf({ port }: Planned, name: string): UnitChannel {
  const channel = port.channels.find(one => one.name === name)
  if (channel) return channel
  throw new BenchError('REFUSED', 'no such channel', {
    expected: port.channels.map(one => one.name).join(', '), got: name,
  })
}

/** Nominal Ω at its output: watts that are asked for are at these. */
export const loadOhmOf = (proving: Proving, name: string): number =>
  proving.loadsOhm.get(name) ?? channelOf(proving, name).output.loadOhm

export function limitsOf({ port }: Planned, name: string): ChannelLimits {
  const limits = port.limits[name]
  if (limits) return limits
  throw new BenchError('REFUSED', `channel ${name} has no ceilings: it is not driven`)
}

/** Channels that are driven beside this one, and itself. */
export const drivenWith = ({ port }: Proving, name: string, driven: 'one' | 'all'): string[] =>
  driven === 'one' ? [name] : port.channels.map(one => one.name)
