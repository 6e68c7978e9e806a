/**
 * Screening on this bench: one session at a time, as a run of its own on record. The keeper is armed
 * while it lasts, because sources are energy links; it beats only while the jig is looked at. Each result
 * is durable before it is told.
 */
import { BenchError, asBenchError } from '../base/errors.ts'
import { BenchJig } from '../engine/jig.ts'
import { prepareInstruments } from '../engine/prepare-instruments.ts'
import type { JigReach } from '../schema/jig.ts'
import type { PartResult, RunRecord, RunState } from '../schema/run.ts'
import type { ScreenRequest, ScreenStatus, ShownScreenPlan } from '../schema/screening.ts'
import { contactFor, lookAt, prove } from '../screening/at-jig.ts'
import { itemsOf } from '../screening/from-list.ts'
import { judge, type Item, type Verdict } from '../screening/grade.ts'
import { LedSession } from '../screening/lead-session.ts'
import { planScreening, usualBounds, type ScreenPlan } from '../screening/plan.ts'
import { beginSession, type Asked, type Deed, type Tone } from '../screening/session.ts'
import { runIdOf } from './begin-run.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { checkIdentities } from './identity.ts'
import { beatLimitMs } from './night-maker.ts'
import { checkReading, standardItem } from './standards.ts'

const beatEveryMs = beatLimitMs / 4
/** A look or a measurement that has not ended by then counts as hung: the keeper is not fed any more. */
const hungMs = 120_000
const lookEveryMs = 100

interface Current {
  record: RunRecord
  session: LedSession
  abort: (error: unknown) => void
  plan: ScreenPlan
  told: ScreenStatus['told']
  counts: Map<string, PartResult['grade']>
  ended: Promise<RunRecord>
}

export interface ScreeningHooks {
  /** Throws while something else goes on, or is latched. */
  refuseUnlessIdle(): void
  /** A session that ended otherwise than by a person or its end. */
  latch(text: string): void
  publish(item: { type: 'result'; runId: string; result: PartResult }): void
}

export class Screening {
  readonly #d: DaemonDeps
  readonly #hooks: ScreeningHooks
  #current: Current | null = null
  #beginning = false
  #lastId = ''

  constructor(deps: DaemonDeps, hooks: ScreeningHooks) {
    this.#d = deps
    this.#hooks = hooks
  }

  get goesOn(): boolean {
    return this.#current !== null || this.#beginning
  }

  plan(request: ScreenRequest): ShownScreenPlan {
    const { groups, ...rest } = this.#plan(request)
    return {
      ...rest,
      cannot: [...rest.cannot],
      groups: groups.map(({ setUp, items, expectedS }) => ({
        ...setUp,
        parts: items.map(({ id }) => id),
        expectedS,
      })),
    }
  }

  /**
   * Returns once the run is in the store; the session goes on. Rejects REFUSED, TRIPPED, IDENTITY,
   * LINK_OPEN.
   */
  async begin(request: ScreenRequest): Promise<RunRecord> {
    this.#hooks.refuseUnlessIdle()
    this.#beginning = true
    try {
      return await this.#begin(request)
    } finally {
      this.#beginning = false
    }
  }

  async #begin(request: ScreenRequest): Promise<RunRecord> {
    const plan = this.#plan(request)
    if (plan.groups.length === 0) {
      throw new BenchError('REFUSED', 'no part of this list can be proven on this bench')
    }
    const { composed, bench, clock, store, keeper } = this.#d
    const abort = new AbortController()
    const jig = this.#jig(abort.signal)
    await checkIdentities(bench, composed)
    await prepareInstruments(composed.roles, ['bridge', 'ohm-meter', 'source', 'second-source', 'jig'])
    const record: RunRecord = {
      id: runIdOf(clock.wallMs(), 'screen', id => id === this.#lastId),
      sequence: 'screen',
      bench: bench.file.bench,
      state: 'running',
      startedWallMs: clock.wallMs(),
      endedWallMs: null,
      person: request.person,
      use: 'touch-safe',
      software: this.#d.software,
      setup: { request, plan: this.plan(request), jig: bench.file.jig },
    }
    this.#lastId = record.id
    await store.createRun(record, [])
    try {
      await keeper.arm(composed.table, beatLimitMs)
    } catch (error) {
      await store.finishRun(record.id, 'refused', clock.wallMs())
      throw error
    }
    this.#current = this.#session(record, request, plan, jig, abort)
    return record
  }

  status(): ScreenStatus | null {
    const current = this.#current
    if (!current) return null
    const { mode, paused } = current.session.state
    const asked = 'asked' in mode ? mode.asked.id : null
    const counts: ScreenStatus['counts'] = { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }
    for (const grade of current.counts.values()) counts[grade]++
    const all = current.plan.groups.reduce((sum, { items }) => sum + items.length, 0)
    return {
      run: current.record.id,
      asked,
      told: current.told,
      counts,
      left: all - current.counts.size,
      stands: paused ? 'paused' : mode.is === 'asked' ? mode.phase : mode.is,
      leads:
        current.plan.groups.find(({ items }) => items.some(({ id }) => id === asked))?.setUp.leads ?? '',
    }
  }

  /** What a person does. Throws REFUSED where it cannot be done now. */
  do(deed: Deed): void {
    if (!this.#current) throw new BenchError('REFUSED', 'no screening session is going on')
    const refused = this.#current.session.do(deed)
    if (refused !== null) throw new BenchError('REFUSED', refused)
  }

  /**
   * Ends the session as stopped or tripped; energy is the keeper's business and off by then, or about to
   * be.
   */
  halt(error: BenchError): void {
    this.#current?.abort(error)
  }

  async ended(): Promise<RunRecord | null> {
    return (await this.#current?.ended) ?? null
  }

  #plan(request: ScreenRequest): ScreenPlan {
    const { items, cannot } = itemsOf(request.parts)
    const { limits } = this.#d.bench.file
    const plan = planScreening(items, this.#reach(), { ...usualBounds, touchSafeV: limits.touchSafeV })
    return { ...plan, cannot: [...cannot, ...plan.cannot] }
  }

  #reach(): JigReach {
    return this.#jig(new AbortController().signal).reach
  }

  #jig(signal: AbortSignal): BenchJig {
    const { bench, composed, clock } = this.#d
    const spec = bench.file.jig
    if (!spec)
      throw new BenchError('REFUSED', 'this bench has no jig', {
        expected: '`jig` in the bench file',
        got: 'none',
      })
    return new BenchJig({ roles: composed.roles, spec, clock, signal })
  }

  #session(
    record: RunRecord,
    request: ScreenRequest,
    plan: ScreenPlan,
    jig: BenchJig,
    abort: AbortController,
  ): Current {
    const items = plan.groups.flatMap(group => group.items)
    const standards = request.standards.map(standardItem)
    const byId = new Map([...items, ...standards].map(item => [item.id, item]))
    const asked =
      (what: Asked['what']) =>
      ({ id, part }: Item): Asked => ({ what, id, contact: contactFor(part, jig) })
    let busySinceMs = this.#d.livenessClock.monotonicMs()
    const alive = async <T>(work: Promise<T>): Promise<T> => {
      busySinceMs = this.#d.livenessClock.monotonicMs()
      try {
        return await work
      } finally {
        busySinceMs = this.#d.livenessClock.monotonicMs()
      }
    }
    const begun = beginSession({
      parts: items.map(asked('part')),
      standards: standards.map(asked('standard')),
      standardsEvery: request.standardsEvery,
    })
    const session = new LedSession(
      begun,
      {
        clock: this.#d.clock,
        lookEveryMs,
        look: ({ id }) => alive(lookAt(jig, byId.get(id)!.part, this.#d.clock)),
        prove: async ({ id }) => judge(byId.get(id)!, await alive(prove(jig, byId.get(id)!)), items),
        checkStandard: async ({ id }) =>
          checkReading(
            request.standards.find(one => one.id === id)!,
            await alive(prove(jig, byId.get(id)!)),
          ),
        keep: (verdict, opinion) => this.#keep(request, verdict, opinion),
        withdraw: id => this.#void(request, byId.get(id)!, 'taken back by a person'),
        flag: async (ids, standard) => {
          for (const id of ids)
            await this.#void(request, byId.get(id)!, `${standard} was out of control after it`)
        },
        tell: (tone, text) => this.#tell(tone, text),
      },
      abort.signal,
    )
    const stopBeat = this.#beat(() => this.#d.livenessClock.monotonicMs() - busySinceMs < hungMs)
    return {
      record,
      session,
      plan,
      told: null,
      counts: new Map(),
      abort: error => abort.abort(error),
      ended: this.#run(record, session, jig).finally(stopBeat),
    }
  }

  #beat(isAlive: () => boolean): () => void {
    const { keeper, livenessClock } = this.#d
    let cancel = livenessClock.after(0, beat)
    function beat(): void {
      keeper.beat(isAlive())
      cancel = livenessClock.after(beatEveryMs, beat)
    }
    return () => cancel()
  }

  #tell(tone: Tone, text: string): void {
    if (this.#current) this.#current.told = { tone, text }
  }

  async #keep({ unit }: ScreenRequest, verdict: Verdict, opinion: 'first' | 'second'): Promise<void> {
    const { id, grade, disposition, pConform, criteria, figures, notes } = verdict
    const reason = [verdict.reason, ...notes, ...(opinion === 'second' ? ['second opinion'] : [])].join('; ')
    await this.#save({
      position: id,
      part: `${unit}-${id}`,
      profile: 'parts list',
      grade,
      provisional: false,
      disposition,
      pConform,
      reason,
      criteria,
      figures,
    })
  }

  /** A result that does not stand any more: what replaces it says so, and the record keeps both. */
  async #void({ unit }: ScreenRequest, { id }: Item, why: string): Promise<void> {
    await this.#save({
      position: id,
      part: `${unit}-${id}`,
      profile: 'parts list',
      grade: 'cannot tell',
      provisional: false,
      disposition: 'retest',
      pConform: NaN,
      reason: why,
      criteria: [],
      figures: {},
    })
    this.#current!.counts.delete(id)
  }

  async #save(result: PartResult): Promise<void> {
    const { record, counts } = this.#current!
    await this.#d.store.saveResult(record.id, result)
    counts.set(result.position, result.grade)
    this.#hooks.publish({ type: 'result', runId: record.id, result })
  }

  async #run(record: RunRecord, session: LedSession, jig: BenchJig): Promise<RunRecord> {
    const { store, clock, keeper } = this.#d
    let state: RunState = 'done'
    try {
      // Begun in the next turn: what it tells has a session to tell it of then.
      await Promise.resolve()
      await session.run()
      await jig.clear()
      await keeper.disarm()
    } catch (error) {
      const why = asBenchError(error)
      state = why.code === 'STOPPED' ? 'stopped' : 'tripped'
      await keeper.safeOff(`screening ended: ${why.message}`)
      this.#hooks.latch(why.message)
    }
    const ended: RunRecord = { ...record, state, endedWallMs: clock.wallMs() }
    await store
      .finishRun(record.id, state, ended.endedWallMs!)
      .catch((error: unknown) =>
        this.#hooks.latch(`the record of ${record.id} could not be ended: ${asBenchError(error).message}`),
      )
    this.#current = null
    return ended
  }
}
