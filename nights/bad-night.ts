/**
 * One night on a simulated bench with something wrong, watched from outside: what the wiring truly did (volts, contacts,
 * times) beside what the program said at the same moment. Nothing here is told by the software under test but its words.
 */
import type { BenchFaults } from '../mocks/bench/sim-bench.ts'
import type { Scenario } from '../mocks/bench/scenario.ts'
import type { Plan } from '../src/schema/application.ts'
import type { RunEvent, RunRecord, StartRequest } from '../src/schema/run.ts'
import { virtualBench } from './virtual-bench.ts'
import type { VirtualBench } from './virtual-bench.ts'

/** A night of half an hour at a third of rated voltage. */
export const quick = {
  soakS: 60, minStepS: 60, maxStepS: 600, stallAfterS: 600, watchS: 60, targetV: 150, slewVPerS: 5, stepShare: 0.25,
}
/** Stages of a forming night in order. */
export type NightStage = 'checking' | 'polarity' | 'forming' | 'soaking' | 'formal' | 'bleeding' | 'watching' | 'measuring'

/** What a night is judged by. */
export type NightBench = Pick<VirtualBench, 'clock' | 'sim' | 'daemon' | 'store' | 'keeper'>
export type Deed = (bench: NightBench) => void
/** Does something to the bench: at a time of the bench, or so long after a stage began. */
export type Act = { atMs: number; act: Deed } | { stage: NightStage; afterMs?: number; act: Deed }

export interface BadNight {
  seed: number
  scenario: Scenario
  faults?: BenchFaults
  acts?: readonly Act[]
  request?: Partial<StartRequest>
  /** Before the run is asked for. */
  before?: Deed
}

/** A claim that a part may be touched, while it truly stood at more. */
export interface FalseWord { atMs: number; position: string; text: string; volts: number }

export interface Outcome<B extends NightBench = VirtualBench> {
  bench: B
  run: RunRecord
  plan: Plan
  events: readonly RunEvent[]
  /** Bench time at which each act was done. */
  actedMs: readonly number[]
  /** Events and readings by channel index, as they came over the live feed. */
  fed: { events: RunEvent[]; readings: Map<number, number> }
  falseWords: FalseWord[]
  /** How long some node stood above 1.05 × target + 2 V without a break, at most, ms. */
  tooHighMs: number
  /** Words of the status at the very end of the run, by position. */
  lastTouch: Map<string, string>
  /** True volts of each part and of the bus when the run ended. */
  endV: { bus: number; parts: Map<string, number> }
  endedAtMs: number
}

const probeMs = 200
/** Volts at every probe; the status at every fourth. */
const probesPerLook = 4
const touchV = 60
/** A night that costs more computing than this goes round in circles. */
const cpuMsMost = 25_000

/** Runs it. Rejects, saying where it stood, when it has not ended an hour after the longest time of its plan. */
export async function badNight(night: BadNight): Promise<Outcome> {
  const bench = await virtualBench(night.scenario, night.seed, night.faults ? { faults: night.faults } : {})
  const request = { ...bench.request, parameters: quick, ...night.request }
  night.before?.(bench)
  const plan = await bench.daemon.plan(request)
  const watch = new Watch(bench, plan, night.acts ?? [])
  const run = await bench.clock.run((async () => {
    watch.start()
    try {
      const started = await bench.daemon.start(request)
      return await Promise.race([bench.daemon.ended(started.id), watch.overdue])
    } finally { watch.stop() }
  })())
  const events = await bench.store.events(run.id)
  return { bench, run, plan, events, ...watch.seen() }
}

class Watch {
  readonly overdue: Promise<never>
  readonly #bench: VirtualBench
  readonly #acts: readonly Act[]
  readonly #mostV: number
  readonly #fed = { events: [] as RunEvent[], readings: new Map<number, number>() }
  readonly #actedMs: number[] = []
  readonly #falseWords: FalseWord[] = []
  readonly #endMs: number
  readonly #cpuStartMs = cpuMs()
  #lastTouch = new Map<string, string>()
  #highSinceMs: number | null = null
  #probes = 0
  #stage = 'none'
  #tooHighMs = 0
  #cancels: (() => void)[] = []
  #cancelProbe = (): void => {}
  #giveUp: (error: Error) => void = () => {}

  constructor(bench: VirtualBench, plan: Plan, acts: readonly Act[]) {
    this.#bench = bench
    this.#acts = acts
    this.#mostV = 1.05 * plan.targetV + 2
    this.#endMs = bench.clock.monotonicMs() + 1000 * (plan.longestS + 3600)
    this.overdue = new Promise((_, reject) => { this.#giveUp = reject })
    this.overdue.catch(() => {})
  }

  start(): void {
    const { clock, daemon, sim } = this.#bench
    this.#cancels.push(daemon.subscribe(item => {
      if (item.type === 'reading') {
        const { index } = item.reading.channel
        this.#fed.readings.set(index, (this.#fed.readings.get(index) ?? 0) + 1)
      } else if (item.type === 'event') this.#hear(item.event)
    }))
    for (const act of this.#acts) {
      if ('atMs' in act) this.#cancels.push(clock.after(Math.max(0, act.atMs - sim.nowMs), () => this.#do(act)))
    }
    this.#probe()
  }

  stop(): void {
    this.#cancelProbe()
    for (const cancel of this.#cancels) cancel()
  }

  seen(): Omit<Outcome, 'bench' | 'run' | 'plan' | 'events'> {
    const { sim, clock } = this.#bench
    const wiring = sim.now()
    return {
      actedMs: this.#actedMs, fed: this.#fed, falseWords: this.#falseWords, tooHighMs: this.#tooHighMs,
      lastTouch: this.#lastTouch, endedAtMs: clock.monotonicMs(),
      endV: { bus: wiring.busV(), parts: new Map(sim.positions.map(({ name }, i) => [name, wiring.partV(i)])) },
    }
  }

  #do(act: Act): void {
    this.#actedMs.push(this.#bench.clock.monotonicMs())
    act.act(this.#bench)
  }

  #hear(event: RunEvent): void {
    this.#fed.events.push(event)
    if (event.kind === 'stage') {
      for (const act of this.#acts) {
        if (!('stage' in act) || act.stage !== event.text) continue
        this.#cancels.push(this.#bench.clock.after(act.afterMs ?? 0, () => this.#do(act)))
      }
    }
    if (event.kind !== 'touch' || event.position === undefined) return
    this.#lastTouch.set(event.position, event.text.slice(event.position.length + 1))
    this.#weigh(event.position, event.text)
  }

  #probe(): void {
    const { clock, sim } = this.#bench
    const nowMs = clock.monotonicMs()
    const wiring = sim.now()
    const highestV = Math.max(wiring.busV(), ...sim.positions.map((_, i) => wiring.partV(i)))
    if (highestV <= this.#mostV) this.#highSinceMs = null
    else {
      this.#highSinceMs ??= nowMs
      this.#tooHighMs = Math.max(this.#tooHighMs, nowMs - this.#highSinceMs + probeMs)
    }
    const looks = this.#probes++ % probesPerLook === 0
    if (looks) this.#look()
    if (looks) this.#refuseToHang(nowMs)
    this.#cancelProbe = clock.after(probeMs, () => this.#probe())
  }

  /** What the status says of each part now. */
  #look(): void {
    const { run } = this.#bench.daemon.status()
    this.#stage = run?.stage ?? 'none'
    for (const { position, touch } of run?.positions ?? []) {
      this.#lastTouch.set(position, touch)
      this.#weigh(position, touch)
    }
  }

  #weigh(position: string, text: string): void {
    if (!claimsTouchable(text)) return
    const { sim, clock } = this.#bench
    const volts = Math.abs(sim.now().partV(sim.positions.findIndex(({ name }) => name === position)))
    if (volts < touchV) return
    this.#falseWords.push({ atMs: clock.monotonicMs(), position, text, volts })
  }

  #refuseToHang(nowMs: number): void {
    const spentMs = cpuMs() - this.#cpuStartMs
    if (nowMs < this.#endMs && spentMs < cpuMsMost) return
    const last = this.#fed.events.slice(-4).map(({ kind, text, atMs }) => `${(atMs / 1000).toFixed(1)} s ${kind}: ${text}`)
    this.#giveUp(new Error(`the night hangs: ${(nowMs / 1000).toFixed(0)} s of bench time (${(this.#endMs / 1000).toFixed(0)} s at most), `
      + `${(spentMs / 1000).toFixed(0)} s of computing, stage ${this.#stage}; last events:\n${last.join('\n')}`))
  }
}

/** Words that let a person think of touching. */
export const claimsTouchable = (text: string): boolean => /(measured|read) below/.test(text)

function cpuMs(): number {
  const { user, system } = process.cpuUsage()
  return (user + system) / 1000
}

/** From the first act to the last opening of the cutoff's contact, ms; NaN when it did not open after it. */
export function openedAfterMs({ bench, actedMs }: Outcome, fromMs = actedMs[0] ?? NaN): number {
  const opened = bench.sim.instruments.cutoff.device.effects.list('contact').find(({ atMs, value }) => value === 0 && atMs >= fromMs)
  return opened === undefined ? NaN : opened.atMs - fromMs
}

export const textsOf = ({ events }: Outcome, kind: string): string[] =>
  events.filter(event => event.kind === kind).map(({ text }) => text)
