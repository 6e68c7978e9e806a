/**
 * Reads a unit on mains in loops: the power meter often, probes in sweeps; sensors, cover and contactor too.
 * Each reading meets the supervisor first. An exception anywhere in here is a fault, and stops.
 */
import { sleep } from '../base/clock.ts'
import { hasCode } from '../base/errors.ts'
import type { Demand } from '../safety/supervisor.ts'
import type { Channel, Measured } from '../schema/reading.ts'
import type { ProbeSpec } from '../schema/stand.ts'
import type { Power } from './power.ts'
import { freshTrace, seeRail } from './rails-dead.ts'

export interface PowerSamplerDeps {
  readonly power: () => Power
  readonly onDemand: (demand: Demand) => void
}

interface Look { readonly channel: Channel; readonly probe: ProbeSpec; readonly perOhm: number }

/** Beside its own time to settle, what a contactor and its command may take. */
const movesMs = 1000

export class PowerSampler {
  readonly #d: PowerSamplerDeps

  constructor(deps: PowerSamplerDeps) { this.#d = deps }

  /** Runs until reading ends. Never rejects: what goes wrong becomes a demand. */
  async run(): Promise<void> {
    const { roles, places } = this.#d.power()
    const loops: [string, () => Promise<void>][] = [
      ['mains', () => this.#mains()], ['probes', () => this.#probes()],
      ['contactor', () => this.#contactor()],
    ]
    if (places.temperatures.length > 0 || places.air) loops.push(['temperature', () => this.#temperatures()])
    if (roles.interlock) loops.push(['interlock', () => this.#cover()])
    if (roles.load) loops.push(['load', () => this.#loads()])
    await Promise.all(loops.map(([name, loop]) => this.#guard(name, loop)))
  }

  /** One look at every probe, out of turn; resolves when it is through. */
  async sweep(): Promise<void> {
    for (const look of this.#looks()) {
      if (this.#d.power().reading.aborted) return
      await this.#look(look)
    }
  }

  async #guard(name: string, loop: () => Promise<void>): Promise<void> {
    const { reading, clock, stand } = this.#d.power()
    try {
      await loop()
    } catch (error) {
      if (reading.aborted) return
      if (!hasCode(error, 'ABANDONED')) return this.#fault(`loop.${name}`, error)
      await sleep(clock, stand.cadence.mainsMs, reading).catch(() => {})
      await this.#guard(name, loop)
    }
  }

  async #every(everyMs: number, act: () => Promise<void>): Promise<void> {
    const { clock, reading } = this.#d.power()
    while (!reading.aborted) {
      const startedMs = clock.monotonicMs()
      await act()
      await sleep(clock, Math.max(1, startedMs + everyMs - clock.monotonicMs()), reading)
    }
  }

  async #mains(): Promise<void> {
    const { roles, places: { mains }, stand } = this.#d.power()
    await this.#every(stand.cadence.mainsMs, async () => {
      const { voltage, current, power } = await roles.powerMeter.readPower()
      this.#take(mains.voltage, voltage)
      this.#take(mains.current, current)
      this.#take(mains.power, power)
    })
  }

  async #probes(): Promise<void> {
    await this.#every(this.#d.power().stand.cadence.probesMs, () => this.sweep())
  }

  #looks(): Look[] {
    const { rails, idle, dc } = this.#d.power().places
    return [
      ...rails.map(({ channel, probe }) => ({ channel, probe, perOhm: 1 })),
      ...idle.map(({ channel, probe, spec }) => ({ channel, probe, perOhm: 1 / spec.overOhm })),
      ...dc.map(({ channel, probe }) => ({ channel, probe, perOhm: 1 })),
    ]
  }

  /** The meter is one, and so is the scanner: two sweeps at once would read each other's probes. */
  #sweeping: Promise<unknown> = Promise.resolve()

  async #look({ channel, probe, perOhm }: Look): Promise<void> {
    const turn = this.#sweeping.then(async () => await this.#readProbe(probe))
    this.#sweeping = turn.catch(() => {})
    const volts = await turn
    const scale = probe.ratio * perOhm
    const value = volts.value * scale
    this.#take(channel, { ...volts, value, u: volts.u * scale })
  }

  async #readProbe({ channel }: ProbeSpec): Promise<Measured> {
    const { roles: { scanner, meter }, clock, reading } = this.#d.power()
    await scanner.select(channel)
    await sleep(clock, scanner.settleMs, reading)
    return await meter.readVoltage()
  }

  async #temperatures(): Promise<void> {
    const { places: { temperatures, air }, roles, stand } = this.#d.power()
    await this.#every(stand.cadence.temperatureMs, async () => {
      for (const { thermometer, channel } of [...temperatures, ...air ? [air] : []]) {
        this.#take(channel, await roles.thermometer!.readTemperature(thermometer))
      }
    })
  }

  /** The contact is what it was told to be, or the bench stops: one that welded will not part. */
  async #contactor(): Promise<void> {
    const { roles: { mainsSwitch }, state, stand, clock } = this.#d.power()
    await this.#every(stand.cadence.mainsMs, async () => {
      const { way: asked, switchedAtMs: atMs } = state
      if (clock.monotonicMs() - atMs < mainsSwitch.settleMs + movesMs) return
      const closed = await mainsSwitch.closedWay()
      // What was switched while it was asked is looked at the next time.
      if (state.way !== asked || state.switchedAtMs !== atMs) return
      if (closed === (asked?.name ?? null)) return
      if (asked === null && !state.live) {
        return this.#fault('mains.welded', `the mains contactor reads ${closed} though it is to be open`)
      }
      if (asked !== null && state.live) {
        this.#fault('mains.contact', `the mains contactor reads ${closed ?? 'open'}, not ${asked.name}`)
      }
    })
  }

  async #cover(): Promise<void> {
    const { roles: { interlock }, state, stand } = this.#d.power()
    await this.#every(stand.cadence.mainsMs, async () => {
      if (!state.live) return
      const { coverClosed } = await interlock!.read()
      if (!coverClosed && state.live) this.#fault('cover.open', 'the cover was opened while mains was on')
    })
  }

  /** A load that opens under drive is a fault of the stand; of a valve stage it is one without drive too. */
  async #loads(): Promise<void> {
    const { places, roles: { load }, state, stand } = this.#d.power()
    await this.#every(stand.cadence.probesMs, async () => {
      for (const { spec, output } of places.outputs) {
        const isMeantOpen = state.loads.get(spec.name) === null
        const isNeeded = state.live && !isMeantOpen && (spec.output.isValve || state.driven.has(spec.name))
        if (!isNeeded) continue
        if (await load!.connected(output.load) !== null || !state.live) continue
        this.#fault('load.open', `the load of ${spec.name} stands open${
          spec.output.isValve ? ', under a valve stage' : ' under drive'}`)
      }
    })
  }

  #take(channel: Channel, { value, u, quality, atMs }: Measured): void {
    const { supervisor, recorder, waiters, state, places, touchSafeV } = this.#d.power()
    const reading = { channel, value, u, quality, atMs }
    const demand = supervisor.judge(reading)
    if (demand) this.#d.onDemand(demand)
    state.last.set(channel.name, reading)
    const rail = places.rails.find(one => one.channel === channel)
    if (rail && quality === 'good') {
      const before = state.rails.get(rail.spec.name) ?? freshTrace
      state.rails.set(rail.spec.name, seeRail(before, Math.abs(value), state.way === null, touchSafeV))
    }
    recorder.reading(reading)
    waiters.deliver(reading)
  }

  #fault(id: string, error: unknown): void {
    const { supervisor, clock } = this.#d.power()
    const text = error instanceof Error ? error.message : String(error)
    this.#d.onDemand(supervisor.fault(id, text, clock.monotonicMs()))
  }
}
