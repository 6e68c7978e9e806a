/**
 * A simulated power amplifier of any number of channels. All that is hidden stands in its truth and its seed;
 * reads change nothing, and the same calls give the same volts to the bit. Time moves by `advance` alone.
 */
import { assert } from '../../src/base/assert.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { oscillationShare, shortedOhm, UnitChannel, type StageDraw, type Surroundings } from './channel.ts'
import { Hearing } from './hearing.ts'
import { Supply, type SupplyFlow } from './supply.ts'
import { Thermal } from './thermal.ts'
import type { Harm, UnitTruth } from './truth.ts'
import type { MainsFed, MainsTaken, SourceTone, UnitWorld } from './world.ts'

/** Rails and idle currents are brought together at least this often, s. */
const stepMaxS = 10

const settleTurns = 300
const settleStepS = 20

/** Where energy goes at this moment, W. */
export interface Balance {
  readonly mainsW: number
  readonly outputW: number
  /** Of copper, core, small loads and stages. */
  readonly heatW: number
  /** Heat that leaves for the air. */
  readonly lossW: number
}

export class SimulatedUnit implements UnitWorld {
  /** Only tests, and whoever reveals it in the end, may look. */
  readonly truth: UnitTruth
  readonly channels: readonly UnitChannel[]
  readonly supply: Supply
  readonly thermal: Thermal
  readonly harms: Harm[] = []
  nowS = 0
  readonly #random: SeededRandom
  readonly #hearing: Hearing
  readonly #surges: SeededRandom
  readonly #railOf: readonly { plus: number; minus: number }[]
  readonly #sinkOf: readonly number[]
  readonly #heatTo: { readonly winding: number; readonly core: number; readonly chassis: number }

  constructor(truth: UnitTruth, seed: number | string, ambientC = 22) {
    this.truth = truth
    this.#random = new SeededRandom(seed).fork('unit')
    this.#surges = this.#random.fork('surges')
    this.#hearing = new Hearing(this, this.#random)
    this.channels = truth.channels.map(channel => new UnitChannel(channel, this.#random.fork(channel.name)))
    this.supply = new Supply(truth.supply)
    this.thermal = new Thermal(truth.thermal, ambientC)
    this.#railOf = truth.channels.map(({ power: { plusRail, minusRail } }) => {
      const [plus, minus] = [plusRail, minusRail ?? plusRail].map(name => this.supply.indexOf(name))
      assert(plus! >= 0 && minus! >= 0, `no rail ${plusRail}`)
      return { plus: plus!, minus: minus! }
    })
    const nodeOf = (name: string): number => this.thermal.indexOf(name)
    this.#sinkOf = truth.channels.map(({ power }) => nodeOf(power.sinkNode))
    const { windingNode, coreNode, chassisNode } = truth.thermal
    this.#heatTo = { winding: nodeOf(windingNode), core: nodeOf(coreNode), chassis: nodeOf(chassisNode) }
  }

  // ——— what is done to it ———

  drive(channel: number, tones: readonly SourceTone[], sourceOhm: number, noiseVPerRootHz = 0): void {
    this.#channel(channel).drive(tones, sourceOhm, noiseVPerRootHz)
    this.#turned()
  }

  undrive(channel: number): void { this.drive(channel, [], Infinity) }

  setMains(mains: MainsFed | null): void {
    this.supply.feed(mains, mains && !this.supply.mains ? this.#surges.next() : 0)
    for (const channel of this.channels) channel.changed()
    this.#turned()
  }

  setLoad(channel: number, ohm: number | null): void {
    const each = this.#channel(channel)
    each.loadOhm = ohm
    each.changed()
    this.#turned()
  }

  earthReturn(channel: number, isEarthed: boolean): void {
    const each = this.#channel(channel)
    if (!isEarthed || each.truth.output.kind !== 'bridged') return
    if (this.surroundings(channel).alive === 0 || each.isShorted) return
    this.#harm('output shorted through an earth', channel)
    each.isShorted = true
    each.changed()
    this.#turned()
  }

  setAmbient(celsius: number): void { this.thermal.ambientC = celsius }

  /** Moves heat, charge and drift on by `seconds`. */
  advance(seconds: number): void {
    assert(seconds >= 0, 'time moves on')
    const endS = this.nowS + seconds
    for (let left = seconds; left > 1e-12;) {
      const draws = this.#railDraws()
      const h = Math.min(left, stepMaxS, this.supply.calmS(draws))
      this.supply.step(h, draws)
      const { flow } = this.supply
      this.thermal.step(h, (celsius, watts) => this.#heat(flow, celsius, watts))
      this.channels.forEach((channel, i) => this.#chargeCoupling(channel, i, h))
      this.nowS += h
      left -= h
      this.#suffer()
    }
    // However it was cut into steps: the same calls come to the same instants, and so to the same noise.
    this.nowS = endS
  }

  /** Brings the rails to rest for what drives and loads it, while heat and time stand still. */
  settleRails(): void {
    for (let turn = 0; turn < settleTurns; turn++) {
      const before = this.supply.volts.slice()
      for (const channel of this.channels) channel.changed()
      this.supply.step(settleStepS, this.#railDraws())
      if (before.every((v, i) => Math.abs(v - this.supply.volts[i]!) <= 1e-9 * (1 + v))) return
    }
  }

  // ——— what is seen of it ———

  output(channel: number, sampleHz: number, samples: number): Float64Array {
    return this.#hearing.record({ of: 'output', channel, sampleHz, fromS: this.nowS }, samples)
  }

  input(channel: number, sampleHz: number, samples: number): Float64Array {
    return this.#hearing.record({ of: 'input', channel, sampleHz, fromS: this.nowS }, samples)
  }

  mainsNow(): MainsTaken { return this.supply.look(this.#railDraws()).mains }

  rail(name: string): number {
    const index = this.supply.indexOf(name)
    assert(index >= 0, `no rail ${name}`)
    return Math.sign(this.truth.supply.rails[index]!.openV) * this.supply.volts[index]!
  }

  outputDc(channel: number): number {
    const each = this.#channel(channel)
    const around = this.surroundings(channel)
    const { out, restV } = each.wave(around)
    return (out.mean + restV) * each.standing(this.nowS, around.sinkC)
  }

  idle(name: string): number {
    const index = this.truth.channels.findIndex(({ power }) => power.idleName === name)
    assert(index >= 0, `no idle current ${name}`)
    const { idleOverOhm } = this.truth.channels[index]!.power
    return this.channels[index]!.idleA(this.surroundings(index)) * idleOverOhm
  }

  temperature(place: string): number { return this.thermal.place(place) }

  /** Of the hottest device of a channel, °C. */
  junctionC(channel: number): number {
    const { power } = this.truth.channels[channel]!
    const sinkC = this.#sinkC(channel, this.thermal.celsius)
    return sinkC + power.junctionKPerW * this.#stageHeat(channel, this.thermal.celsius)
  }

  balance(): Balance {
    const flow = this.supply.look(this.#railDraws())
    const watts = new Float64Array(this.truth.thermal.nodes.length)
    this.#heat(flow, this.thermal.celsius, watts)
    return {
      mainsW: flow.mains.watts, lossW: this.thermal.lossW, heatW: watts.reduce((sum, w) => sum + w, 0),
      outputW: this.channels.reduce((sum, _, i) => sum + this.#draw(i, this.thermal.celsius).outputW, 0),
    }
  }

  surroundings(channel: number, celsius: Float64Array = this.thermal.celsius): Surroundings {
    const { plus, minus } = this.#railOf[channel]!
    const { arrangement } = this.truth.channels[channel]!.power
    const { volts } = this.supply
    const alive = Math.max(this.supply.alive(plus), this.supply.alive(minus))
    const half = arrangement === 'half' ? 0.5 : 1
    return {
      plusV: volts[plus]! * half * alive, minusV: volts[minus]! * half * alive, alive,
      sinkC: this.#sinkC(channel, celsius),
    }
  }

  /** Of the mains that reaches the transformer. */
  get mainsHz(): number | null {
    return this.supply.isBlown ? null : this.supply.mains?.frequencyHz ?? null
  }

  /** Peak to peak, of the rail that a channel hangs on. */
  rippleV(channel: number): number {
    const { plus } = this.#railOf[channel]!
    return this.supply.rippleV(plus, this.#railDraws()[plus]!)
  }

  // ——— inside ———

  #channel(index: number): UnitChannel {
    const channel = this.channels[index]
    assert(channel, `no channel ${index}`)
    return channel
  }

  #turned(): void {
    this.#suffer()
    this.#hearing.turned()
  }

  #sinkC(channel: number, celsius: Float64Array): number {
    return celsius[this.#sinkOf[channel]!]!
  }

  #draw(channel: number, celsius: Float64Array): StageDraw {
    const around = this.surroundings(channel, celsius)
    const each = this.channels[channel]!
    return each.draw(around, each.standing(this.nowS, around.sinkC))
  }

  /** Amperes from each rail, and by channel from its upper and lower one. */
  #stageAmps(channel: number, celsius: Float64Array): { plusA: number; minusA: number; outputW: number } {
    const { plus } = this.#railOf[channel]!
    const { power, oscillation } = this.truth.channels[channel]!
    const { upperA, lowerA, outputW } = this.#draw(channel, celsius)
    const volts = Math.max(this.supply.volts[plus]!, 1e-3)
    const sick = (this.channels[channel]!.isShorted ? volts / shortedOhm : 0)
      + oscillationShare(oscillation, this.#sinkC(channel, celsius)) * this.supply.alive(plus)
      * (oscillation?.watts ?? 0) / volts
    const plusA = (power.arrangement === 'push-pull' ? upperA + lowerA : upperA) + sick
    return { plusA, minusA: power.arrangement === 'split' ? lowerA : 0, outputW }
  }

  #stageHeat(channel: number, celsius: Float64Array): number {
    const { plus, minus } = this.#railOf[channel]!
    const { plusA, minusA, outputW } = this.#stageAmps(channel, celsius)
    return plusA * this.supply.volts[plus]! + minusA * this.supply.volts[minus]! - outputW
  }

  #railDraws(): Float64Array {
    const draws = new Float64Array(this.supply.volts.length)
    this.channels.forEach((_, i) => {
      const { plus, minus } = this.#railOf[i]!
      const { plusA, minusA } = this.#stageAmps(i, this.thermal.celsius)
      draws[plus] = draws[plus]! + plusA
      draws[minus] = draws[minus]! + minusA
    })
    return draws
  }

  #heat(flow: SupplyFlow, celsius: Float64Array, watts: Float64Array): void {
    const { winding, core, chassis } = this.#heatTo
    watts[winding] = watts[winding]! + flow.copperW
    watts[core] = watts[core]! + flow.coreW
    watts[chassis] = watts[chassis]! + flow.chassisW
    this.#sinkOf.forEach((node, i) => { watts[node] = watts[node]! + this.#stageHeat(i, celsius) })
  }

  /** Overload charges the coupling of a stage, and rest lets it go. */
  #chargeCoupling(channel: UnitChannel, index: number, h: number): void {
    const { chargeS, recoverS } = channel.truth.blocking
    const target = Math.min(1, Math.max(0, channel.duty(this.surroundings(index)).overload - 1))
    const timeS = target > channel.block ? chargeS : recoverS
    channel.block = target + (channel.block - target) * Math.exp(-h / timeS)
  }

  /** What comes of what it stands in. */
  #suffer(): void {
    if (this.supply.isBlown && !this.harms.some(({ kind }) => kind === 'fuse blown')) {
      this.#harm('fuse blown', null)
    }
    this.channels.forEach((channel, i) => {
      const { output, power } = channel.truth
      const around = this.surroundings(i)
      if (around.alive === 0) return
      const isOpen = output.isValve && channel.loadOhm === null && !channel.hasArced
      if (isOpen && channel.tones.length > 0 && channel.duty(around).peakV > output.arcV) {
        channel.hasArced = true
        this.#harm('arced', i)
      }
      if (!channel.isShorted && this.junctionC(i) > power.junctionMaxC) {
        channel.isShorted = true
        channel.changed()
        this.#harm('output device failed', i)
      }
    })
  }

  #harm(kind: Harm['kind'], channel: number | null): void {
    this.harms.push({ kind, atS: this.nowS, channel })
  }
}
