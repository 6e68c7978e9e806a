/**
 * The supply of a unit: mains, transformer, rails with their reservoirs and bleeders, main fuse. A rail
 * charges through one resistance while the rectified volts are above it; between two changes it moves along
 * an exact exponential, so a step may be as long as nothing else changes.
 */
import type { RailTruth, SupplyTruth } from './truth.ts'
import type { MainsFed, MainsTaken } from './world.ts'

/** Below a third of their volts the circuits on a rail are off, above a half they are fully on (ours). */
export function aliveShare(volts: number, openV: number): number {
  return Math.min(1, Math.max(0, (volts / Math.abs(openV) - 1 / 3) * 6))
}

/** A step ends before a rail has moved by this share, and no step is shorter than this. */
const moveShare = 0.03
const stepMinS = 1e-4
/** While circuits are neither off nor on their current follows the volts steeply: steps are no longer. */
const wakingS = 2e-3
const turnsMax = 48
/** For a look at what flows now, s. */
const instantS = 1e-6

/** Heat and charge of one step, W and A, means over it. */
export interface SupplyFlow {
  readonly mains: MainsTaken
  readonly copperW: number
  readonly coreW: number
  /** Bleeders, small loads, heaters. */
  readonly chassisW: number
  /** What goes from the rails to the power stages. */
  readonly stagesW: number
}

export class Supply {
  readonly truth: SupplyTruth
  /** Without sign, V. */
  readonly volts: Float64Array
  isBlown = false
  mains: MainsFed | null = null
  flow: SupplyFlow
  #surge = 0
  #fuseI2t = 0

  constructor(truth: SupplyTruth) {
    this.truth = truth
    this.volts = new Float64Array(truth.rails.length)
    this.flow = this.#flowAt(0, [])
  }

  /** `surgeShare`: where in its wave the mains was met, 0 … 1. */
  feed(mains: MainsFed | null, surgeShare: number): void {
    if (mains && !this.mains) this.#surge = this.truth.surgeA * surgeShare
    if (!mains) this.#surge = 0
    this.mains = mains
  }

  indexOf(name: string): number { return this.truth.rails.findIndex(rail => rail.name === name) }

  alive(index: number): number { return aliveShare(this.volts[index]!, this.truth.rails[index]!.openV) }

  /** How long the draws (A by rail) and the rails may be taken as they are, s. */
  calmS(draws: ArrayLike<number>): number {
    const share = this.#shareOf(instantS, draws)
    let calm = this.#surge * share > 0.01 * this.truth.magnetisingA ? this.truth.surgeS / 8 : Infinity
    this.truth.rails.forEach((rail, i) => {
      const end = this.#end(i, draws[i]!, share, stepMinS)
      const slope = Math.abs(end.volts - this.volts[i]!) / stepMinS
      if (slope > 0) calm = Math.min(calm, moveShare * Math.abs(rail.openV) / slope)
      const alive = this.alive(i)
      if (alive > 0 && alive < 1) calm = Math.min(calm, wakingS)
    })
    return Math.max(stepMinS, calm)
  }

  /** Moves on by `hS` while the stages draw `draws` amperes from each rail. */
  step(hS: number, draws: ArrayLike<number>): void {
    const share = this.#shareOf(hS, draws)
    const ends = this.truth.rails.map((_, i) => this.#end(i, draws[i]!, share, hS))
    this.flow = this.#flowAt(share, ends)
    ends.forEach(({ volts }, i) => { this.volts[i] = volts })
    this.#surge *= Math.exp(-hS / this.truth.surgeS)
    this.#heatFuse(hS)
  }

  /** What is taken at this very instant. */
  look(draws: ArrayLike<number>): SupplyFlow {
    const share = this.#shareOf(instantS, draws)
    return this.#flowAt(share, this.truth.rails.map((_, i) => this.#end(i, draws[i]!, share, instantS)))
  }

  /** Peak to peak ripple of a rail, V: what its load takes out of the reservoir between two charges. */
  rippleV(index: number, drawA: number): number {
    const rail = this.truth.rails[index]!
    const hz = this.mains?.frequencyHz
    if (hz === undefined || this.isBlown) return 0
    const volts = this.volts[index]!
    const amps = drawA + volts * (1 / rail.bleederOhm + rail.loadS * this.alive(index))
    return Math.min(amps / (2 * hz * rail.reservoirF), volts)
  }

  #heatFuse(hS: number): void {
    const { fuseA, fuseI2t } = this.truth
    const excess = this.flow.mains.rmsA ** 2 - fuseA * fuseA
    this.#fuseI2t = Math.max(0, this.#fuseI2t + excess * hS)
    if (this.#fuseI2t >= fuseI2t) this.isBlown = true
  }

  /** Mains at the unit's terminals as a share of nominal: what a resistance in line leaves. */
  #shareOf(hS: number, draws: ArrayLike<number>): number {
    const { mains, truth } = this
    if (!mains || this.isBlown) return 0
    const open = mains.rmsV / truth.mainsV
    if (mains.seriesOhm === 0) return open
    let [low, high] = [0, open]
    for (let turn = 0; turn < turnsMax; turn++) {
      const share = (low + high) / 2
      const ends = truth.rails.map((_, i) => this.#end(i, draws[i]!, share, hS))
      const { rmsA } = this.#flowAt(share, ends).mains
      if (share * truth.mainsV + mains.seriesOhm * rmsA < mains.rmsV) low = share
      else high = share
    }
    return (low + high) / 2
  }

  /** A rail after `hS`, and its mean currents and heat meanwhile. */
  #end(index: number, drawA: number, share: number, hS: number): RailEnd {
    const rail = this.truth.rails[index]!
    const start = this.volts[index]!
    const source = rail.isFuseOpen ? 0 : Math.abs(rail.openV) * share
    const loadS = 1 / rail.bleederOhm + rail.loadS * this.alive(index)
    // What is drawn is taken to follow the volts within the step, which keeps long steps stable.
    const drawS = start > 0 ? drawA / start : 0
    const isCharging = source > start
    const feedS = isCharging ? 1 / rail.sourceOhm : 0
    const conductance = Math.max(loadS + drawS + feedS, 1e-12)
    const rest = source * feedS / conductance
    const x = conductance * hS / rail.reservoirF
    const volts = rest + (start - rest) * Math.exp(-x)
    const mean = rest + (start - rest) * (x < 1e-8 ? 1 - x / 2 : -Math.expm1(-x) / x)
    const chargeA = isCharging ? Math.max(0, (source - mean) / rail.sourceOhm) : 0
    return { volts, chargeA, sourceV: source, meanV: mean, loadS, drawS, rail }
  }

  #flowAt(share: number, ends: readonly RailEnd[]): SupplyFlow {
    const { truth, mains } = this
    const volts = share * truth.mainsV
    let [railsW, copperW, chassisW, stagesW] = [0, 0, truth.heaterW * share * share, 0]
    for (const { chargeA, sourceV, meanV, loadS, drawS, rail } of ends) {
      railsW += sourceV * chargeA
      copperW += rail.sourceOhm * chargeA * chargeA
      chassisW += meanV * meanV * loadS
      stagesW += meanV * meanV * drawS
    }
    const coreW = truth.coreW * share * share
    const shortW = volts * volts / truth.shortOhm
    const watts = railsW + coreW + truth.heaterW * share * share + shortW
    const inPhaseA = volts > 0 ? watts / volts : 0
    const acrossA = (truth.magnetisingA + this.#surge) * share
    const harmonicA = volts > 0 ? truth.harmonicShare * railsW / volts : 0
    return {
      mains: {
        rmsV: volts, rmsA: Math.hypot(inPhaseA, acrossA, harmonicA), watts,
        frequencyHz: mains?.frequencyHz ?? 0,
      },
      copperW: copperW + shortW, coreW, chassisW, stagesW,
    }
  }
}

interface RailEnd {
  readonly volts: number
  readonly chargeA: number
  readonly sourceV: number
  readonly meanV: number
  readonly loadS: number
  readonly drawS: number
  readonly rail: RailTruth
}
