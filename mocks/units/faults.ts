/** What may be wrong with a simulated unit, one knob each. Sizes are ours (docs/simulated-bench.md). */
import type { SeededRandom } from '../../src/base/random.ts'
import type { ChannelTruth, UnitTruth } from './truth.ts'

export const unitFaults = [
  'offset-drift', 'dry-output-capacitor', 'runaway', 'hum-loop', 'weak-channel', 'intermittent',
  'wrong-claim', 'shorted-output', 'open-bleeder', 'rail-fuse-open', 'bias-high', 'bias-low',
  'cold-oscillation', 'mains-short', 'leaking-coupling', 'hot-sensor',
] as const
export type UnitFault = (typeof unitFaults)[number]

/** The channel that a fault of one channel is in: the last. */
const sick = (truth: UnitTruth): ChannelTruth => truth.channels.at(-1)!

const isDirect = ({ output }: ChannelTruth): boolean => output.capacitorF === null && !output.transformer

/** Whether this unit has what can go wrong so. */
export function canHave(truth: UnitTruth, fault: UnitFault): boolean {
  const channel = sick(truth)
  switch (fault) {
    case 'offset-drift': case 'leaking-coupling': return isDirect(channel)
    case 'dry-output-capacitor': return channel.output.capacitorF !== null
    case 'rail-fuse-open': return channel.power.minusRail !== null
    case 'weak-channel': return truth.channels.length > 1
    default: return true
  }
}

/** A copy of the truth with this wrong. */
export function withFault(sound: UnitTruth, fault: UnitFault, random: SeededRandom): UnitTruth {
  const truth = structuredClone(sound)
  knobs[fault](sick(truth), random, truth)
  return truth
}

type Knob = (channel: ChannelTruth, random: SeededRandom, unit: UnitTruth) => void

const sign = (random: SeededRandom): number => random.next() < 0.5 ? -1 : 1

const knobs: Readonly<Record<UnitFault, Knob>> = {
  'offset-drift': ({ offset }, random) => { offset.perK = sign(random) * random.uniform(4e-3, 12e-3) },
  'dry-output-capacitor': ({ output }, random) => {
    output.capacitorF! *= random.uniform(0.06, 0.15)
    output.capacitorOhm = random.uniform(0.4, 1.2)
  },
  runaway: (channel, random, unit) => {
    channel.power.idleA *= random.uniform(2, 3)
    channel.power.idlePerK = random.uniform(1.5, 2.5) / loopGainPerShare(channel, unit)
  },
  'hum-loop': ({ hum }, random) => {
    const inputV = random.uniform(0.4e-3, 1.5e-3)
    for (const [order, share] of [[1, 1], [2, 0.1], [3, 0.4], [5, 0.15]] as const) {
      hum.lines.push({ order, inputV: inputV * share, phaseRad: random.uniform(0, 6) })
    }
  },
  'weak-channel': ({ stages }, random) => { stages[0]!.gain *= random.uniform(0.5, 0.75) },
  intermittent: (channel, random) => {
    channel.intermittent = {
      meanGoodS: random.uniform(20, 90), meanBadS: random.uniform(0.5, 3),
      aboveC: random.pick([-Infinity, 35]),
    }
  },
  // Nothing is wrong but what is printed.
  'wrong-claim': () => undefined,
  'shorted-output': channel => { channel.isShorted = true },
  'open-bleeder': ({ power }, _random, { supply }) => {
    supply.rails.find(({ name }) => name === power.plusRail)!.bleederOhm = Infinity
  },
  'rail-fuse-open': ({ power }, _random, { supply }) => {
    supply.rails.find(({ name }) => name === power.minusRail)!.isFuseOpen = true
  },
  'bias-high': ({ power }, random) => { power.idleA *= random.uniform(3.5, 6) },
  'bias-low': ({ power }, random) => { power.idleA *= random.uniform(0.01, 0.04) },
  'cold-oscillation': (channel, random) => {
    channel.oscillation = {
      hz: random.uniform(45e3, 90e3), peakV: random.uniform(1, 4), belowC: random.uniform(30, 36),
      watts: random.uniform(8, 20),
    }
  },
  'mains-short': (_channel, random, { supply }) => { supply.shortOhm = random.uniform(1, 12) },
  'leaking-coupling': ({ offset }, random) => {
    offset.leakV = sign(random) * random.uniform(0.03, 0.1)
    offset.leakDoublesK = random.uniform(7, 11)
  },
  'hot-sensor': (channel, random, { thermal }) => {
    for (const place of thermal.places) {
      if (place.node === channel.power.sinkNode) place.share = random.uniform(0.4, 0.6)
    }
  },
}

/** Loop gain of heat if the idle current rose by all of itself a kelvin: Rth · volts · amperes. */
export function loopGainPerShare({ power }: ChannelTruth, { supply, thermal }: UnitTruth): number {
  const node = thermal.nodes.find(({ name }) => name === power.sinkNode)!
  const kPerW = node.to.find(to => to.node === null)!.kPerW
  const railV = (name: string): number => Math.abs(supply.rails.find(rail => rail.name === name)!.openV)
  const acrossV = power.arrangement === 'push-pull' ? 2 * railV(power.plusRail)
    : railV(power.plusRail) + (power.minusRail === null ? 0 : railV(power.minusRail))
  return kPerW * acrossV * power.idleA
}
