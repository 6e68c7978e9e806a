/** What is heard of a simulated unit: records of its outputs and inputs, that go on while time does. */
import { assert } from '../../src/base/assert.ts'
import type { SeededRandom } from '../../src/base/random.ts'
import { oscillationShare, type Surroundings, type UnitChannel } from './channel.ts'
import { noiseRecord, type Density } from './noise.ts'
import { Phasor } from './phasor.ts'
import { sampled } from './sampled.ts'
import type { Line } from './torus.ts'
import type { ChannelTruth } from './truth.ts'

/** Lines smaller than this share of the largest are left out. */
const leastShare = 1e-10

/** A record that may still be going on. */
interface Recording {
  readonly of: 'output' | 'input'
  readonly channel: number
  readonly sampleHz: number
  readonly fromS: number
  readonly volts: Float64Array
}

/** The unit that is heard. */
export interface Sounding {
  readonly nowS: number
  readonly channels: readonly UnitChannel[]
  readonly mainsHz: number | null
  surroundings(channel: number): Surroundings
  rippleV(channel: number): number
}

export class Hearing {
  readonly #unit: Sounding
  readonly #random: SeededRandom
  #recordings: Recording[] = []

  constructor(unit: Sounding, random: SeededRandom) {
    this.#unit = unit
    this.#random = random
  }

  /** Volts from `fromS` on; the rest of them changes with what is turned before their end. */
  record(asked: Omit<Recording, 'volts'>, samples: number): Float64Array {
    const volts = this.#heard(asked, asked.fromS, samples)
    this.#forget()
    this.#recordings.push({ ...asked, volts })
    return volts
  }

  /** Something was turned: what comes of it shows from here on in every record that is not over. */
  turned(): void {
    this.#forget()
    const { nowS } = this.#unit
    for (const recording of this.#recordings) {
      const { fromS, sampleHz, volts } = recording
      const first = Math.ceil((nowS - fromS) * sampleHz - 1e-6)
      const left = volts.length - first
      if (left > 0) volts.set(this.#heard(recording, fromS + first / sampleHz, left), first)
    }
  }

  /** Records that are over are nobody's any more. */
  #forget(): void {
    const { nowS } = this.#unit
    this.#recordings = this.#recordings.filter(({ fromS, sampleHz, volts }) =>
      fromS + volts.length / sampleHz > nowS)
  }

  #heard({ of, channel, sampleHz }: Omit<Recording, 'volts'>, fromS: number, samples: number): Float64Array {
    return of === 'output' ? this.#terminals(channel, fromS, sampleHz, samples)
      : this.#source(channel, fromS, sampleHz, samples)
  }

  #terminals(channel: number, fromS: number, sampleHz: number, samples: number): Float64Array {
    const each = this.#channelOf(channel)
    const around = this.#unit.surroundings(channel)
    const volts = sampled(this.#lines(channel, around), fromS, sampleHz, samples)
    this.#shape(each, around, volts, { fromS, sampleHz })
    if (around.alive === 0) return volts
    return this.#noisy(volts, `output ${channel} ${fromS}`, each.noiseDensity(around), sampleHz)
  }

  #source(channel: number, fromS: number, sampleHz: number, samples: number): Float64Array {
    const { tones, sourceNoise } = this.#channelOf(channel)
    const lines = tones.map(({ frequencyHz: hz, peakV, phaseRad }) =>
      ({ hz, re: peakV * Math.sin(phaseRad), im: -peakV * Math.cos(phaseRad) }))
    const volts = sampled(lines, fromS, sampleHz, samples)
    if (sourceNoise === 0) return volts
    return this.#noisy(volts, `input ${channel} ${fromS}`, () => sourceNoise ** 2, sampleHz)
  }

  #noisy(volts: Float64Array, stream: string, density: Density, sampleHz: number): Float64Array {
    const noise = noiseRecord(this.#random.fork(stream), density, sampleHz, volts.length)
    for (let n = 0; n < volts.length; n++) volts[n] = volts[n]! + noise[n]!
    return volts
  }

  #lines(channel: number, around: Surroundings): Line[] {
    const each = this.#unit.channels[channel]!
    const { out, restV } = each.wave(around)
    const lines = out.lines(leastShare * Math.sqrt(2 * out.meanSquare))
    lines.push({ hz: 0, re: restV, im: 0 }, ...each.strayLines(around))
    // One at a time: two tones that clip make more lines than a call takes arguments.
    this.#unit.channels.forEach((other, i) => {
      if (i === channel) return
      for (const line of crossed(other, this.#unit.surroundings(i), each.truth)) lines.push(line)
    })
    const { mainsHz } = this.#unit
    if (mainsHz !== null) lines.push(...each.humLines(around, mainsHz, this.#unit.rippleV(channel)))
    const { oscillation } = each.truth
    const share = oscillationShare(oscillation, around.sinkC) * around.alive
    if (oscillation && share > 0) lines.push({ hz: oscillation.hz, re: oscillation.peakV * share, im: 0 })
    return lines
  }

  /** What recovers, drops out or arced within a record. */
  #shape(
    channel: UnitChannel, around: Surroundings, volts: Float64Array,
    { fromS, sampleHz }: { fromS: number; sampleHz: number },
  ): void {
    const { left, block } = channel
    if (block > 1e-9 || left !== 1) {
      const { depth, recoverS } = channel.truth.blocking
      const fadePerSample = channel.duty(around).overload > 1 ? 1 : Math.exp(-1 / sampleHz / recoverS)
      let lost = depth * block
      for (let n = 0; n < volts.length; n++, lost *= fadePerSample) volts[n] = volts[n]! * left * (1 - lost)
    }
    const endS = fromS + volts.length / sampleHz
    for (const [from, to] of channel.joint?.gaps(fromS, endS, around.sinkC) ?? []) {
      volts.fill(0, Math.ceil((from - fromS) * sampleHz), Math.ceil((to - fromS) * sampleHz))
    }
  }

  #channelOf(index: number): UnitChannel {
    const channel = this.#unit.channels[index]
    assert(channel, `no channel ${index}`)
    return channel
  }
}

/** An absolute value has corners, whatever the wave. */
const railPoints = { one: 4096, two: 256 }

/** What of another channel's output comes across. */
function crossed(other: UnitChannel, around: Surroundings, { crosstalk }: ChannelTruth): Line[] {
  if (other.tones.length === 0) return []
  const { out } = other.wave(around)
  const least = leastShare * Math.sqrt(2 * out.meanSquare)
  const { share, cornerHz, railShare } = crosstalk
  const coupled = out.lines(least).filter(({ hz }) => hz > 0).map(({ hz, re, im }) => {
    const z = new Phasor().set(re, im).scale(share).times(1, hz / cornerHz)
    return { hz, re: z.re, im: z.im }
  })
  if (railShare === 0) return coupled
  // Either half wave loads one rail: what is left of that has the shape of the absolute value.
  const finer = out.refined(out.basisHz.length > 1 ? railPoints.two : railPoints.one)
  const rails = finer.curve(v => railShare * Math.abs(v))
  return [...coupled, ...rails.lines(least * railShare).filter(({ hz }) => hz > 0)]
}
