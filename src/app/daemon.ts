/** The application object: one bench, one run at a time, views of it for every interface. */
import { Subject } from 'rxjs'
import { z } from 'zod'
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Keeper } from '../keeper/client.ts'
import type {
  Application, BenchStatus, ContinueRequest, FeedItem, InstrumentCheck, Plan, PortEntry, ProbeAnswer,
  SafeOffReport,
} from '../schema/application.ts'
import type { RunEvent, RunRecord, RunState, StartRequest } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { channelTable } from '../engine/channels.ts'
import { runNight } from '../engine/runner.ts'
import type { RunHandles } from '../engine/runner.ts'
import type { AnySequence } from '../engine/sequence.ts'
import { checkIdentity, checkInstrument } from './identity.ts'
import type { ComposedBench } from './compose.ts'
import { requestToContinue, unfinishedRun } from './continue-run.ts'
import { rolesOf, type LoadedBench, type ProfileFolder } from './files.ts'
import type { Origin } from './own-sequences.ts'
import { leftOnBus, measureLeft, type LeftOnBus } from './after-crash.ts'
import { beatLimitMs, makeNight } from './night-maker.ts'
import { listPorts, probe, urlsOf } from './ports.ts'
import { prepare } from './prepare.ts'
import { watchPresence } from './presence.ts'
import type { PresenceWatch } from './presence.ts'
import { startPulse } from './pulse.ts'
import { statusOf } from './status.ts'
import { unproved, unprovedOnRecord } from './unproved.ts'

export interface DaemonDeps {
  clock: Clock
  /** Real time, for the heartbeat. */
  livenessClock: Clock
  bench: LoadedBench
  composed: ComposedBench
  keeper: Keeper
  store: Store
  profiles: ProfileFolder
  sequences: readonly (AnySequence & { readonly origin?: Origin })[]
  software: string
}

interface Current {
  record: RunRecord; handles: RunHandles; presence: PresenceWatch | null; ended: Promise<RunRecord>
}

export class Daemon implements Application {
  readonly store: Store
  readonly #d: DaemonDeps
  readonly #feed = new Subject<FeedItem>()
  readonly #finished = new Map<string, RunRecord>()
  #current: Current | null = null
  #latched: { text: string; wallMs: number } | null = null
  #closing = false
  #starting = false
  /** A stop that came while a run was starting and could not be told yet. */
  #stopReason: string | null = null
  #left: BenchStatus['left'] = null
  #measuring: Promise<void> | null = null
  readonly #ending = new AbortController()

  constructor(deps: DaemonDeps) {
    this.#d = deps
    this.store = deps.store
    deps.keeper.onEvent(event => {
      if (event.type === 'gone' && !this.#closing) this.#keeperGone(event.why)
      if (event.type === 'safe-off' && this.#current?.handles.night.state.live) {
        this.#hostFault('keeper.safe-off', `the keeper made the bench safe: ${event.report.reason}`)
      }
    })
  }

  /** Starting is recovering: safe-off, read back, runs that stood as running become interrupted. */
  async recover(): Promise<string[]> {
    await this.#d.keeper.configure(this.#d.composed.table, true)
    const off = await this.#d.keeper.safeOff('start of the daemon')
    await this.#d.keeper.reset()
    const interrupted = await this.store.interruptRunning(this.#d.clock.wallMs())
    const charged = await unprovedOnRecord(this.store)
    if (charged) this.#latch(charged)
    for (const [name, instrument] of Object.entries(this.#d.composed.roles)) {
      await instrument.prepare().catch((error: unknown) => {
        throw new BenchError(
          'LINK_OPEN', `${name} could not be prepared: ${(error as Error).message}`, {}, error
        )
      })
    }
    const left = await leftOnBus(this.store)
    if (left) this.#measuring = this.#measure(left, off)
    return interrupted
  }

  /** Resolves when what a crash left has been bled and measured; at once where there was nothing. */
  async recovered(): Promise<void> { await this.#measuring }

  /** The bench is latched meanwhile, and stays so unless every part was measured dead. */
  async #measure(left: LeftOnBus, off: SafeOffReport): Promise<void> {
    const latched = this.#latched
    const failure = await measureLeft({
      ...this.#d, signal: this.#ending.signal, checkIdentities: () => this.#checkIdentities(),
      tell: found => { this.#left = found; this.#feed.next({ type: 'status', status: this.status() }) },
    }, left, off).then(() => null, (error: unknown) => `not measured: ${(error as Error).message}`)
    const charged = await unprovedOnRecord(this.store).catch(() => latched?.text ?? null)
    this.#measuring = null
    if (this.#latched !== latched) return
    if (charged === null) this.#latched = null
    else this.#latch(failure === null ? charged : `${charged} (${failure})`)
  }

  sequences(): ReturnType<Application['sequences']> {
    return this.#d.sequences.map(({ name, summary, cautions, parameters, origin = null }) =>
      ({ name, summary, cautions, parameters: z.toJSONSchema(parameters), origin }))
  }

  async checkInstruments(names?: readonly string[]): Promise<InstrumentCheck[]> {
    const wanted = names ?? Object.keys(this.#d.bench.file.instruments)
    const idle = this.#current === null && !this.#starting
    return await Promise.all(wanted.map(name => checkInstrument(this.#d.bench, this.#d.composed, name, idle)))
  }

  async listPorts(): Promise<PortEntry[]> { return await listPorts(urlsOf(this.#d.bench.file)) }

  async probe(url: string): Promise<ProbeAnswer> {
    if (this.#current !== null || this.#starting) {
      throw new BenchError('REFUSED', 'no port is opened while a run goes on')
    }
    return await probe(url, {
      clock: this.#d.livenessClock, bench: this.#d.bench.file, profiles: this.#d.profiles, holds: true,
    })
  }

  async plan(request: StartRequest): Promise<Plan> { return (await prepare(this.#d, request)).plan }

  async start(request: StartRequest): Promise<RunRecord> { return await this.#start(async () => request) }

  async continueRun(runId: string, request: ContinueRequest): Promise<RunRecord> {
    return await this.#start(async () => {
      const run = await unfinishedRun(this.store, runId)
      await this.#refuseWithoutPresence()
      return requestToContinue(run, request, this.#d)
    }, runId)
  }

  async closeRun(runId: string, reason: string, person: string): Promise<void> {
    if (reason.trim() === '' || person.trim() === '') {
      throw new BenchError('USAGE', 'closing a run needs a person and a reason')
    }
    await unfinishedRun(this.store, runId)
    await this.#note(runId, 'closed', `${person} closed this run: ${reason}`, { person, reason })
  }

  /** An event of a run that has ended. */
  async #note(runId: string, kind: string, text: string, data: NonNullable<RunEvent['data']>): Promise<void> {
    const { clock } = this.#d
    await this.store.appendEvent(runId, {
      kind, severity: 'info', atMs: clock.monotonicMs(), wallMs: clock.wallMs(), text, data,
    })
  }

  async #start(requestOf: () => Promise<StartRequest>, continues?: string): Promise<RunRecord> {
    if (this.#current) throw new BenchError('REFUSED', `run ${this.#current.record.id} is going on`)
    if (this.#latched) throw new BenchError('TRIPPED', `not acknowledged yet: ${this.#latched.text}`)
    if (this.#starting || this.#closing) {
      throw new BenchError('REFUSED', 'another run is starting, or the daemon is closing')
    }
    this.#starting = true
    this.#stopReason = null
    try {
      return await this.#begin(await requestOf(), continues)
    } finally {
      this.#starting = false
    }
  }

  async #begin(request: StartRequest, continues?: string): Promise<RunRecord> {
    const { sequence, parameters, plan, parts } = await prepare(this.#d, request)
    refuseUnless(request, plan)
    if (continues !== undefined) await this.#refuseOtherTarget(continues, plan)
    const { clock, livenessClock, bench } = this.#d
    const record: RunRecord = {
      id: this.#runId(request.sequence), sequence: request.sequence, bench: bench.file.bench,
      state: 'running', startedWallMs: clock.wallMs(), endedWallMs: null, person: request.person,
      use: request.use, software: this.#d.software, setup: this.#setup(request, plan, continues),
    }
    const channels = channelTable(bench.file.fixture)
    await this.store.createRun(record, channels.all)
    if (continues !== undefined) {
      await this.#note(continues, 'continued', `${request.person} continued this run as ${record.id}`,
        { run: record.id, person: request.person })
    }
    this.#left = null
    const handles = makeNight({
      runId: record.id, clock, livenessClock, bench, composed: this.#d.composed, keeper: this.#d.keeper,
      store: this.store, plan, channels, parts,
      publish: item => { if (this.#feed.observed) this.#feed.next(item) },
      checkIdentities: () => this.#checkIdentities(),
    })
    const presence = request.use === 'attended' ? watchPresence(handles.night) : null
    this.#current = {
      record, handles, presence, ended: this.#run(record, handles, sequence, parameters, presence),
    }
    if (this.#stopReason !== null) this.#halt(this.#current, this.#stopReason)
    return record
  }

  async ended(runId: string): Promise<RunRecord> {
    if (this.#current?.record.id === runId) return await this.#current.ended
    const found = this.#finished.get(runId) ?? await this.store.run(runId)
    if (!found) throw new BenchError('NOT_FOUND', `no run ${runId}`)
    return found
  }

  status(): BenchStatus {
    return statusOf({
      clock: this.#d.clock, bench: this.#d.bench.file.bench, keeper: this.#d.keeper.mode(),
      latched: this.#latched,
      left: this.#left,
      current: this.#current && { record: this.#current.record, night: this.#current.handles.night },
    })
  }

  async stop(reason: string): Promise<SafeOffReport> {
    const report = this.#d.keeper.safeOff(reason)
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
    const presence = this.#current?.presence
    if (!presence) throw new BenchError('REFUSED', 'no attended run is going on')
    presence.confirm(person)
  }

  async acknowledge(reason: string, person: string): Promise<void> {
    if (reason.trim() === '' || person.trim() === '') {
      throw new BenchError('USAGE', 'an acknowledgement needs a person and a reason')
    }
    if (this.#current || this.#starting) throw new BenchError('REFUSED', 'the run has not ended yet')
    if (this.#measuring) throw new BenchError('REFUSED', 'what the last run left is still being measured')
    await this.#refuseWithoutPresence()
    // Refused by a keeper that is not done yet, and by one that is gone.
    await this.#d.keeper.reset()
    const acknowledged = this.#latched
    // From here on what latches is news: a keeper that dies meanwhile is not acknowledged with the rest.
    this.#latched = null
    const [last] = await this.store.listRuns(1)
    if (!last || !acknowledged) return
    try {
      await this.#note(last.id, 'acknowledged', `${person} acknowledged "${acknowledged.text}": ${reason}`,
        { person, reason })
    } catch (error) {
      this.#latched ??= acknowledged
      throw error
    }
  }

  /** Where the bench has a key or button, it must be held; a bench without one trusts its own terminal. */
  async #refuseWithoutPresence(): Promise<void> {
    const { interlock } = this.#d.composed.roles
    if (interlock && !(await interlock.read()).present) {
      throw new BenchError('REFUSED', 'nobody confirmed presence at the bench', {
        expected: 'key or button at the bench', got: 'neither',
      })
    }
  }

  subscribe(listener: (item: FeedItem) => void): () => void {
    const subscription =
      this.#feed.subscribe(item => { try { listener(item) } catch { /* a view that fails harms nobody */ } })
    return () => subscription.unsubscribe()
  }

  async close(): Promise<void> {
    this.#closing = true
    this.#ending.abort()
    await this.#measuring
    if (this.#current) { await this.stop('the daemon is closing'); await this.#current?.ended }
    await this.#d.keeper.close()
    for (const session of this.#d.composed.sessions.values()) await session.close()
    await this.store.close()
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
    const ends =
      state === 'tripped' || state === 'stopped' ? night.supervisor.latched?.text ?? `run ${state}` : null
    const charged = unproved(night.positions, night.bench.limits.touchSafeV)
    if (ends ?? charged) this.#latch([ends, charged].filter(text => text !== null).join('; '))
    const ended: RunRecord = { ...record, state, endedWallMs: this.#d.clock.wallMs() }
    this.#finished.set(record.id, ended)
    this.#current = null
    for (const { result } of night.positions) if (result) {
      this.#feed.next({ type: 'result', runId: record.id, result })
    }
    this.#feed.next({ type: 'status', status: this.status() })
    return ended
  }

  async #checkIdentities(): Promise<void> {
    const { bench, composed } = this.#d
    const checks = Object.keys(bench.file.instruments).map(name => checkIdentity(bench, composed, name))
    const wrong = (await Promise.all(checks)).find(({ matches }) => !matches)
    if (wrong) {
      throw new BenchError('IDENTITY', wrong.problem ?? 'a different instrument answers', {
        instrument: wrong.name, expected: bench.file.instruments[wrong.name]!.identity,
        got: wrong.identity ?? 'no answer',
      })
    }
  }

  #runId(sequence: string): string {
    const stamp =
      new Date(this.#d.clock.wallMs()).toISOString().slice(0, 19).replace(/[-:]/g, '').replace('T', '-')
    const id = `${stamp}-${sequence}`
    return this.#finished.has(id) ? `${id}-${this.#finished.size}` : id
  }

  async #refuseOtherTarget(runId: string, { targetV }: Plan): Promise<void> {
    const then = ((await this.store.run(runId))!.setup['plan'] as Plan).targetV
    if (targetV === then) return
    throw new BenchError('REFUSED', `the plan of run ${runId} had another target`,
      { expected: `${then} V`, got: `${targetV} V` })
  }

  #setup(request: StartRequest, plan: Plan, continues?: string): Record<string, unknown> {
    const { bench, profiles, sequences } = this.#d
    const instruments = Object.entries(bench.file.instruments).map(([name, { identity, url, profile }]) =>
      ({ name, role: rolesOf(bench, name), identity, url, profile, hash: bench.profiles.get(name)!.hash }))
    const parts = [...new Set(request.parts.map(({ profile }) => profile))].map(name =>
      ({ name, hash: profiles.part(name).hash, profile: profiles.part(name).profile }))
    const sequence = {
      name: request.sequence, origin: sequences.find(({ name }) => name === request.sequence)?.origin ?? null,
    }
    return {
      request, plan, sequence, instruments, parts, fixture: bench.file.fixture, limits: bench.file.limits,
      cadence: bench.file.cadence, beatLimitMs, ...continues !== undefined && { continues },
    }
  }

  /** The new keeper starts safe and stays so until a person acknowledges, also when no run was going on. */
  #keeperGone(why: string): void {
    const text = `the keeper is gone: ${why}`
    if (this.#current) this.#hostFault('keeper.gone', text)
    else if (!this.#latched) this.#latch(text)
  }

  #latch(text: string): void { this.#latched = { text, wallMs: this.#d.clock.wallMs() } }

  #hostFault(id: string, text: string): void { this.#current?.handles.night.fault(id, text) }
}

function refuseUnless(request: StartRequest, plan: Plan): void {
  if (plan.refusals.length > 0) {
    const lines = plan.refusals.map(({ what, have, need, wayOut, position }) =>
      `\n  ${position ? `${position}: ` : ''}${what}: ${have}, needs ${need} (${wayOut})`)
    throw new BenchError('REFUSED', `the plan is refused${lines.join('')}`)
  }
  const hazardous = plan.use !== 'touch-safe' && plan.targetV > 0
  if (hazardous && !request.cautionsConfirmed) {
    throw new BenchError('REFUSED', 'the cautions are not confirmed', {
      expected: 'a person who has read them', got: 'no confirmation',
    })
  }
  if (hazardous && !request.polarityConfirmed) {
    throw new BenchError('REFUSED', 'polarity is not confirmed by eye', {
      expected: 'every part looked at', got: 'no confirmation',
    })
  }
}
