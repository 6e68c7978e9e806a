/** One whole night of the campaign: what was drawn is run, watched, and judged. */
import { cpuUsage } from 'node:process'
import type { RunRecord, StartRequest } from '../src/schema/run.ts'
import { sleep } from '../src/base/clock.ts'
import type { Outcome } from './bad-night.ts'
import { CampaignBench } from './campaign-bench.ts'
import type { Seams } from './campaign-bench.ts'
import { drawNight } from './draw.ts'
import type { PlannedNight, PlannedRun, Stroke } from './draw.ts'
import { excuseOf, onlySilenceSwitchesOff, silentOffMs } from './excuses.ts'
import { breaches } from './invariants.ts'
import { NightWatch } from './night-watch.ts'
import type { Struck } from './night-watch.ts'
import { stubborn } from './stubborn.ts'

export interface NightReport {
  seed: number
  title: string
  benchHours: number
  readings: number
  /** Runs by how they ended. */
  states: string[]
  /** Kinds of trouble that struck, or were there from the start. */
  faults: string[]
  violations: string[]
  /** Trips and sound parts dropped or condemned though nothing was wrong. */
  nuisance: string[]
  cpuS: number
}

/** Long enough for the layers that need no daemon, and for a person to start another. */
const untilRestartMs = 20_000
const acknowledgeEveryMs = 20_000
const acknowledgeTries = 30
/** So many make a night that a small computer runs in seconds: the cadence is drawn for it. */
export const readingsMost = 10_000
const touchV = 60
const sound = ['healthy', 'stale']

export async function campaignNight(seed: number, seams: Seams = {}): Promise<NightReport> {
  const planned = drawNight(seed)
  const cpuStart = cpuUsage()
  const bench = new CampaignBench(planned.scenario, seed, seams, [stubborn])
  const night = new Night(bench, planned)
  try {
    await bench.clock.run(night.run())
  } catch (error) {
    night.violations.push(`the night broke: ${(error as Error).stack?.split('\n').slice(0, 3).join(' ') ?? String(error)}`)
  }
  if (night.readings > readingsMost) night.violations.push(`the night took ${night.readings} readings, ${readingsMost} at most`)
  await bench.store.close()
  const { user, system } = cpuUsage(cpuStart)
  return { seed, title: planned.title, ...night.report(), cpuS: (user + system) / 1e6 }
}

class Night {
  readonly violations: string[] = []
  readings = 0
  readonly #bench: CampaignBench
  readonly #planned: PlannedNight
  readonly #states: string[] = []
  readonly #nuisance: string[] = []
  #struck: Struck[] = []
  /** No daemon starts any more: an instrument that it needs does not answer. */
  #isDown = false

  constructor(bench: CampaignBench, planned: PlannedNight) {
    this.#bench = bench
    this.#planned = planned
  }

  report(): Omit<NightReport, 'seed' | 'title' | 'cpuS'> {
    const parts = this.#planned.strokes.filter(({ trouble }) => trouble.at === 'part')
    return {
      benchHours: this.#bench.clock.monotonicMs() / 3.6e6, readings: this.readings, states: this.#states,
      faults: [...this.#struck.map(({ stroke }) => stroke), ...parts].map(({ trouble }) => trouble.kind),
      violations: this.violations, nuisance: this.#nuisance,
    }
  }

  async run(): Promise<void> {
    this.#atStart()
    await this.#runs()
    await this.#silence()
  }

  async #runs(): Promise<void> {
    if (!await this.#boot()) return
    const { runs, strokes } = this.#planned
    for (const [i, asked] of runs.entries()) {
      const state = await this.#oneRun(asked, i === runs.length - 1 ? strokes : [])
      if (state === 'interrupted' || this.#isDown) return await this.#afterwards()
      if (state !== 'done') return
    }
  }

  /** A supply that hears and does not obey is off in the end, whatever became of the cutoff: its own watchdog sees to that. */
  async #silence(): Promise<void> {
    const { core } = this.#bench.sim.instruments.psu
    const isOn = (): boolean => core.driven && this.#hasStruck('supply deaf') && !this.#hasStruck('supply stays on')
    if (!isOn()) return
    const ms = silentOffMs([], this.#bench.silenceMs)
    await sleep(this.#bench.clock, ms)
    if (isOn()) this.violations.push(`a supply that does not obey was still on ${(ms / 1000).toFixed(0)} s after everything had ended`)
  }

  #hasStruck(kind: string): boolean { return this.#struck.some(({ stroke }) => stroke.trouble.kind === kind) }

  #atStart(): void {
    for (const stroke of this.#planned.strokes) {
      if (stroke.trouble.at !== 'start') continue
      stroke.strike!(this.#bench)
      this.#struck.push({ stroke, atMs: 0, stage: 'none' })
    }
  }

  /** A daemon that does not start on a bench with something wrong is right; the bench stays off. */
  async #boot(): Promise<boolean> {
    try {
      await this.#bench.boot()
      return true
    } catch (error) {
      this.#states.push('no start')
      if (this.#struck.length === 0) this.violations.push(`the daemon did not start: ${(error as Error).message}`)
      if (this.#bench.feeding) this.violations.push('energy is on and no daemon starts')
      return false
    }
  }

  async #oneRun(asked: PlannedRun, strokes: readonly Stroke[]): Promise<string> {
    const bench = this.#bench
    const request: StartRequest = { ...bench.request, ...asked }
    const plan = await bench.daemon.plan(request)
    const watch = new NightWatch(bench, plan, this.#planned.cadence, strokes, this.#struck)
    watch.start()
    let run: RunRecord
    try {
      const started = await bench.daemon.start(request)
      const ended = await Promise.race([bench.daemon.ended(started.id), watch.overdue, watch.dead])
      run = ended === 'dead' ? await this.#restarted(started.id, watch) : ended
    } catch (error) {
      if (strokes.some(({ trouble }) => trouble.at === 'start')) { this.#states.push('refused'); return 'refused' }
      throw error
    } finally {
      watch.stop()
      this.#struck = [...watch.all]
      this.readings += watch.readings
    }
    this.#states.push(`${asked.sequence} ${run.state}`)
    await this.#judge(run, watch, plan)
    return run.state
  }

  /** Bench and keeper are left to themselves, then a person starts the daemon again. */
  async #restarted(id: string, watch: NightWatch): Promise<RunRecord> {
    const bench = this.#bench
    watch.forgetProvisional()
    watch.lastTouch = new Map()
    await sleep(bench.clock, untilRestartMs)
    const others = watch.all.length > 1
    try {
      const interrupted = await bench.boot()
      if (!interrupted.includes(id)) this.violations.push(`run ${id} was not marked interrupted at the next start`)
    } catch (error) {
      this.#isDown = true
      if (!others) this.violations.push(`no new daemon starts: ${(error as Error).message}`)
      if (bench.feeding && !onlySilenceSwitchesOff(watch.all)) this.violations.push('energy is on and no daemon starts')
    }
    return (await bench.store.run(id))!
  }

  async #judge(run: RunRecord, watch: NightWatch, plan: Outcome['plan']): Promise<void> {
    const bench = this.#bench
    const events = await bench.store.events(run.id)
    const excuse = { ...excuseOf(watch.all, { cadence: this.#planned.cadence, silenceMs: bench.silenceMs }), ...this.#isDown ? { noDaemon: true } : {} }
    const wrong = this.#planned.strokes.find(({ trouble }) => trouble.at === 'start')
    if (wrong && watch.fed.events.some(({ kind }) => kind === 'energise')) this.violations.push(`energised with ${wrong.trouble.kind}`)
    const outcome: Outcome<CampaignBench> = {
      bench, run, plan, events, actedMs: watch.struck.map(({ atMs }) => atMs), fed: watch.fed, falseWords: watch.falseWords,
      tooHighMs: watch.tooHighMs, lastTouch: watch.lastTouch, endV: watch.endV(), endedAtMs: bench.clock.monotonicMs(),
    }
    this.violations.push(...watch.violations, ...await breaches(outcome, excuse))
    await this.#expectOwnReadings(run, watch)
    if (watch.all.length === 0) await this.#expectToWork(run, events)
  }

  /** From where the scanner stuck on one position, no other can be accepted: its readings were not its own. */
  async #expectOwnReadings(run: RunRecord, watch: NightWatch): Promise<void> {
    const stuck = watch.struck.find(({ stroke, stage }) =>
      stroke.trouble.kind === 'scanner stuck on P01' && ['polarity', 'forming', 'soaking'].includes(stage))
    if (stuck === undefined) return
    for (const { position, grade } of await this.#bench.store.results(run.id)) {
      if (position !== 'P01' && grade === 'accept') this.violations.push(`${position} was accepted by the readings of P01`)
    }
  }

  /** Nothing was wrong with the bench: the run gets done, and no sound part is dropped or condemned. */
  async #expectToWork(run: RunRecord, events: Outcome['events']): Promise<void> {
    const kinds = new Map(this.#planned.scenario.parts.map(({ position, kind }) => [position, kind as string]))
    const told: string[] = run.state === 'done' || run.sequence === 'stubborn' ? [] : [`${run.sequence} ended ${run.state}`]
    for (const { kind, position, text } of events) {
      if (kind === 'trip') told.push(text)
      if (['drop', 'condemned', 'unjudged'].includes(kind) && sound.includes(kinds.get(position ?? '') ?? '')) told.push(text)
    }
    for (const { position, grade, reason } of await this.#bench.store.results(run.id)) {
      if (grade === 'reject' && sound.includes(kinds.get(position) ?? '')) told.push(`${position}: ${reason}`)
    }
    // A bad part on a bench without fault is no reason to stop the others: that is a breach, not a nuisance.
    const onlyParts = this.#planned.strokes.length > 0 && this.#planned.strokes.every(({ trouble }) => trouble.at === 'part')
    if (this.#planned.strokes.length === 0) this.#nuisance.push(...told)
    else if (onlyParts && told.length > 0) this.violations.push(...told.slice(0, 2).map(text => `a bad part hurt the rest: ${text}`))
  }

  /** A person waits while the daemon measures what was left, then proves by hand what it could not, and says so. */
  async #acknowledged(daemon: CampaignBench['daemon']): Promise<boolean> {
    for (let i = 0; i < acknowledgeTries && daemon.status().latched !== null; i++) {
      const refused = this.#isDeadByHand()
        && await daemon.acknowledge('proved dead by hand', 'night watch').then(() => null, (error: Error) => error)
      if (refused === null) return true
      await sleep(this.#bench.clock, acknowledgeEveryMs)
    }
    return daemon.status().latched === null
  }

  /** What a person's own meter shows at the parts: one that is found charged is never called dead, and stays latched. */
  #isDeadByHand(): boolean {
    const wiring = this.#bench.sim.now()
    return this.#bench.sim.positions.every((_, i) => Math.abs(wiring.partV(i)) < touchV)
  }

  /** After a restart a person bleeds and measures what is on the rack. */
  async #afterwards(): Promise<void> {
    if (this.#bench.daemon.status().run !== null) this.violations.push('a new daemon shows a run')
    const { daemon, keeper } = this.#bench
    if (this.#isDown || keeper.mode !== 'idle' && daemon.status().latched === null) return
    if (!await this.#acknowledged(daemon)) return
    await this.#oneRun({ sequence: 'discharge', parameters: { watchS: 60 } }, [])
  }
}
