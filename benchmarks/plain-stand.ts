/**
 * A stand whose roles are straight on a few lines of physics: what is left of the time of a burn-in on it is
 * the program's own. Two rails, and two channels with idle current and DC at the output; two temperatures, the
 * air, and three readings of the mains: twelve.
 */
import { sleep, type VirtualClock } from '../src/base/clock.ts'
import type { PowerRoles } from '../src/powering/power.ts'
import { stand as standSchema, unitRequest } from '../src/schema/stand.ts'
import { unitProfile } from '../src/schema/unit-profile.ts'
import type { Measured } from '../src/schema/reading.ts'
import type { DriveTone, MainsWay } from '../src/schema/unit-roles.ts'

const channels = ['left', 'right'] as const
const gain = 28
const divider = 20
const tauS = 900

export const plainProfile = unitProfile.parse({
  version: 1, unit: 'plain', description: 'two rails and two channels',
  supply: {
    kind: 'mains', voltageV: 230, frequencyHz: 50, protection: 'earthed', fuse: 'T2A', currentMaxA: 2,
    powerIdleMaxW: 60, powerMaxW: 300, mayRunLow: true,
  },
  channels: channels.map(name => ({
    name, input: { impedanceOhm: 47_000, levelMaxV: 2 },
    output: { kind: 'earthed', isValve: false, loadOhm: 8, ratedW: 60, dcMaxV: 0.05 },
  })),
  rails: [{ name: 'plus', nominalV: 40, pairedWith: 'minus' }, { name: 'minus', nominalV: -40, pairedWith: 'plus' }],
  idle: channels.map(name => ({ name: `${name}-idle`, minA: 0.01, maxA: 0.08, overOhm: 0.33 })),
  temperatures: [{ place: 'heatsink', maxC: 85 }, { place: 'transformer', maxC: 95 }],
  railsDownS: 60,
})

/** Every channel once a second. */
export const plainStand = standSchema.parse({
  mainsV: 230, mainsHz: 50,
  probes: ['plus', 'minus', 'left-idle', 'right-idle', 'left-dc', 'right-dc'].map((name, i) =>
    ({ name, channel: i + 1, ratio: 1, tipMaxV: 500 })),
  outputs: channels.map((name, i) =>
    ({ name, load: i + 1, generator: i + 1, digitizer: i + 1, divider, dividerMaxV: 100 })),
  thermometers: ['heatsink', 'transformer', 'air'].map((name, i) => ({ name, channel: i + 1 })),
  cadence: { mainsMs: 1000, probesMs: 1000, temperatureMs: 1000 },
})

export const plainRequest = unitRequest.parse({
  unit: 'plain', specimen: 'plain-1',
  unpowered: {
    by: 'nobody', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500, fuse: 'T2A', mainsPartsProven: true,
    railsNotShorted: true,
  },
})

const ways: readonly MainsWay[] = [{ name: 'full', seriesOhm: 0, seriesW: null, share: 1 }]

export class PlainStand {
  readonly #clock: VirtualClock
  #way: MainsWay | null = null
  #seenMs = 0
  #railV = 0
  #celsius = 22
  #probe: number | null = null
  readonly #tones = new Map<number, readonly DriveTone[]>()
  readonly #driven = new Set<number>()
  readonly #loads = new Map<number, number | null>()

  constructor(clock: VirtualClock) { this.#clock = clock }

  off(): void { this.#live(); this.#way = null; this.#driven.clear() }

  #live(): void {
    const nowMs = this.#clock.monotonicMs()
    const seconds = (nowMs - this.#seenMs) / 1000
    this.#seenMs = nowMs
    const isOn = this.#way !== null
    this.#railV += ((isOn ? 40 : 0) - this.#railV) * -Math.expm1(-seconds / (isOn ? 0.2 : 8))
    const aimC = 22 + (isOn ? 15 : 0) + 12 * this.#driven.size
    this.#celsius += (aimC - this.#celsius) * -Math.expm1(-seconds / tauS)
  }

  #good(value: number, u: number): Measured {
    return { value, u, quality: 'good', atMs: this.#clock.monotonicMs() }
  }

  #outputV(channel: number): number {
    return this.#way && this.#driven.has(channel) ? gain * this.#tones.get(channel)![0]!.levelV : 0
  }

  #tip(): number {
    this.#live()
    const isOn = this.#railV > 20
    return [0, this.#railV, -this.#railV, isOn ? 0.013 : 0, isOn ? 0.014 : 0, 0.003, -0.002][this.#probe ?? 0]!
  }

  roles(): PowerRoles {
    const takes = (ms: number): Promise<void> => sleep(this.#clock, ms)
    const identity = { maker: 'SIMULATED', model: 'PLAIN', serial: '1', firmware: '1', raw: 'plain' }
    const base = (name: string) => ({
      name, identify: async () => identity, prepare: async () => {}, safeOff: { commands: ['OFF'] }, energising: [],
    })
    return {
      mainsSwitch: {
        ...base('contactor'), ways, holdMs: 2000, settleMs: 50, refreshCommand: 'HOLD',
        close: async () => { this.#live(); this.#way = ways[0]! }, open: async () => { this.off() },
        closedWay: async () => { await takes(5); return this.#way?.name ?? null },
      },
      powerMeter: {
        ...base('watts'), readingMs: 100,
        readPower: async () => {
          await takes(100)
          const amps = this.#way ? 0.15 + 0.1 * this.#driven.size : 0
          return {
            voltage: this.#good(230, 0.2), current: this.#good(amps, 1e-3), power: this.#good(200 * amps, 0.3),
            frequencyHz: this.#good(50, 0.01),
          }
        },
      },
      meter: {
        ...base('meter'), inputOhm: 1e7, readingMs: 40, configure: async () => {},
        readVoltage: async () => { await takes(40); return this.#good(this.#tip(), 2e-4) },
      },
      scanner: { ...base('scanner'), settleMs: 10, select: async channel => { await takes(5); this.#probe = channel } },
      thermometer: {
        ...base('thermometer'), stepK: 0.05, noiseK: 0.02,
        readTemperature: async channel => {
          await takes(20)
          this.#live()
          return this.#good(channel === 3 ? 22 : this.#celsius, 0.2)
        },
      },
      interlock: { ...base('door'), read: async () => { await takes(5); return { coverClosed: true, present: true } } },
      generator: {
        ...base('generator'), channels: [1, 2], sourceOhm: 50, levelMaxV: 5, frequencyMinHz: 1, frequencyMaxHz: 1e5,
        tonesMost: 2, sharesClock: true, settleMs: 10,
        setTones: async (channel, tones) => { await takes(5); this.#tones.set(channel, tones) },
        setOutput: async (channel, on) => { this.#live(); if (on) this.#driven.add(channel); else this.#driven.delete(channel) },
        muteAll: async () => { this.#live(); this.#driven.clear() },
      },
      load: {
        ...base('loads'), channels: [1, 2], stepsOhm: [8], continuousW: 100, peakW: 400, peakS: 10, settleMs: 20,
        connect: async (channel, ohm) => { this.#loads.set(channel, ohm) },
        connected: async channel => { await takes(5); return this.#loads.get(channel) ?? null },
      },
      digitizer: {
        ...base('digitizer'), channels: [1, 2], isDifferential: true, inputOhm: 1e6, rangesV: [1, 10],
        sampleRatesHz: [48_000], samplesMost: 2 ** 16,
        capture: async ({ channels: asked, sampleHz, samples }) => {
          await takes(1000 * samples / sampleHz)
          const hz = 2 * Math.PI * 1000 / sampleHz
          return {
            sampleHz, isClipped: asked.map(() => false), gainU: 1e-3, offsetUV: 1e-4,
            atMs: this.#clock.monotonicMs(),
            volts: asked.map(channel => {
              const peak = Math.SQRT2 * this.#outputV(channel) / divider
              return Float64Array.from({ length: samples }, (_, i) => peak * (Math.sin(hz * i) + 1e-3 * Math.sin(2 * hz * i)))
            }),
          }
        },
      },
    }
  }
}
