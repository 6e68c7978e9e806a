/**
 * One channel of a simulated unit as it is run: what drives and loads it, what it does at this moment, and
 * the current that it draws for that.
 */
import type { SeededRandom } from '../../src/base/random.ts'
import { Chain, largest } from './chain.ts'
import { upperOf } from './curves.ts'
import { BadJoint } from './fate.ts'
import { latticeOf, type Lattice } from './lattice.ts'
import { Phasor } from './phasor.ts'
import type { Line, Torus } from './torus.ts'
import type { ChannelTruth } from './truth.ts'
import type { SourceTone } from './world.ts'

/** What the rest of the unit gives a channel. */
export interface Surroundings {
  /** What the rails let the devices swing to, V; 0 where the stage is off. */
  readonly plusV: number
  readonly minusV: number
  /** 0 off, 1 fully on. */
  readonly alive: number
  readonly sinkC: number
}

/** What a drive takes: device current at points spread over its period, and power to the load. */
interface Duty {
  readonly deviceA: Float64Array
  readonly outputW: number
  /** Peak that is asked for over what the rails allow, and peak at the terminals, V. */
  readonly overload: number
  readonly peakV: number
  readonly at: Surroundings
  sum: Sum | null
}
interface Sum {
  readonly standing: number
  readonly idleA: number
  readonly upperA: number
  readonly upperPerIdle: number
  readonly meanA: number
}

export interface StageDraw { readonly upperA: number; readonly lowerA: number; readonly outputW: number }

const referenceC = 25
/** Idle current never falls below this share of what it is at 25 °C. */
const idleLeast = 0.02
const idleLeastA = 1e-6
const boltzmann = 1.380649e-23
const roomK = 293.15
/** What a shorted output device draws from its rail, as a resistance; ours. */
export const shortedOhm = 1
/** Turns of an output transformer that arced are shorted: this share of the volts is left; ours. */
const arcedShare = 0.3
const coarsePoints = { none: 2, one: 256, two: 32 }
const dutyPoints = 256
/** A duty is worked out again when rails have moved by this share and limit the wave. */
const staleShare = 3e-3
const tangentShare = 3e-3
const limitedFrom = 0.4

export class UnitChannel {
  readonly truth: ChannelTruth
  tones: readonly SourceTone[] = []
  sourceOhm = Infinity
  loadOhm: number | null = null
  /** Of what drives the input, V/√Hz. */
  sourceNoise = 0
  hasArced = false
  isShorted: boolean
  /** Charge of the coupling by overload, 0 … 1. */
  block = 0
  readonly joint: BadJoint | null
  #lattice: Lattice = latticeOf([])
  #duty: Duty | null = null
  #wave: { key: string; out: Torus } | null = null

  constructor(truth: ChannelTruth, random: SeededRandom) {
    this.truth = truth
    this.isShorted = truth.isShorted
    this.joint = truth.intermittent ? new BadJoint(truth.intermittent, random.fork('joint')) : null
  }

  drive(tones: readonly SourceTone[], sourceOhm: number, noiseVPerRootHz: number): void {
    this.tones = tones
    this.sourceNoise = noiseVPerRootHz
    this.sourceOhm = sourceOhm
    this.#lattice = latticeOf(tones)
    this.changed()
  }

  changed(): void { this.#duty = null }

  idleA({ alive, sinkC }: Surroundings): number {
    const { idleA, idlePerK } = this.truth.power
    const change = idlePerK * (sinkC - referenceC)
    // A straight line above the reference; below it one that never reaches 0.
    return idleA * alive * Math.max(idleLeast, change < 0 ? 1 / (1 - change) : 1 + change)
  }

  /** DC that the stage has before its rails limit it, V. */
  offsetV({ plusV, minusV, alive, sinkC }: Surroundings): number {
    if (this.isShorted) return 10 * plusV * this.truth.power.ratio
    const { at25V, perK, leakV, leakDoublesK } = this.truth.offset
    const rise = sinkC - referenceC
    const own = (at25V + perK * rise + leakV * 2 ** (rise / leakDoublesK)) * alive
    // With one rail gone or low the feedback has nothing to hold the middle with.
    const lopsided = Math.abs(plusV - minusV) / Math.max(plusV + minusV, 1e-9)
    return own + (plusV - minusV) / 2 * Math.min(1, Math.max(0, (lopsided - 0.2) / 0.3))
  }

  chain(around: Surroundings): Chain {
    return new Chain(this.truth, {
      sourceOhm: this.sourceOhm, loadOhm: this.loadOhm ?? Infinity,
      plusV: around.plusV, minusV: around.minusV,
      idleA: Math.max(this.idleA(around), idleLeastA), offsetV: this.offsetV(around),
    })
  }

  /** The same with what moves slowly rounded, so that records one after another come from one wave. */
  #roundedChain(around: Surroundings): Chain {
    const { at } = this.chain(around)
    const grain = 1e-4 * this.truth.power.ratio * Math.max(at.plusV, at.minusV, 1e-3)
    return new Chain(this.truth, {
      ...at, plusV: rounded(at.plusV, 2e-5), minusV: rounded(at.minusV, 2e-5), idleA: rounded(at.idleA, 1e-3),
      offsetV: Math.round(at.offsetV / grain) * grain,
    })
  }

  /** The share of its volts that reaches the terminals whatever the waveform: an arc, blocking, a joint. */
  standing(tS: number, sinkC: number): number {
    const joined = this.joint?.conducts(tS, sinkC) ?? true
    return joined ? this.left * (1 - this.truth.blocking.depth * this.block) : 0
  }

  /** What an arc has left of it. */
  get left(): number { return this.hasArced ? arcedShare : 1 }

  duty(around: Surroundings): Duty {
    const old = this.#duty
    if (old && !isStale(old, around)) return old
    const { basisHz } = this.#lattice
    const points = basisHz.length === 0 ? coarsePoints.none
      : basisHz.length === 1 ? coarsePoints.one : coarsePoints.two
    const chain = this.chain(around)
    const { asked, out } = chain.coarse(this.#lattice, points)
    const volts = out.values
    const stride = Math.max(1, Math.floor(volts.length / dutyPoints))
    const perVolt = this.truth.power.ratio / chain.loadOhm
    const deviceA = Float64Array.from(
      { length: Math.floor(volts.length / stride) }, (_, i) => volts[i * stride]! * perVolt)
    const top = Math.max(1e-9, Math.min(chain.topV, chain.bottomV))
    this.#duty = {
      deviceA, outputW: out.meanSquare / chain.loadOhm, peakV: largest(out.values),
      overload: around.alive > 0 ? largest(asked.values) / top : 0, at: around, sum: null,
    }
    return this.#duty
  }

  /** Mean currents of both devices, by a tangent near the idle current for which they were last added up. */
  draw(around: Surroundings, standing: number): StageDraw {
    const duty = this.duty(around)
    const idle = this.idleA(around)
    let sum = duty.sum
    if (sum?.standing !== standing || Math.abs(idle - sum.idleA) > tangentShare * sum.idleA) {
      sum = duty.sum = summed(duty.deviceA, standing, idle)
    }
    const upperA = sum.upperA + sum.upperPerIdle * (idle - sum.idleA)
    return { upperA, lowerA: upperA - sum.meanA, outputW: duty.outputW * standing * standing }
  }

  /** The wave at the terminals without what `standing` takes, and the DC that rounding left out of it. */
  wave(around: Surroundings): { out: Torus; restV: number } {
    const chain = this.#roundedChain(around)
    const key = JSON.stringify([chain.at, this.tones])
    if (this.#wave?.key !== key) this.#wave = { key, out: chain.wave(this.#lattice).out }
    const rest = this.offsetV(around) - chain.at.offsetV
    return { out: this.#wave.out, restV: chain.late(0, new Phasor().set(rest)).re }
  }

  /** Tones off the lattice, as the chain carries small signals. */
  strayLines(around: Surroundings): Line[] {
    const chain = this.chain(around)
    return this.#lattice.strays.map(({ frequencyHz: hz, peakV, phaseRad }) => {
      const at = new Phasor().set(peakV * Math.sin(phaseRad), -peakV * Math.cos(phaseRad))
      const { re, im } = chain.small(hz, at)
      return { hz, re, im }
    })
  }

  /** Noise at the terminals, V²/Hz. */
  noiseDensity(around: Surroundings): (hz: number) => number {
    const { noise, inputOhm } = this.truth
    const chain = this.chain(around)
    const resistorOhm = 1 / (1 / inputOhm + 1 / this.sourceOhm)
    const thermal = 4 * boltzmann * roomK * resistorOhm
    const alive = around.alive ** 2
    const z = new Phasor()
    return hz => alive * (noise.outputVRootHz ** 2
      + chain.node(hz, z.set(1)).size ** 2 * (noise.inputVRootHz ** 2 * (1 + noise.cornerHz / hz) + thermal)
      + (this.sourceNoise === 0 ? 0 : (chain.small(hz, z.set(1)).size * this.sourceNoise) ** 2))
  }

  /** Lines that the mains leaves at the terminals while rails have `rippleV` from peak to peak. */
  humLines(around: Surroundings, mainsHz: number, rippleV: number): Line[] {
    const { hum } = this.truth
    const chain = this.chain(around)
    const lines: Line[] = hum.lines.map(({ order, inputV, phaseRad }) =>
      humLine(chain, order * mainsHz, inputV * around.alive, phaseRad))
    if (this.sourceOhm === Infinity) lines.push(humLine(chain, mainsHz, hum.openV * around.alive, 0))
    // A sawtooth at twice the mains: peak to peak over π·k in its k-th harmonic.
    for (let k = 1; k <= rippleLines; k++) {
      const peak = hum.ripple * rippleV / (Math.PI * k)
      lines.push({ hz: 2 * k * mainsHz, re: 0, im: peak })
    }
    return lines
  }
}

const rippleLines = 6

/** To steps of a geometric ladder. */
const rounded = (x: number, share: number): number =>
  x <= 0 ? x : Math.exp(Math.round(Math.log(x) / share) * share)

function humLine(chain: Chain, hz: number, peakV: number, phaseRad: number): Line {
  const { re, im } = chain.node(hz, new Phasor().set(peakV * Math.cos(phaseRad), peakV * Math.sin(phaseRad)))
  return { hz, re, im }
}

function summed(deviceA: Float64Array, standing: number, idleA: number): Sum {
  let [upper, slope, mean] = [0, 0, 0]
  for (const amps of deviceA) {
    const a = amps * standing
    const u = upperOf(a, idleA)
    upper += u
    mean += a
    if (idleA > 0) slope += 2 * idleA / (2 * u - a)
  }
  const { length } = deviceA
  return { standing, idleA, upperA: upper / length, upperPerIdle: slope / length, meanA: mean / length }
}

function isStale({ at, overload, deviceA }: Duty, around: Surroundings): boolean {
  if ((at.alive > 0) !== (around.alive > 0)) return true
  if (overload < limitedFrom && deviceA.length > coarsePoints.none) return false
  const moved = (a: number, b: number): boolean => Math.abs(a - b) > staleShare * Math.max(a, b)
  return moved(at.plusV, around.plusV) || moved(at.minusV, around.minusV)
}

/** How much of its oscillation a stage has at this temperature, 0 … 1. */
export function oscillationShare(oscillation: ChannelTruth['oscillation'], sinkC: number): number {
  if (!oscillation || sinkC >= oscillation.belowC) return 0
  return Math.min(1, (oscillation.belowC - sinkC) / 5)
}
