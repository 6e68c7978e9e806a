/**
 * A stand and an amplifier for tests of what powers one: rails that charge and bleed, idle current, DC at its
 * outputs, heat; and what may be wrong with each. Roles straight on the physics, in virtual time.
 */
import { VirtualClock, sleep } from '../../src/base/clock.ts'
import { startPulse } from '../../src/app/pulse.ts'
import type { Guard } from '../../src/engine/night.ts'
import { placesOf } from '../../src/powering/places.ts'
import { makePower, type PowerInput } from '../../src/powering/make.ts'
import type { PowerRoles } from '../../src/powering/power.ts'
import { stand as standSchema, unitRequest, type StandSpec, type UnitOnStand } from '../../src/schema/stand.ts'
import { unitProfile, type UnitProfile } from '../../src/schema/unit-profile.ts'
import type { DriveTone, MainsWay } from '../../src/schema/unit-roles.ts'
import type { Measured } from '../../src/schema/reading.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import type { RunEvent } from '../../src/schema/run.ts'

export const ways: readonly MainsWay[] = [
  { name: 'straight', seriesOhm: 0, seriesW: null, share: 1 },
  { name: 'lamp', seriesOhm: 220, seriesW: 300, share: 1 },
  { name: 'half', seriesOhm: 0, seriesW: null, share: 0.5 },
]

export const profile = (over: Partial<Record<string, unknown>> = {}): UnitProfile => unitProfile.parse({
  version: 1, unit: 'test-amplifier', description: 'two rails and one output',
  supply: {
    kind: 'mains', voltageV: 230, frequencyHz: 50, protection: 'earthed', fuse: 'T1.6A', currentMaxA: 1.6,
    powerIdleMaxW: 40, powerMaxW: 250, inrushMs: 400, mayRunLow: true,
  },
  channels: [{
    name: 'left', input: { impedanceOhm: 47_000, levelMaxV: 2 },
    output: { kind: 'earthed', isValve: false, loadOhm: 8, ratedW: 60, dcMaxV: 0.05 },
  }],
  rails: [
    { name: 'plus', nominalV: 70, pairedWith: 'minus' }, { name: 'minus', nominalV: -70, pairedWith: 'plus' },
  ],
  idle: [{ name: 'left-idle', minA: 0.02, maxA: 0.08, overOhm: 0.33 }],
  temperatures: [{ place: 'heatsink', maxC: 80 }],
  stages: [{ name: 'whole', outputs: true, rails: ['plus', 'minus'] }],
  railsDownS: 60, ...over,
})

export const stand = standSchema.parse({
  mainsV: 230, mainsHz: 50,
  probes: ['plus', 'minus'].map((name, i) => ({ name, channel: i + 1, ratio: 10, tipMaxV: 500 }))
    .concat(['left-idle', 'left-dc'].map((name, i) => ({ name, channel: i + 3, ratio: 1, tipMaxV: 500 }))),
  outputs: [{ name: 'left', load: 1, generator: 1, digitizer: 1, divider: 20, dividerMaxV: 60 }],
  thermometers: [{ name: 'heatsink', channel: 1 }],
})

export const request = (): UnitOnStand => unitRequest.parse({
  unit: 'test-amplifier', specimen: 'unit-1',
  unpowered: {
    by: 'a qualified person', earthBondOhm: 0.04, insulationOhm: 20e6, insulationV: 500, fuse: 'T1.6A',
    mainsPartsProven: true, railsNotShorted: true,
  },
})

/** What may be wrong; changed at any moment. */
export interface Wrongs {
  deadRail?: 'plus' | 'minus'
  isShort?: boolean
  /** The positive rail stands at this share of what it should. */
  plusShare?: number
  /** Flows past the open contactor. */
  leakA?: number
  dcV?: number
  idleA?: number
  welded?: boolean
  staysOpen?: boolean
  loadOpen?: boolean
  heatC?: number
  mainsV?: number
  /** This probe lies on nothing. */
  probeOff?: 'plus' | 'minus'
  openBleeder?: boolean
  meterSilent?: boolean
  coverOpen?: boolean
  offUnread?: boolean
}

const railsUpMs = 150
const railsDownMs = 12_000
const inrushMs = 250

export class FakeStand {
  readonly clock = new VirtualClock()
  readonly wrong: Wrongs = {}
  readonly driven = new Map<number, readonly DriveTone[]>()
  /** Every time that energy was switched: what and when. */
  readonly acts: { what: string; atMs: number }[] = []
  way: MainsWay | null = null
  #closedMs = 0
  #railsV = { plus: 0, minus: 0 }
  #seenMs = 0
  #channel: number | null = null
  #loadOhm: number | null = null

  get isOn(): boolean { return this.#path() !== null }

  #path(): MainsWay | null {
    if (this.wrong.staysOpen) return null
    return this.way ?? (this.wrong.welded ? ways[0]! : null)
  }

  /** Rails as they are now. */
  rails(): { plus: number; minus: number } {
    const nowMs = this.clock.monotonicMs()
    const dtMs = nowMs - this.#seenMs
    this.#seenMs = nowMs
    const way = this.#path()
    const drop = way === null ? 0 : way.seriesOhm / (way.seriesOhm + 2000)
    const toV = way === null || this.wrong.isShort ? 0 : 70 * way.share * (1 - drop) * (this.wrong.mainsV ?? 230) / 230
    for (const name of ['plus', 'minus'] as const) {
      const aimV = this.wrong.deadRail === name ? 0 : toV * (name === 'plus' ? this.wrong.plusShare ?? 1 : 1)
      const isUp = aimV > this.#railsV[name]
      const tauMs = isUp ? railsUpMs : this.wrong.openBleeder ? 1e9 : railsDownMs
      this.#railsV[name] = aimV + (this.#railsV[name] - aimV) * Math.exp(-dtMs / tauMs)
    }
    return this.#railsV
  }

  amps(): number {
    const way = this.#path()
    if (way === null) return this.wrong.leakA ?? 0
    const volts = (this.wrong.mainsV ?? 230) * way.share
    if (this.wrong.isShort) return Math.min(40, volts / (way.seriesOhm + 3))
    const isInrush = this.clock.monotonicMs() - this.#closedMs < inrushMs
    return isInrush ? Math.min(25, volts / (way.seriesOhm + 8)) : 0.12 * way.share + (this.driven.size > 0 ? 0.6 : 0)
  }

  act(what: string): void { this.acts.push({ what, atMs: this.clock.monotonicMs() }) }

  off(): void {
    this.rails()
    this.driven.clear()
    this.act('off')
    this.way = null
  }

  #read(value: number, u: number): Measured {
    return { value, u, quality: 'good', atMs: this.clock.monotonicMs() }
  }

  async #takes(ms: number): Promise<void> { await sleep(this.clock, ms) }

  #probe(channel: number | null): number {
    const { plus, minus } = this.rails()
    const { probeOff, dcV = 0.004, idleA = 0.045 } = this.wrong
    const share = Math.min(1, plus / 70)
    switch (channel) {
      case 1: return probeOff === 'plus' ? 0 : plus / 10
      case 2: return probeOff === 'minus' ? 0 : -minus / 10
      case 3: return share > 0.8 ? 0.33 * idleA : 0
      case 4: return share > 0.5 ? dcV : 0
      default: return 0
    }
  }

  #base(name: string) {
    const identity = { maker: 'SIMULATED', model: name, serial: '1', firmware: '1', raw: name }
    return { name, identify: async () => identity, prepare: async () => {}, safeOff: { commands: ['OFF'] }, energising: [] }
  }

  roles(): PowerRoles {
    const { clock } = this
    const channels = [1]
    return {
      mainsSwitch: {
        ...this.#base('contactor'), ways, holdMs: 2000, settleMs: 50, refreshCommand: 'HOLD',
        close: async name => {
          this.rails()
          await this.#takes(20)
          this.way = ways.find(one => one.name === name)!
          this.#closedMs = clock.monotonicMs()
          this.act(`close ${name}`)
        },
        open: async () => { await this.#takes(20); this.rails(); this.act('open'); this.way = null },
        closedWay: async () => { await this.#takes(5); return this.#path()?.name ?? null },
      },
      powerMeter: {
        ...this.#base('power meter'), readingMs: 100,
        readPower: async () => {
          if (this.wrong.meterSilent) await new Promise(() => {})
          await this.#takes(100)
          const [volts, amps] = [this.wrong.mainsV ?? 230, this.amps()]
          return {
            voltage: this.#read(volts, 0.2), current: this.#read(amps, 0.002),
            power: this.#read(0.8 * volts * amps, 0.5), frequencyHz: this.#read(50, 0.01),
          }
        },
      },
      meter: {
        ...this.#base('meter'), inputOhm: 1e7, readingMs: 40, configure: async () => {},
        readVoltage: async () => { await this.#takes(40); return this.#read(this.#probe(this.#channel), 0.0005) },
      },
      scanner: {
        ...this.#base('scanner'), settleMs: 10, select: async channel => { await this.#takes(5); this.#channel = channel },
      },
      thermometer: {
        ...this.#base('thermometer'), stepK: 0.1, noiseK: 0,
        readTemperature: async () => { await this.#takes(20); return this.#read(this.wrong.heatC ?? 40, 0.5) },
      },
      interlock: {
        ...this.#base('interlock'),
        read: async () => { await this.#takes(5); return { coverClosed: !this.wrong.coverOpen, present: true } },
      },
      generator: {
        ...this.#base('generator'), channels, sourceOhm: 50, levelMaxV: 5, frequencyMinHz: 1, frequencyMaxHz: 1e5,
        tonesMost: 2, sharesClock: true, settleMs: 10,
        setTones: async (channel, tones) => { this.driven.set(-channel, tones) },
        setOutput: async (channel, on) => {
          await this.#takes(5)
          if (on) { this.driven.set(channel, this.driven.get(-channel)!); this.act('drive') }
          else this.driven.delete(channel)
        },
        muteAll: async () => { await this.#takes(5); if (this.driven.size > 0) this.act('mute'); this.driven.clear() },
      },
      load: {
        ...this.#base('load'), channels, stepsOhm: [4, 8, 16], continuousW: 100, peakW: 400, peakS: 10, settleMs: 20,
        connect: async (_, ohm) => { this.#loadOhm = ohm },
        connected: async () => { await this.#takes(5); return this.wrong.loadOpen ? null : this.#loadOhm },
      },
    }
  }

  guard(): Guard & { reasons: string[] } {
    const reasons: string[] = []
    return {
      reasons, arm: async () => {}, disarm: async () => {},
      safeOff: async reason => {
        reasons.push(reason)
        this.off()
        await this.#takes(30)
        const verifiedMs = this.wrong.offUnread ? null : 30
        return { reason, atWallMs: 0, sentMs: 0, verifiedMs, links: [{ link: 'contactor', sent: true, freshLink: false, verified: verifiedMs !== null, note: '' }] }
      },
    }
  }
}

export interface Sitting<Sim extends FakeStand = FakeStand> {
  readonly sim: Sim
  readonly handles: ReturnType<typeof makePower>
  readonly guard: ReturnType<FakeStand['guard']>
  /** Ends what looks at freshness. */
  stopPulse(): void
  events(): Promise<RunEvent[]>
}

/** Goes on at every hold point after `pauseMs`, until told otherwise. */
export async function sitting(options: SittingOptions = {}): Promise<Sitting> {
  return await sittingOn(new FakeStand(), stand, options)
}

export interface SittingOptions { profile?: UnitProfile; pauseMs?: number; wrong?: Wrongs }

export async function sittingOn<Sim extends FakeStand>(sim: Sim, spec: StandSpec, options: SittingOptions = {}): Promise<Sitting<Sim>> {
  Object.assign(sim.wrong, options.wrong ?? {})
  const unit = options.profile ?? profile()
  const store = openInlineStore(':memory:')
  const guard = sim.guard()
  const { places } = placesOf(unit, spec, request().wiring)
  const input: PowerInput = {
    runId: 'run-1', clock: sim.clock, livenessClock: sim.clock, request: request(), profile: unit, stand: spec,
    touchSafeV: 60, roles: sim.roles(), places, guard, store, expectedS: 100, publish: () => {},
    checkIdentities: async () => {},
    waits: () => {
      const point = handles.holds.point
      if (point) sim.clock.after(options.pauseMs ?? 5000, () => { if (handles.holds.point === point) handles.holds.answer(point.id, 'a person') })
    },
  }
  const handles: ReturnType<typeof makePower> = makePower(input)
  await store.createRun({
    id: 'run-1', sequence: 'first-power', bench: 'b', state: 'running', startedWallMs: 0, endedWallMs: null,
    person: 'a person', use: 'attended', software: 'test', setup: {},
  }, places.all)
  const stopPulse = startPulse({ night: handles.power, keeper: { beat: () => {} }, livenessClock: sim.clock })
  return { sim, handles, guard, stopPulse, events: async () => await store.events('run-1') }
}
