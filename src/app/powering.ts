/** A whole unit on the stand of this bench: one run at a time, on record, with its hold points. */
import { BenchError } from '../base/errors.ts'
import type { HoldPoints } from '../powering/hold-points.ts'
import { makePower } from '../powering/make.ts'
import { runPower, type PowerHandles } from '../powering/runner.ts'
import { refuseUnlessClosed, refuseWithoutPresence } from '../engine/at-bench.ts'
import type { BenchStatus, FeedItem } from '../schema/application.ts'
import type { PoweringPlan, PoweringPort, PoweringRequest, PoweringStatus } from '../schema/powering.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'
import { freeRunId } from './begin-run.ts'
import { calibratedOf } from './calibration.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { rolesOf } from './files.ts'
import { checkIdentities } from './identity.ts'
import { createMarked } from './marked-run.ts'
import { beatLimitMs, guardOf } from './night-maker.ts'
import { watchPresence, type PresenceWatch } from './presence.ts'
import { startPulse } from './pulse.ts'
import type { Ending } from './unended.ts'
import { undeadWords } from './unit-left.ts'
import { prepareUnit, type PreparedUnit } from './unit-prepare.ts'

export interface PoweringHooks {
  /** Throws while something else goes on, or is latched. */
  refuseUnlessIdle(): void
  /** Nothing starts before a person has acknowledged this. */
  latch(text: string): void
  publish(item: FeedItem): void
  /** Keeps an end that the record did not take; whether it had to. */
  unended(ending: Ending): Promise<boolean>
  /** It ended: what may be touched is to be looked up anew. */
  ended(): Promise<void>
  show(): void
}

interface Current {
  readonly record: RunRecord
  readonly handles: PowerHandles & { readonly holds: HoldPoints }
  readonly presence: PresenceWatch | null
  readonly ended: Promise<RunRecord>
}

export class Powering implements PoweringPort {
  readonly #d: DaemonDeps
  readonly #hooks: PoweringHooks
  #current: Current | null = null
  #beginning = false
  /** What came while a run was beginning, and must not be lost. */
  #halted: BenchError | null = null
  #isOpenUnread = false

  constructor(deps: DaemonDeps, hooks: PoweringHooks) {
    this.#d = deps
    this.#hooks = hooks
  }

  get goesOn(): boolean { return this.#current !== null || this.#beginning }
  get run(): RunRecord | null { return this.#current?.record ?? null }
  get presence(): PresenceWatch | null { return this.#current?.presence ?? null }

  /**
   * REFUSED while the contactor reads closed: nobody has made that safe yet. One that cannot be read is for
   * the person to judge.
   */
  async refuseWhileClosed(): Promise<void> {
    const contactor = this.#d.composed.roles['mains-switch']
    const way = await contactor?.closedWay().catch(() => null) ?? null
    if (way === null) return
    throw new BenchError('REFUSED', 'the mains contactor reads closed: pull the plug of the unit, mend it', {
      instrument: contactor!.name, expected: 'open', got: way,
    })
  }

  /** A person has acknowledged what was told of the last run. */
  forget(): void { this.#isOpenUnread = false }

  /** Off without a run; unknown where a safe-off was not read back, also after one. */
  get energy(): BenchStatus['energy'] {
    const state = this.#current?.handles.power.state
    if (!state) return this.#isOpenUnread ? 'unknown' : 'off'
    if (state.live) return 'live'
    if (state.ending && state.offRead !== true) return 'unknown'
    return state.isDead ? 'off' : 'bleeding'
  }

  async plan(request: PoweringRequest): Promise<PoweringPlan> {
    return (await prepareUnit(this.#d, request)).plan
  }

  async begin(request: PoweringRequest): Promise<RunRecord> {
    this.#hooks.refuseUnlessIdle()
    this.#beginning = true
    this.#halted = null
    try {
      return await this.#begin(request)
    } finally {
      this.#beginning = false
    }
  }

  status(): PoweringStatus | null { return this.#current && statusOf(this.#d, this.#current) }

  async goOn(id: string, person: string): Promise<void> {
    const current = this.#current
    if (!current) throw new BenchError('REFUSED', 'no run of a unit is going on')
    const { interlock } = this.#d.composed.roles
    const { point } = current.handles.holds
    await (point?.coverOpen ? refuseWithoutPresence : refuseUnlessClosed)(interlock)
    current.handles.holds.answer(id, person)
    current.presence?.confirm(person)
  }

  /** Ends it as stopped; energy is the keeper's business, and off or about to be. */
  halt(error: BenchError): void {
    if (this.#current) halted(this.#current, error)
    else if (this.#beginning) this.#halted ??= error
  }

  /** What ends it as tripped: the bench was made safe by somebody else, or its keeper is gone. */
  hostFault(id: string, text: string): void {
    const { power } = this.#current?.handles ?? {}
    if (power && !power.signal.aborted && !power.state.ending) power.fault(id, text)
    else if (!power) this.halt(new BenchError('TRIPPED', text))
  }

  async ended(): Promise<RunRecord | null> { return (await this.#current?.ended) ?? null }

  async #begin(given: PoweringRequest): Promise<RunRecord> {
    const prepared = await prepareUnit(this.#d, given)
    const { request } = prepared
    refuseUnlessSound(prepared.plan, request)
    for (const session of this.#d.composed.sessions.values()) await session.connect()
    const { clock, store, bench, software } = this.#d
    const record: RunRecord = {
      id: await freeRunId(store, clock.wallMs(), request.sequence), sequence: request.sequence,
      bench: bench.file.bench, state: 'running', startedWallMs: clock.wallMs(), endedWallMs: null,
      person: request.person, use: request.use, software, setup: setupOf(this.#d, prepared),
    }
    await createMarked(this.#d, record, prepared.places.all)
    if (request.continues !== undefined) await this.#noteContinued(request.continues, record)
    const handles = this.#handles(record.id, prepared)
    const { power } = handles
    const presence = request.use === 'attended'
      ? watchPresence(power, 1000 * bench.file.limits.presenceS) : null
    // It begins in the next turn: whoever asked has it by then.
    const ended = Promise.resolve().then(() => this.#run(this.#current!, prepared))
    this.#current = { record, handles, presence, ended }
    if (this.#halted) halted(this.#current, this.#halted)
    return record
  }

  async #noteContinued(runId: string, { id, person }: RunRecord): Promise<void> {
    const { store, clock } = this.#d
    await store.appendEvent(runId, {
      kind: 'continued', severity: 'info', text: `${person} continued this run as ${id}`,
      data: { run: id, person }, atMs: clock.monotonicMs(), wallMs: clock.wallMs(),
    })
  }

  #handles(runId: string, prepared: PreparedUnit): Current['handles'] {
    const { clock, livenessClock, store, bench, composed, keeper } = this.#d
    const { request, profile: { profile }, stand, roles, places, plan: { expectedS } } = prepared
    return makePower({
      runId, clock, livenessClock, store, request, profile, stand, roles, places, expectedS,
      touchSafeV: bench.file.limits.touchSafeV, guard: guardOf(keeper, composed),
      publish: item => this.#hooks.publish(item),
      checkIdentities: () => checkIdentities(bench, composed), waits: () => this.#hooks.show(),
    })
  }

  async #run(
    { record, handles, presence }: Current, { work, parameters }: PreparedUnit,
  ): Promise<RunRecord> {
    const { keeper, livenessClock, clock } = this.#d
    const { power } = handles
    const stopPulse = startPulse({ night: power, keeper, livenessClock })
    const { state, result, isDead } = await runPower(
      handles, (one, sweep) => work.run(one, sweep, parameters))
    stopPulse()
    presence?.stop()
    const ended = { ...record, state, endedWallMs: clock.wallMs() }
    const why = power.supervisor.latched?.text
      ?? (state === 'tripped' || state === 'stopped' ? `run ${state}` : null)
    const undead = isDead ? null : undeadWords(power.request.specimen)
    this.#isOpenUnread = !power.state.openSeen
    const words = [why, undead].filter(text => text !== null).join('; ')
    if (words !== '') this.#hooks.latch(words)
    const results: PartResult[] = result ? [result] : []
    if (await this.#hooks.unended({ run: ended, why, results })) {
      this.#hooks.latch(`the record of run ${record.id} could not be ended`)
    }
    await this.#hooks.ended()
    this.#current = null
    if (result) this.#hooks.publish({ type: 'result', runId: record.id, result })
    this.#hooks.show()
    return ended
  }
}

function halted({ handles: { power, abort } }: Current, error: BenchError): void {
  if (error.code !== 'STOPPED') return power.fault('halted', error.message)
  power.state.live = false
  power.supervisor.fault('stop', error.message, power.clock.monotonicMs())
  const told = { kind: 'stop', severity: 'warning', text: `stopped: ${error.message}` } as const
  void power.recorder.event(told).catch(() => {})
  abort(error)
}

function statusOf({ clock }: DaemonDeps, { record, handles: { power, holds } }: Current): PoweringStatus {
  const { state, places, request } = power
  const nowMs = power.clock.monotonicMs()
  const { ending = null } = state
  const { point } = holds
  return {
    run: record.id, sequence: record.sequence as PoweringStatus['sequence'], unit: request.unit,
    specimen: request.specimen, stage: state.stage,
    hold: point && { id: point.id, text: point.text, mainsOn: point.mainsOn },
    way: state.way?.name ?? null, startedWallMs: record.startedWallMs,
    elapsedS: (clock.wallMs() - record.startedWallMs) / 1000,
    remainingS: ending ? null : Math.max(0, state.endsAtMs - (state.waitsSinceMs ?? nowMs)) / 1000,
    counted: state.counted ?? null,
    quantities: places.all.map(({ name, unit }) => {
      const last = state.last.get(name)
      const isGood = last?.quality === 'good'
      return { name, unit, value: isGood ? last.value : null, u: isGood ? last.u : null }
    }),
    ending: ending && { as: ending.as, why: ending.why, wallMs: clock.wallMs() - (nowMs - ending.atMs) },
  }
}

/** Throws REFUSED where the plan is refused, or nobody has confirmed that its cautions were read. */
function refuseUnlessSound({ refusals }: PoweringPlan, { cautionsConfirmed }: PoweringRequest): void {
  if (refusals.length > 0) {
    const lines = refusals.map(({ what, have, need, wayOut }) =>
      `\n  ${what}: ${have}, needs ${need} (${wayOut})`)
    throw new BenchError('REFUSED', `the plan is refused${lines.join('')}`)
  }
  if (cautionsConfirmed) return
  throw new BenchError('REFUSED', 'the cautions are not confirmed', {
    expected: 'a person who has read them (--cautions-read)', got: 'no confirmation',
  })
}

/** All that the record keeps of unit, stand and instruments as the run began. */
function setupOf(
  { bench }: DaemonDeps, { request, profile: { profile, hash }, stand, plan }: PreparedUnit,
): RunRecord['setup'] {
  const { instruments, limits } = bench.file
  return {
    ...request.continues === undefined ? {} : { continues: request.continues },
    request, plan, stand, limits, beatLimitMs, profile: { name: profile.unit, hash, profile },
    instruments: Object.entries(instruments).map(([name, { identity, url, profile: of }]) => ({
      name, role: rolesOf(bench, name), identity, url, profile: of, hash: bench.profiles.get(name)!.hash,
      calibrated: calibratedOf(bench, name),
    })),
  }
}
