/** From a unit profile and a stand to the channels that are read, and what is missing for them. Pure. */
import type { Refusal } from '../schema/refusals.ts'
import type { Channel } from '../schema/reading.ts'
import type { ProbeSpec, StandOutput, StandSpec, UnitOnStand } from '../schema/stand.ts'
import type { UnitChannel, UnitProfile } from '../schema/unit-profile.ts'

type Rail = UnitProfile['rails'][number]
type Idle = UnitProfile['idle'][number]
type Warm = UnitProfile['temperatures'][number]

export interface Probed<Spec> { readonly spec: Spec; readonly probe: ProbeSpec; readonly channel: Channel }
export interface Felt { readonly spec: Warm; readonly thermometer: number; readonly channel: Channel }
export interface Led { readonly spec: UnitChannel; readonly output: StandOutput }

/** Everything of one unit that is read, dense from 0 for the store. */
export interface Places {
  readonly all: readonly Channel[]
  readonly mains: { readonly voltage: Channel; readonly current: Channel; readonly power: Channel }
  readonly rails: readonly Probed<Rail>[]
  /** The channel is the current: volts over the resistor are divided by it as they are read. */
  readonly idle: readonly Probed<Idle>[]
  /** DC at the terminals of each output that has a probe `<channel>-dc`. */
  readonly dc: readonly Probed<UnitChannel>[]
  readonly temperatures: readonly Felt[]
  /** A thermometer of the stand called `air`, or wired so, that is no place of the unit; null without one. */
  readonly air: { readonly thermometer: number; readonly channel: Channel } | null
  readonly outputs: readonly Led[]
}

export const dcProbe = ({ name }: UnitChannel): string => `${name}-dc`

/** What is missing refuses the run; the places hold the rest. */
export function placesOf(
  profile: UnitProfile, stand: StandSpec, wiring: UnitOnStand['wiring'],
): { readonly places: Places; readonly missing: readonly Refusal[] } {
  const all: Channel[] = []
  const missing: Refusal[] = []
  const add = (channel: Omit<Channel, 'index'>): Channel => {
    const made = { index: all.length, ...channel }
    all.push(made)
    return made
  }
  const known: Record<Kind, Set<string>> = {
    probes: new Set(), outputs: new Set(), thermometers: new Set(['air']),
  }
  const found = <T extends { name: string }>(kind: Kind, list: readonly T[], wanted: string): T | null => {
    known[kind].add(wanted)
    const called = wiring[kind][wanted] ?? wanted
    const one = list.find(({ name }) => name === called)
    if (one === undefined) missing.push(lacking(kind, wanted, called))
    return one ?? null
  }
  const probed = <S>(spec: S, name: string, channel: Omit<Channel, 'index'>): Probed<S>[] => {
    const probe = found('probes', stand.probes, name)
    return probe === null ? [] : [{ spec, probe, channel: add(channel) }]
  }
  const mains = {
    voltage: add({ name: 'mains.voltage', quantity: 'voltage', unit: 'V' }),
    current: add({ name: 'mains.current', quantity: 'current', unit: 'A' }),
    power: add({ name: 'mains.power', quantity: 'power', unit: 'W' }),
  }
  const places: Omit<Places, 'air'> = {
    all, mains,
    rails: profile.rails.flatMap(spec => probed(spec, spec.name,
      { name: `rail.${spec.name}`, quantity: 'voltage', unit: 'V' })),
    idle: profile.idle.flatMap(spec => probed(spec, spec.name,
      { name: `idle.${spec.name}`, quantity: 'current', unit: 'A' })),
    dc: profile.channels.flatMap(spec => probed(spec, dcProbe(spec),
      { name: `${spec.name}.dc`, quantity: 'voltage', unit: 'V' })),
    temperatures: profile.temperatures.flatMap(spec => {
      const one = found('thermometers', stand.thermometers, spec.place)
      const channel = { name: `warm.${spec.place}`, quantity: 'temperature', unit: '°C' } as const
      return one === null ? [] : [{ spec, thermometer: one.channel, channel: add(channel) }]
    }),
    outputs: profile.channels.flatMap(spec => {
      const output = found('outputs', stand.outputs, spec.name)
      return output === null ? [] : [{ spec, output }]
    }),
  }
  // Nothing of the unit: it is missed where it is not there, and refuses nothing.
  const airName = wiring.thermometers.air ?? 'air'
  const isFree = !profile.temperatures.some(({ place }) => place === 'air')
  const air = isFree ? stand.thermometers.find(({ name }) => name === airName) : undefined
  const whole: Places = { ...places, air: air === undefined ? null : {
    thermometer: air.channel, channel: add({ name: 'air', quantity: 'temperature', unit: '°C' }),
  } }
  return { places: whole, missing: [...missing, ...strays(wiring, known), ...sharedTwice(whole)] }
}

type Kind = keyof UnitOnStand['wiring']
const kindWords: Record<Kind, string> = { probes: 'probe', outputs: 'output', thermometers: 'thermometer' }

const lacking = (kind: Kind, wanted: string, called: string): Refusal => ({
  what: `${kindWords[kind]} for ${wanted} of the unit`, have: `no ${called} on the stand`,
  need: `a ${kindWords[kind]} of that name`,
  wayOut: `enter it in \`stand.${kind}\` of the bench file, or name another in the wiring of the request`,
})

/** A name that is none of this unit's would leave what was meant where it is. */
function strays(
  wiring: UnitOnStand['wiring'], known: Readonly<Record<Kind, ReadonlySet<string>>>,
): Refusal[] {
  return (Object.keys(known) as Kind[]).flatMap(kind =>
    Object.keys(wiring[kind]).filter(name => !known[kind].has(name)).map(name => ({
      what: `${kindWords[kind]} for ${name} in the wiring`, have: 'nothing of that name in the unit profile',
      need: [...known[kind]].join(' or '), wayOut: 'name what the unit profile names',
    })))
}

/** Two places of a unit at one input of the stand: one of them is not looked at. */
function sharedTwice({ rails, idle, dc, temperatures, air, outputs }: Places): Refusal[] {
  const uses = [
    ...[...rails, ...idle, ...dc].map(({ probe, channel }) =>
      ({ at: `probe ${probe.name}`, by: channel.name })),
    ...temperatures.map(({ thermometer, channel }) =>
      ({ at: `thermometer channel ${thermometer}`, by: channel.name })),
    ...air === null ? [] : [{ at: `thermometer channel ${air.thermometer}`, by: air.channel.name }],
    ...outputs.map(({ output, spec }) => ({ at: `output ${output.name}`, by: spec.name })),
  ]
  return uses.flatMap(({ at, by }, i) => {
    const first = uses.findIndex(other => other.at === at)
    return first === i ? [] : [{
      what: at, have: `${uses[first]!.by} and ${by}`, need: 'one of them',
      wayOut: 'give each its own in the wiring of the request',
    }]
  })
}
