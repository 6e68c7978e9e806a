/**
 * A stand for burn-ins of days: the amplifier of the first-power tests with heat, a gain, and a digitizer that
 * hears it, in virtual time and cheap. Its truth is open to the tests.
 */
import { sleep } from '../../src/base/clock.ts'
import { BenchError } from '../../src/base/errors.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { PowerRoles } from '../../src/powering/power.ts'
import { stand as standSchema } from '../../src/schema/stand.ts'
import type { Capture } from '../../src/schema/unit-roles.ts'
import type { Measured, Quality } from '../../src/schema/reading.ts'
import { FakeStand, stand } from '../powering/fake-stand.ts'

export const warmStand = standSchema.parse({
  ...stand, thermometers: [{ name: 'heatsink', channel: 1 }, { name: 'air', channel: 2 }],
})

/** What goes wrong with time; changed at any moment. */
export interface Slow {
  /** Heat takes so many times its way to the air. */
  hotter: number
  /** Idle current gains this share of itself for each kelvin: heat that makes heat. */
  idlePerK: number
  /** DC at the output grows, V/h. */
  dcVPerH: number
  gain: number
  thd: number
  /** From when, and how long, the output is gone: ms. */
  gaps: [number, number][]
  sensorOff: boolean
  /** What the thermometer says of the heat sink; good while it can be read. */
  sensorReads: Quality
  airC: number
  /** So many captures fail. */
  capturesFail: number
  /** More than this at its input, and the digitizer clips, V. */
  digitizerMostV: number
}

const kPerW = 1
const tauS = 900
const divider = 20
const idleHeatW = 14

export class WarmStand extends FakeStand {
  readonly slow: Slow = {
    hotter: 1, idlePerK: 0.004, dcVPerH: 0, gain: 28, thd: 0.001, gaps: [], sensorOff: false, airC: 22,
    sensorReads: 'good', capturesFail: 0, digitizerMostV: 10,
  }
  celsius = 22
  /** Every level that was let out, V of the source. */
  readonly letOutV: number[] = []
  readonly #random: SeededRandom
  #heatSeenMs = 0

  constructor(seed: string | number) {
    super()
    this.#random = new SeededRandom(seed)
  }

  get idleNowA(): number { return 0.04 * (1 + this.slow.idlePerK * (this.celsius - 22)) }
  get dcNowV(): number { return 0.004 + this.slow.dcVPerH * this.clock.monotonicMs() / 3.6e6 }

  /** RMS at the terminals. */
  outputV(): number {
    const nowMs = this.clock.monotonicMs()
    if (!this.isOn || this.slow.gaps.some(([from, forMs]) => nowMs >= from && nowMs < from + forMs)) return 0
    return this.slow.gain * (this.driven.get(1)?.[0]?.levelV ?? 0)
  }

  heat(): void {
    const nowMs = this.clock.monotonicMs()
    const seconds = (nowMs - this.#heatSeenMs) / 1000
    this.#heatSeenMs = nowMs
    const { hotter, airC } = this.slow
    const steps = Math.max(1, Math.ceil(seconds / 10))
    for (let i = 0; i < steps; i++) {
      const driveW = 1.6 * this.outputV() ** 2 / 8
      const watts = this.isOn ? idleHeatW * this.idleNowA / 0.04 + driveW : 0
      const aimC = airC + hotter * kPerW * watts
      this.celsius += (aimC - this.celsius) * -Math.expm1(-seconds / steps / (tauS * hotter))
    }
    this.wrong.idleA = this.idleNowA * (1 + 0.001 * this.#random.normal())
    this.wrong.dcV = this.dcNowV + 0.0002 * this.#random.normal()
  }

  override off(): void { this.heat(); super.off() }

  override roles(): PowerRoles {
    const roles = super.roles()
    const { clock } = this
    const good = (value: number, u: number): Measured => ({ value, u, quality: 'good', atMs: clock.monotonicMs() })
    const { mainsSwitch, generator } = roles
    return {
      ...roles,
      mainsSwitch: {
        ...mainsSwitch, close: async way => { this.heat(); await mainsSwitch.close(way) },
        open: async () => { this.heat(); await mainsSwitch.open() },
      },
      generator: {
        ...generator!, setOutput: async (channel, on) => {
          this.heat()
          await generator!.setOutput(channel, on)
          if (on) this.letOutV.push(this.driven.get(channel)![0]!.levelV)
        },
        muteAll: async () => { this.heat(); await generator!.muteAll() },
      },
      thermometer: {
        ...roles.thermometer!, stepK: 0.1, noiseK: 0.05,
        readTemperature: async channel => {
          await sleep(clock, 20)
          this.heat()
          if (channel !== 2 && this.slow.sensorReads !== 'good') {
            return { value: NaN, u: NaN, quality: this.slow.sensorReads, atMs: clock.monotonicMs() }
          }
          const trueC = channel === 2 || this.slow.sensorOff ? this.slow.airC : this.celsius
          return good(Math.round(10 * (trueC + 0.05 * this.#random.normal())) / 10, 0.5)
        },
      },
      digitizer: {
        ...roles.meter, name: 'digitizer', channels: [1], isDifferential: true, inputOhm: 1e6, rangesV: [0.1, 1, 10],
        sampleRatesHz: [48_000, 192_000], samplesMost: 2 ** 17,
        own: () => ({ thdMost: 1e-5, noiseVPerRootHz: 1e-7, clockU: 1e-6, bits: 16 }),
        capture: async ({ sampleHz, samples }) => {
          await sleep(clock, 1000 * samples / sampleHz + 5)
          if (this.slow.capturesFail-- > 0) throw new BenchError('ANSWER_FORM', 'half a block')
          return this.#record(sampleHz, samples)
        },
      },
    }
  }

  #record(sampleHz: number, samples: number): Capture {
    const hz = this.driven.get(1)?.[0]?.frequencyHz ?? 1000
    const peak = Math.SQRT2 * this.outputV() / divider
    const mostV = this.slow.digitizerMostV
    const volts = Float64Array.from({ length: samples }, (_, i) => {
      const x = 2 * Math.PI * hz * i / sampleHz
      const now = peak * (Math.sin(x) + this.slow.thd * Math.sin(2 * x)) + 1e-5 * (this.#random.next() - 0.5)
      return Math.max(-mostV, Math.min(mostV, now))
    })
    const isClipped = volts.some(one => Math.abs(one) >= mostV)
    return { sampleHz, volts: [volts], isClipped: [isClipped], gainU: 0.001, offsetUV: 1e-4, atMs: this.clock.monotonicMs() }
  }
}
