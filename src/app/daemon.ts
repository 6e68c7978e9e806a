/** The application object: one bench, one run at a time, views of it for every interface. */
import { Subject } from 'rxjs'
import { z } from 'zod'
import { closeAll } from '../base/close-all.ts'
import { BenchError } from '../base/errors.ts'
import type {
  Application, BenchStatus, ContinueRequest, FeedItem, InstrumentCheck, Plan, PortEntry, ProbeAnswer,
  SafeOffReport,
} from '../schema/application.ts'
import type { RunEvent, RunRecord, RunState, StartRequest } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import type { Session } from '../scpi/session.ts'
import { refuseWithoutPresence } from '../engine/at-bench.ts'
import { channelTable } from '../engine/channels.ts'
import { runNight } from '../engine/runner.ts'
import type { RunHandles } from '../engine/runner.ts'
import type { AnySequence } from '../engine/sequence.ts'
import { freeRunId, refuseOtherTarget, refuseUnless, setupOf } from './begin-run.ts'
import { checkIdentities, checkInstrument } from './identity.ts'
import { requestToContinue, unfinishedRun, withoutDropped, type Continued } from './continue-run.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { Latch } from './latch.ts'
import { Lots, lotThreads } from './lots.ts'
import { createMarked, forgetLost } from './marked-run.ts'
import { makeNight } from './night-maker.ts'
import { listPorts, probe, urlsOf } from './ports.ts'
import { Powering } from './powering.ts'
import { prepare } from './prepare.ts'
import { watchPresence } from './presence.ts'
import type { PresenceWatch } from './presence.ts'
import { startPulse } from './pulse.ts'
import { Recovery } from './recovery.ts'
import { Screening } from './screening.ts'
import { statusOf } from './status.ts'
import { asItStands, Unended } from './unended.ts'
import { unproved } from './unproved.ts'
import { unsafeNow, unsettledAt } from './unsafe-now.ts'
import { Units } from './units-port.ts'

interface Current {
  record: RunRecord; handles: RunHandles; presence: PresenceWatch | null; ended: Promise<RunRecord>
}

export class Daemon implements Application {
  readonly store: Store
  readonly #d: DaemonDeps
  readonly #feed = new Subject<FeedItem>()
  readonly #finished = new Map<string, RunRecord>()
  readonly #unended: Unended
  readonly #latch: Latch
  readonly #recovery: Recovery
  readonly screening: Screening
  readonly powering: Powering
  readonly lots: Lots
  readonly units: Units
  #current: Current | null = null
  #unsafe: BenchStatus['unsafe'] = []
  #closing = false
  #starting = false
  /** A stop that came while a run was starting and could not be told yet. */
  #stopReason: string | null = null

  constructor(deps: DaemonDeps) {
    this.#d = deps
    this.#unended = new Unended(deps)
    this.store = asItStands(deps.store, id => this.#mayRun(id), id => this.#unended.endOf(id))
    this.units = new Units({ ...deps, store: this.store })
    this.lots = new Lots(deps.store, lotThreads(deps.livenessClock))
    this.#latch = new Latch(deps.clock)
    this.#recovery = new Recovery(deps, this.#latch, () => this.#showStatus())
    this.screening = new Screening(deps, {
      refuseUnlessIdle: () => this.#refuseUnlessIdle(), latch: text => this.#latch.add(text),
      publish: item => this.#feed.next(item),
      show: screening => {
        this.#feed.next({ type: 'screening', screening })
        if (screening === null) void this.#lookBack().then(() => this.#showStatus())
      },
    })
    this.powering = new Powering(deps, {
      refuseUnlessIdle: () => this.#refuseUnlessIdle(), latch: text => this.#latch.add(text),
      publish: item => { if (this.#feed.observed) this.#feed.next(item) },
      unended: ending => this.#unended.take(ending), ended: () => this.#lookBack(),
      show: () => this.#showStatus(),
    })
    deps.keeper.onEvent(event => {
      if (event.type === 'gone' && !this.#closing) this.#keeperGone(event.why)
      if (event.type === 'safe-off') {
        this.#hostFault('keeper.safe-off', `the keeper made the bench safe: ${event.report.reason}`)
      }
    })
  }

  /** Starting is recovering. Resolves with the ids of runs that were interrupted. */
  async recover(): Promise<string[]> {
    const interrupted = await this.#recovery.run()
    await this.#lookBack()
    return interrupted
  }

  /** Resolves when what a crash left has been bled and measured; at once where there was nothing. */
  async recovered(): Promise<void> { await this.#recovery.done() }

  sequences(): ReturnType<Application['sequences']> {
    return this.#d.sequences.map(({ name, summary, cautions, parameters, origin = null }) =>
      ({ name, summary, cautions, parameters: z.toJSONSchema(parameters), origin }))
  }

  async checkInstruments(names?: readonly string[]): Promise<InstrumentCheck[]> {
    const wanted = names ?? Object.keys(this.#d.bench.file.instruments)
    const idle = this.#isIdle
    const { bench, composed, clock } = this.#d
    return await Promise.all(
      wanted.map(name => checkInstrument(bench, composed, name, idle, clock.wallMs())))
  }

  get #isIdle(): boolean {
    return this.#current === null && !this.#starting && !this.screening.goesOn && !this.powering.goesOn
  }

  /** While one begins nobody can tell which it is. */
  #mayRun(id: string): boolean {
    return this.#starting || this.#current?.record.id === id
      || [this.screening, this.powering].some(({ run, goesOn }) => run === null ? goesOn : run.id === id)
  }

  async listPorts(): Promise<PortEntry[]> { return await listPorts(urlsOf(this.#d.bench.file)) }

  async probe(url: string): Promise<ProbeAnswer> {
    if (!this.#isIdle) {
      throw new BenchError('REFUSED', 'no port is opened while a run goes on')
    }
    return await probe(url, {
      clock: this.#d.livenessClock, bench: this.#d.bench.file, profiles: this.#d.profiles, holds: true,
    })
  }

  async plan(request: StartRequest): Promise<Plan> { return (await prepare(this.#d, request)).plan }

  async start(request: StartRequest): Promise<RunRecord> {
    return await this.#start(async () => await this.#begin(request))
  }

  async continueRun(runId: string, request: ContinueRequest): Promise<RunRecord> {
    return await this.#start(async () => {
      const run = await unfinishedRun(this.store, runId)
      await refuseWithoutPresence(this.#d.composed.roles.interlock)
      const asked = requestToContinue(run, request, this.#d)
      const { parts, leftOut } = await withoutDropped(this.store, runId, asked.parts)
      return await this.#begin({ ...asked, parts }, { runId, leftOut })
    })
  }

  async closeRun(runId: string, reason: string, person: string): Promise<void> {
    if (reason.trim() === '' || person.trim() === '') {
      throw new BenchError('USAGE', 'closing a run needs a person and a reason')
    }
    await unfinishedRun(this.store, runId)
    await this.#note(runId, {
      kind: 'closed', text: `${person} closed this run: ${reason}`, data: { person, reason },
    })
  }

  /** An event of a run that has ended. */
  async #note(
    runId: string, event: Pick<RunEvent, 'kind' | 'text' | 'data' | 'position'>,
  ): Promise<void> {
    const { clock } = this.#d
    await this.store.appendEvent(runId, {
      ...event, severity: 'info', atMs: clock.monotonicMs(), wallMs: clock.wallMs(),
    })
  }

  async #start(begin: () => Promise<RunRecord>): Promise<RunRecord> {
    this.#refuseUnlessIdle()
    this.#starting = true
    this.#stopReason = null
    try {
      return await begin()
    } finally {
      this.#starting = false
    }
  }

  #refuseUnlessIdle(): void {
    if (this.#current) throw new BenchError('REFUSED', `run ${this.#current.record.id} is going on`)
    if (this.screening.goesOn) throw new BenchError('REFUSED', 'a screening session is going on')
    if (this.powering.goesOn) throw new BenchError('REFUSED', 'a run of a unit is going on')
    const latched = this.#latch.now
    if (latched) throw new BenchError('TRIPPED', `not acknowledged yet: ${latched.text}`)
    // Of a stop while nothing ran: nothing latched, and the keeper lets nothing on.
    if (this.#d.keeper.mode() === 'safe') {
      throw new BenchError('TRIPPED', 'the bench was told to stop, and nobody has acknowledged that yet')
    }
    if (this.#starting || this.#closing) {
      throw new BenchError('REFUSED', 'another run is starting, or the daemon is closing')
    }
  }

  async #begin(request: StartRequest, continued?: Continued): Promise<RunRecord> {
    const { sequence, parameters, plan, parts } = await prepare(this.#d, request)
    refuseUnless(request, plan)
    if (continued) await refuseOtherTarget(this.store, continued.runId, plan)
    // A link that went while nothing ran is opened anew, or whoever starts hears of it before they go home.
    for (const session of this.#d.composed.sessions.values()) await session.connect()
    const { clock, livenessClock, bench } = this.#d
    const record: RunRecord = {
      id: await freeRunId(this.store, clock.wallMs(), request.sequence),
      sequence: request.sequence, bench: bench.file.bench,
      state: 'running', startedWallMs: clock.wallMs(), endedWallMs: null, person: request.person,
      use: request.use, software: this.#d.software, setup: setupOf(this.#d, request, plan, continued),
    }
    const channels = channelTable(bench.file.fixture)
    const unseen = await unsettledAt(this.store, bench.file, 'run')
    await createMarked(this.#d, record, channels.all)
    if (continued) await this.#noteContinued(record, continued)
    this.#recovery.forget()
    const handles = makeNight({
      runId: record.id, clock, livenessClock, bench, composed: this.#d.composed, keeper: this.#d.keeper,
      store: this.store, plan, channels, parts, unseen,
      publish: item => { if (this.#feed.observed) this.#feed.next(item) },
      checkIdentities: () => checkIdentities(bench, this.#d.composed),
    })
    const presence = request.use === 'attended'
      ? watchPresence(handles.night, 1000 * bench.file.limits.presenceS) : null
    this.#current = {
      record, handles, presence, ended: this.#run(record, handles, sequence, parameters, presence),
    }
    if (this.#stopReason !== null) this.#halt(this.#current, this.#stopReason)
    return record
  }

  async #noteContinued({ id, person }: RunRecord, { runId, leftOut }: Continued): Promise<void> {
    await this.#note(runId, {
      kind: 'continued', text: `${person} continued this run as ${id}`, data: { run: id, person },
    })
    for (const { position, part, why } of leftOut) {
      const text = `${part} stays off the bus, run ${runId} dropped it: ${why}`
      await this.#note(id, { kind: 'left-out', position, text })
    }
  }

  async ended(runId: string): Promise<RunRecord> {
    if (this.#current?.record.id === runId) return await this.#current.ended
    for (const one of [this.screening, this.powering]) {
      if (one.run?.id === runId) return (await one.ended())!
    }
    const found = this.#finished.get(runId) ?? await this.store.run(runId)
    if (!found) throw new BenchError('NOT_FOUND', `no run ${runId}`)
    return found
  }

  status(): BenchStatus {
    return statusOf({
      clock: this.#d.clock, bench: this.#d.bench.file.bench, keeper: this.#d.keeper.mode(),
      latched: this.#latch.now, left: this.#recovery.left, unsafe: this.#unsafe, screening: this.screening,
      powering: this.powering,
      current: this.#current && { record: this.#current.record, night: this.#current.handles.night },
    })
  }

  async stop(reason: string): Promise<SafeOffReport> {
    const report = this.#d.keeper.safeOff(reason)
    for (const one of [this.screening, this.powering]) one.halt(new BenchError('STOPPED', reason))
    if (this.#current) this.#halt(this.#current, reason)
    else if (this.#starting) this.#stopReason ??= reason
    return await report
  }

  #halt({ handles: { night, abort } }: Current, reason: string): void {
    night.state.live = false
    night.supervisor.fault('stop', reason, this.#d.clock.monotonicMs())
    const told = { kind: 'stop', severity: 'warning', text: `stopped: ${reason}` } as const
    void night.recorder.event(told).catch(() => {})
    abort(new BenchError('STOPPED', reason))
  }

  /** A person says that they are at the bench. Rejects REFUSED unless an attended run is going on. */
  async confirmPresence(person: string): Promise<void> {
    if (person.trim() === '') throw new BenchError('USAGE', 'presence needs a person')
    const presence = this.#current?.presence ?? this.powering.presence
    if (!presence) throw new BenchError('REFUSED', 'no attended run is going on')
    presence.confirm(person)
  }

  async acknowledge(reason: string, person: string): Promise<void> {
    if (reason.trim() === '' || person.trim() === '') {
      throw new BenchError('USAGE', 'an acknowledgement needs a person and a reason')
    }
    if (!this.#isIdle) {
      throw new BenchError('REFUSED', 'the run has not ended yet')
    }
    if (this.#recovery.isMeasuring) {
      throw new BenchError('REFUSED', 'what the last run left is still being measured')
    }
    // Its link may have gone with the others; were it not asked again, nobody could acknowledge.
    await this.#interlockSession()?.connect()
    await refuseWithoutPresence(this.#d.composed.roles.interlock)
    await this.powering.refuseWhileClosed()
    await this.#unended.record()
    // Refused by a keeper that is not done yet, and by one that is gone.
    await this.#d.keeper.reset()
    await forgetLost(this.#d)
    // What latches from here on is news: a keeper that dies meanwhile is not acknowledged with the rest.
    const acknowledged = this.#latch.release()
    this.powering.forget()
    const [last] = await this.store.listRuns(1)
    if (!last || !acknowledged && this.#unsafe.length === 0) return
    const what = acknowledged?.text
      ?? `not known to be safe to touch: ${this.#unsafe.map(({ position }) => position).join(' ')}`
    try {
      await this.#note(last.id, {
        kind: 'acknowledged', text: `${person} acknowledged "${what}": ${reason}`,
        data: { person, reason },
      })
    } catch (error) {
      if (acknowledged) this.#latch.restore(acknowledged)
      throw error
    }
    await this.#lookBack()
  }

  #interlockSession(): Session | undefined {
    const { bench, composed } = this.#d
    return composed.sessions.get(bench.roles.get('interlock')?.instrument ?? '')
  }

  subscribe(listener: (item: FeedItem) => void): () => void {
    const subscription =
      this.#feed.subscribe(item => { try { listener(item) } catch { /* a view that fails harms nobody */ } })
    return () => subscription.unsubscribe()
  }

  async close(): Promise<void> {
    this.#closing = true
    await this.#recovery.end()
    await closeAll([
      async () => { if (!this.#isIdle) await this.stop('the daemon is closing') },
      async () => { await this.#current?.ended },
      async () => { await this.screening.ended() },
      async () => { await this.powering.ended() },
      () => this.#d.keeper.close(),
      ...[...this.#d.composed.sessions.values()].map(session => () => session.close()),
      () => this.store.close(),
    ])
  }

  async #run(
    record: RunRecord, handles: RunHandles, sequence: AnySequence, parameters: unknown,
    presence: PresenceWatch | null,
  ): Promise<RunRecord> {
    const { night } = handles
    const stopPulse = startPulse({ night, keeper: this.#d.keeper, livenessClock: this.#d.livenessClock })
    const state: RunState = await runNight(handles, sequence, parameters)
    stopPulse()
    presence?.stop()
    const ended = { ...record, state, endedWallMs: this.#d.clock.wallMs() }
    const results = night.positions.flatMap(({ result }) => result ?? [])
    // Also of a run that got done: its end may be what could not be written.
    const why = night.supervisor.latched?.text
      ?? (state === 'tripped' || state === 'stopped' ? `run ${state}` : null)
    const charged = unproved(night.positions, night.bench.limits.touchSafeV)
    if (why ?? charged) this.#latch.set([why, charged].filter(text => text !== null).join('; '))
    if (await this.#unended.take({ run: ended, why, results })) {
      this.#latch.add(`the record of run ${record.id} could not be ended`)
    }
    await this.#lookBack()
    this.#finished.set(record.id, ended)
    this.#current = null
    for (const result of results) this.#feed.next({ type: 'result', runId: record.id, result })
    this.#showStatus()
    return ended
  }

  /** What may not be touched, as the record has it; a record that cannot be read leaves it as it was. */
  async #lookBack(): Promise<void> {
    this.#unsafe = await unsafeNow(this.store, this.#d.bench.file).catch(() => this.#unsafe)
  }

  /** The new keeper starts safe and stays so until a person acknowledges, also when no run was going on. */
  #keeperGone(why: string): void {
    const text = `the keeper is gone: ${why}`
    this.screening.halt(new BenchError('KEEPER_GONE', text))
    if (!this.#current && !this.powering.goesOn) this.#latch.add(text)
    this.#current?.handles.night.fault('keeper.gone', text)
    this.powering.hostFault('keeper.gone', text)
  }

  #showStatus(): void { this.#feed.next({ type: 'status', status: this.status() }) }

  /** Of what is live; else it is the end of something that was told before. */
  #hostFault(id: string, text: string): void {
    this.screening.halt(new BenchError('TRIPPED', text))
    const { night } = this.#current?.handles ?? {}
    if (night?.state.live) night.fault(id, text)
    this.powering.hostFault(id, text)
  }
}
