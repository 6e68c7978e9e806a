/**
 * One run of a campaign night, watched from outside: what the wiring and the instruments truly did beside what the program
 * said at that moment. Nothing here is told by the software under test but its words, events and marks of time.
 */
import type { Cadence } from '../src/schema/bench.ts'
import type { Plan } from '../src/schema/application.ts'
import type { PartProfile } from '../src/schema/part-profile.ts'
import type { RunEvent } from '../src/schema/run.ts'
import { claimsTouchable } from './bad-night.ts'
import type { FalseWord, NightStage, Outcome } from './bad-night.ts'
import type { CampaignBench } from './campaign-bench.ts'
import type { Stroke } from './draw.ts'
import { nothingCanSwitchOff, offWithinMs, onlySilenceSwitchesOff, silentOffMs, slowestLayerMs } from './excuses.ts'
import { exchangeMs, pulseMs, sweepStaleMs } from './troubles.ts'

const nearMs = 200
const farMs = 2500
/** So long after a stroke each tenth of a second counts. */
const alertMs = 90_000
const touchV = 60
const lookEveryMs = 3000
const cpuMsMost = 60_000
const looksPerCpu = 100
/** A timer that runs so late ran when the host woke; what a host that slept has to do then takes no longer. */
const lateMs = 1000
const wakesMs = pulseMs + exchangeMs
/** The recorder may hold what is younger than this. */
const provisionalMs = 1100

export interface Struck { stroke: Stroke; atMs: number; stage: NightStage | 'none' }
interface Spell { sinceMs: number | null }

export class NightWatch {
  readonly overdue: Promise<never>
  /** Resolves when the daemon was killed or stands still. */
  readonly dead: Promise<'dead'>
  readonly struck: Struck[] = []
  readonly violations: string[] = []
  readonly fed = { events: [] as RunEvent[], readings: new Map<number, number>() }
  readonly falseWords: FalseWord[] = []
  lastTouch = new Map<string, string>()
  tooHighMs = 0
  readings = 0
  stage: NightStage | 'none' = 'none'
  readonly #bench: CampaignBench
  readonly #strokes: readonly Stroke[]
  readonly #before: readonly Struck[]
  readonly #cadence: Cadence
  readonly #mostV: number
  readonly #plan: Plan
  readonly #profile: PartProfile
  readonly #endMs: number
  readonly #cpuStartMs = cpuMs()
  #looks = 0
  readonly #startedMs: number
  #recent: { atMs: number; index: number }[] = []
  #cancels: (() => void)[] = []
  #cancelProbe = (): void => {}
  #high: Spell = { sinceMs: null }
  #asked: Spell = { sinceMs: null }
  #hot: Spell[]
  #greedy: Spell[]
  #alertUntilMs = 0
  #lookedMs = -Infinity
  #marks: { atMs: number; may: boolean }[] = []
  #giveUp: (error: Error) => void = () => {}
  #died: () => void = () => {}

  /** `before`: what has struck in earlier runs of this night. */
  constructor(bench: CampaignBench, plan: Plan, cadence: Cadence, strokes: readonly Stroke[], before: readonly Struck[]) {
    this.#bench = bench
    this.#plan = plan
    this.#cadence = cadence
    this.#strokes = strokes
    this.#before = before
    this.#mostV = plan.targetV > 0 ? 1.05 * plan.targetV + 2 : Infinity
    this.#startedMs = bench.clock.monotonicMs()
    this.#endMs = bench.clock.monotonicMs() + 1000 * (plan.longestS + 7200)
    this.#profile = bench.profiles.part(bench.sim.scenario.partProfile).profile
    this.#hot = bench.sim.scenario.parts.map(() => ({ sinceMs: null }))
    this.#greedy = bench.sim.scenario.parts.map(() => ({ sinceMs: null }))
    this.overdue = new Promise((_, reject) => { this.#giveUp = reject })
    this.overdue.catch(() => {})
    this.dead = new Promise(resolve => { this.#died = () => resolve('dead') })
  }

  /** Everything that has struck this night. */
  get all(): readonly Struck[] { return [...this.#before, ...this.struck] }

  start(): void {
    this.listen()
    this.#probe()
  }

  /** To the daemon and the keeper that live now. */
  listen(): void {
    const { daemon } = this.#bench
    this.#cancels.push(daemon.subscribe(item => {
      if (item.type === 'event') this.#hear(item.event)
      else if (item.type === 'reading') this.#count(item.reading.channel.index, item.reading.atMs)
    }))
    this.#bench.onKeeperMode = mode => { if (mode === 'safing') this.#mark(false) }
  }

  stop(): void {
    this.#cancelProbe()
    for (const cancel of this.#cancels) cancel()
    this.#feedsOutOfTurn()
  }

  /** The daemon is dead: what it had not written yet is no loss. */
  forgetProvisional(): void {
    const fromMs = this.#bench.clock.monotonicMs() - provisionalMs
    for (const { atMs, index } of this.#recent) {
      if (atMs >= fromMs) this.fed.readings.set(index, this.fed.readings.get(index)! - 1)
    }
  }

  endV(): Outcome['endV'] {
    const wiring = this.#bench.sim.now()
    return {
      bus: wiring.busV(),
      parts: new Map(this.#bench.sim.positions.map(({ name }, i) => [name, wiring.partV(i)])),
    }
  }

  // ---- strokes ----

  #strike(stroke: Stroke): void {
    const { clock } = this.#bench
    const wasFeeding = this.#bench.feeding
    const stage = this.stage
    stroke.strike!(this.#bench)
    const atMs = clock.monotonicMs()
    this.struck.push({ stroke, atMs, stage })
    this.#alertUntilMs = atMs + alertMs
    this.#cancelProbe()
    this.#probe()
    if (!this.#bench.daemonLife.acts) this.#died()
    const offMs = offWithinMs(stroke, stage, this.all, { plan: this.#plan, cadence: this.#cadence, silenceMs: this.#bench.silenceMs })
    if (offMs !== null && wasFeeding) this.#expectOff(stroke.trouble.kind, atMs, offMs)
  }

  #expectOff(kind: string, fromMs: number, offMs: number): void {
    const { clock } = this.#bench
    const others = this.all.filter(({ stroke }) => stroke.trouble.kind !== kind)
    const boundMs = others.some(({ stroke }) => stroke.trouble.blinds !== undefined)
      ? Math.max(offMs, slowestLayerMs(this.#cadence)) : offMs
    const isOn = (): boolean =>
      this.#bench.feeding && !this.#wentOffSince(fromMs) && !this.#feedsNothing() && !nothingCanSwitchOff(this.all)
    const judge = (ms: number): void => {
      if (isOn()) this.violations.push(`energy was still on ${(ms / 1000).toFixed(1)} s after: ${kind} (${this.stage})`)
    }
    const awake = (ms: number, then: () => void): void => {
      const dueMs = clock.monotonicMs() + ms
      // A host that slept runs late, and so do the instruments that share its clock: they act first.
      this.#cancels.push(clock.after(ms, () => clock.monotonicMs() > dueMs + lateMs ? awake(wakesMs, then) : then()))
    }
    awake(boundMs, () => {
      if (!isOn() || !onlySilenceSwitchesOff(this.all)) return judge(boundMs)
      const moreMs = silentOffMs(this.all, this.#bench.silenceMs)
      awake(moreMs, () => judge(boundMs + moreMs))
    })
  }

  /** The bus is fed with nothing, and no part is on it. */
  #feedsNothing(): boolean {
    const { sim } = this.#bench
    const wiring = sim.now()
    return sim.instruments.psu.core.voltageV === 0 && wiring.busV() < touchV && sim.positions.every((_, i) => wiring.path(i) !== 'bus')
  }

  #wentOffSince(fromMs: number): boolean {
    const { psu, cutoff } = this.#bench.sim.instruments
    const off = (list: readonly { atMs: number; value: number }[]): boolean =>
      list.some(({ atMs, value }) => value === 0 && atMs >= fromMs)
    return off(psu.device.effects.list('output')) || !this.#bench.weldedUnseen && off(cutoff.device.effects.list('contact'))
  }

  // ---- what the program says ----

  #hear(event: RunEvent): void {
    this.fed.events.push(event)
    if (event.kind === 'energise') this.#mark(true)
    if (event.kind === 'stage') {
      this.stage = event.text as NightStage
      for (const stroke of this.#strokes) {
        if (stroke.strike === null || stroke.stage !== event.text) continue
        this.#cancels.push(this.#bench.clock.after(stroke.afterMs, () => this.#strike(stroke)))
      }
    }
    if (event.kind === 'trip') this.#alertUntilMs = Math.max(this.#alertUntilMs, event.atMs + 20_000)
    if (event.kind !== 'touch' || event.position === undefined) return
    this.lastTouch.set(event.position, event.text.slice(event.position.length + 1))
    this.#weigh(event.position, event.text)
  }

  #count(index: number, atMs: number): void {
    this.readings++
    this.fed.readings.set(index, (this.fed.readings.get(index) ?? 0) + 1)
    this.#recent.push({ atMs: this.#bench.clock.monotonicMs(), index })
    if (this.#recent.length > 512) this.#recent = this.#recent.filter(one => one.atMs >= atMs - 4 * provisionalMs)
  }

  #look(): void {
    const { daemon, daemonLife } = this.#bench
    if (!daemonLife.acts) return
    for (const { position, touch } of daemon.status().run?.positions ?? []) {
      this.lastTouch.set(position, touch)
      this.#weigh(position, touch)
    }
  }

  #weigh(position: string, text: string): void {
    if (!claimsTouchable(text)) return
    const { sim, clock } = this.#bench
    const volts = Math.abs(sim.now().partV(sim.positions.findIndex(({ name }) => name === position)))
    // A contact that welds over to the live bus by itself is found by the current that it lets through.
    const weldedMs = this.all.findLast(({ stroke }) => stroke.trouble.kind === 'position relay welded')?.atMs
    if (weldedMs !== undefined && this.#bench.feeding && clock.monotonicMs() - weldedMs < sweepStaleMs(this.#cadence)) return
    if (volts >= touchV) this.falseWords.push({ atMs: clock.monotonicMs(), position, text, volts })
  }

  // ---- what the physics does ----

  #probe(): void {
    const nowMs = this.#bench.clock.monotonicMs()
    this.#watchVolts(nowMs)
    this.#watchParts(nowMs)
    if (nowMs - this.#lookedMs >= lookEveryMs || nowMs < this.#alertUntilMs) { this.#lookedMs = nowMs; this.#look() }
    this.#refuseToHang(nowMs)
    this.#cancelProbe = this.#bench.clock.after(nowMs < this.#alertUntilMs ? nearMs : farMs, () => this.#probe())
  }

  #watchVolts(nowMs: number): void {
    const { sim } = this.#bench
    const wiring = sim.now()
    const highestV = Math.max(wiring.busV(), ...sim.positions.map((_, i) => wiring.partV(i)))
    this.tooHighMs = Math.max(this.tooHighMs, spell(this.#high, highestV > this.#mostV, nowMs))
    const { core } = sim.instruments.psu
    const askedMs = spell(this.#asked, core.driven && core.voltageV > this.#plan.targetV + 2, nowMs)
    if (askedMs > 0 && this.#plan.targetV > 0 && askedMs <= nearMs + 1) {
      this.violations.push(`the supply was set to ${core.voltageV.toFixed(1)} V, ${this.#plan.targetV} V are planned`)
    }
  }

  /** A part may take and turn to heat more than it can bear only until its drop. */
  #watchParts(nowMs: number): void {
    const { sim } = this.#bench
    const wiring = sim.now()
    const { targetV, partDissipationMaxW } = this.#plan
    const mostMs = 2 * sweepStaleMs(this.#cadence) + 60_000
    const mostW = Math.max(partDissipationMaxW * 1.05, this.#profile.shedW)
    this.#hot.forEach((hot, i) => {
      const onBus = wiring.path(i) === 'bus'
      const tooWarm = onBus && (wiring.dissipationW(i) > mostW || wiring.caseTempC(i) > this.#profile.caseMaxC + 2)
      const tooMuch = onBus && targetV > 0 && wiring.senseV(i) / 1000 > 0.6 * targetV / 101e3 * 2
      this.#tooLong(hot, tooWarm, nowMs, mostMs + 3 * this.#cadence.temperatureMs, `P0${i + 1} was hotter than it can shed`)
      this.#tooLong(this.#greedy[i]!, tooMuch, nowMs, mostMs, `P0${i + 1} took more than a short through its resistor takes`)
    })
  }

  #tooLong(spellOf: Spell, now: boolean, nowMs: number, mostMs: number, what: string): void {
    const ms = spell(spellOf, now, nowMs)
    if (ms <= mostMs || ms > mostMs + farMs) return
    if (nothingCanSwitchOff(this.all)) return
    if (this.all.some(({ stroke }) => stroke.trouble.blinds !== undefined)) return
    this.violations.push(`${what} for ${(ms / 1000).toFixed(0)} s`)
  }

  // ---- when energy may come on ----

  #mark(may: boolean): void { this.#marks.push({ atMs: this.#bench.clock.monotonicMs(), may }) }

  /** Each time that supply and cutoff together began to feed the bus, an arming stood before it and no safe-off since. */
  #feedsOutOfTurn(): void {
    const { psu, cutoff } = this.#bench.sim.instruments
    const changes = [
      ...psu.device.effects.list('output').map(one => ({ ...one, of: 'output' as const })),
      ...cutoff.device.effects.list('contact').map(one => ({ ...one, of: 'contact' as const })),
    ].sort((a, b) => a.atMs - b.atMs)
    const on = { output: false, contact: false }
    for (const { of, value, atMs } of changes) {
      const was = on.output && (on.contact || this.#bench.weldedUnseen)
      on[of] = value !== 0
      if (was || !on.output || !(on.contact || this.#bench.weldedUnseen)) continue
      if (atMs < this.#startedMs) continue
      if (this.#marks.findLast(mark => mark.atMs <= atMs)?.may !== true) {
        this.violations.push(`energy came on at ${(atMs / 1000).toFixed(1)} s, not armed or after a safe-off`)
      }
    }
  }

  #refuseToHang(nowMs: number): void {
    // Asking the host is dear: a tenth of a night when it is done at each look.
    if (nowMs < this.#endMs && ++this.#looks % looksPerCpu !== 0) return
    const spentMs = cpuMs() - this.#cpuStartMs
    if (nowMs < this.#endMs && spentMs < cpuMsMost) return
    const last = this.fed.events.slice(-3).map(({ kind, text }) => `${kind}: ${text}`).join(' | ')
    this.#giveUp(new Error(`the night hangs at ${(nowMs / 1000).toFixed(0)} s of bench time after ${(spentMs / 1000).toFixed(0)} s of computing; last: ${last}`))
  }
}

/** How long it has been so without a break, ms. */
function spell(state: Spell, now: boolean, nowMs: number): number {
  if (!now) { state.sinceMs = null; return 0 }
  state.sinceMs ??= nowMs
  return nowMs - state.sinceMs + nearMs
}

function cpuMs(): number {
  const { user, system } = process.cpuUsage()
  return (user + system) / 1000
}
