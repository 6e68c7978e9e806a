/**
 * Screening on this bench: one session at a time, as a run of its own on record. The keeper is armed while it
 * lasts, because sources are energy links.
 */
import { BenchError } from '../base/errors.ts'
import { Enclosure } from '../engine/enclosure.ts'
import { BenchJig, type JigDeps } from '../engine/jig.ts'
import { ScannedTray } from '../engine/tray.ts'
import { prepareInstruments } from '../engine/prepare-instruments.ts'
import type { ScreeningPort } from '../schema/application.ts'
import type { Behind } from '../schema/behind.ts'
import type { CalibrationTold } from '../schema/calibration.ts'
import type { Grade, PartResult, RunRecord } from '../schema/run.ts'
import type { SampleDrawn } from '../schema/sampling.ts'
import type { Deed, ScreenRequest, ScreenStatus, ShownScreenPlan } from '../schema/screening.ts'
import { askedItems } from '../screening/asked-items.ts'
import { residualsOf } from '../screening/residuals.ts'
import { planScreening, usualBounds, type ScreenPlan } from '../screening/plan.ts'
import { asidesS } from '../screening/plan-asides.ts'
import { trayExtents } from '../screening/tray-path.ts'
import { behindInSetup, behindOnRecord } from './behind-cover.ts'
import { runIdOf } from './begin-run.ts'
import { calibratedOf, calibrationTold } from './calibration.ts'
import { compensatedIn, planNulls, type NullsPlan } from './compensation.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { checkIdentities } from './identity.ts'
import { lotDecided, sampleOf } from './lots-sampling.ts'
import { createMarked } from './marked-run.ts'
import { beatLimitMs } from './night-maker.ts'
import { cautionsOf, refuseUnlessRead } from './screening-cautions.ts'
import { ScreeningRun } from './screening-run.ts'
import { screenSequence, settledOf, type Settled } from './settled.ts'
import { standardItem } from './standards.ts'
import { prepareTray, shownTray, trayAsideS, type PreparedTray } from './tray-prepare.ts'

export interface ScreeningHooks {
  /** Throws while something else goes on, or is latched. */
  refuseUnlessIdle(): void
  /** A session that ended otherwise than by a person or its end. */
  latch(text: string): void
  publish(item: { type: 'result'; runId: string; result: PartResult }): void
  /** There is something new to see of the session; null once it has ended. */
  show(status: ScreenStatus | null): void
}

interface Prepared {
  readonly plan: ScreenPlan
  /** Of the time that the plan expects, for what compensates the jig and for check standards. */
  readonly asideS: number
  readonly settled: ReadonlyMap<string, Settled>
  readonly sample: SampleDrawn | null
  readonly nulls: NullsPlan
  readonly tray: PreparedTray | null
  readonly calibration: CalibrationTold
}

export class Screening implements ScreeningPort {
  readonly #d: DaemonDeps
  readonly #hooks: ScreeningHooks
  #current: ScreeningRun | null = null
  #beginning = false
  /** What came while a session was beginning, and must not be lost. */
  #halted: BenchError | null = null
  #lastId = ''

  constructor(deps: DaemonDeps, hooks: ScreeningHooks) {
    this.#d = deps
    this.#hooks = hooks
  }

  get goesOn(): boolean { return this.#current !== null || this.#beginning }
  get run(): RunRecord | null { return this.#current?.record ?? null }

  async plan(request: ScreenRequest): Promise<ShownScreenPlan> {
    return shown(await this.#prepare(request), this.#tray(new AbortController().signal))
  }

  async begin(request: ScreenRequest): Promise<RunRecord> {
    this.#hooks.refuseUnlessIdle()
    this.#beginning = true
    this.#halted = null
    try {
      return await this.#begin(request)
    } catch (error) {
      const halted = this.#haltedNow()
      if (halted === null) throw error
      this.#hooks.latch(halted.message)
      throw halted
    } finally {
      this.#beginning = false
    }
  }

  status(): ScreenStatus | null { return this.#current?.status ?? null }

  do(deed: Deed, at?: string): void {
    if (!this.#current) throw new BenchError('REFUSED', 'no screening session is going on')
    const refused = this.#current.do(deed, at)
    if (refused !== null) throw new BenchError('REFUSED', refused)
    this.#hooks.show(this.#current.status)
  }

  /** Ends the session as stopped or tripped; energy is the keeper's business, and off or about to be. */
  halt(error: BenchError): void {
    if (this.#current) this.#current.abort(error)
    else if (this.#beginning) this.#halted ??= error
  }

  async ended(): Promise<RunRecord | null> { return (await this.#current?.ended) ?? null }

  async #begin(request: ScreenRequest): Promise<RunRecord> {
    const { composed, bench, clock, store, keeper } = this.#d
    const prepared = await this.#prepare(request)
    if (!await this.#isLockedIn(prepared)) refuseUnlessAny(prepared)
    refuseUnlessRead(prepared.plan, request)
    const abort = new AbortController()
    const jig = this.#jig(abort.signal, {
      waits: () => this.#current?.turned(), holds: async held => { await this.#current?.holds(held) },
      emptied: async () => { await this.#current?.emptied() },
      touch: words => this.#current?.touch(words), ...this.#enclosure(abort.signal),
    })
    const tray = prepared.tray && this.#tray(abort.signal, {
      waits: () => this.#current?.turned(), holds: async held => { await this.#current?.holds(held) },
      emptied: async () => { await this.#current?.emptied() },
    })
    await checkIdentities(bench, composed)
    await prepareInstruments(composed.roles, [
      'bridge', 'ohm-meter', 'source', 'second-source', 'jig', 'thermometer', 'interlock',
      ...tray ? ['scanner'] : [],
    ])
    const left = (await behindOnRecord(store))?.behind ?? null
    const record = this.#record(request, prepared, left)
    await createMarked(this.#d, record, [])
    try {
      const halted = this.#haltedNow()
      if (halted) throw halted
      await keeper.arm(composed.table, beatLimitMs)
    } catch (error) {
      await store.finishRun(record.id, 'refused', clock.wallMs())
      throw error
    }
    const { latch, publish, show } = this.#hooks
    const current = new ScreeningRun({
      deps: this.#d, record, request, plan: prepared.plan, nulls: prepared.nulls,
      settled: prepared.settled.size, jig, behind: left, abort, latch, publish,
      onTray: tray && prepared.tray ? { tray, prepared: prepared.tray } : null,
      changed: () => show(current.status), conclude: grades => concluded(prepared, grades),
    })
    this.#current = current
    const halted = this.#haltedNow()
    if (halted) current.abort(halted)
    void current.ended.then(() => { this.#current = null; show(null) })
    return record
  }

  /** What the last session of this list left behind the cover is let out by one that asks for no more. */
  async #isLockedIn({ settled }: Prepared): Promise<boolean> {
    const { bench: { file: { jig } }, composed: { roles: { interlock } } } = this.#d
    if (!jig?.cover || !interlock || settled.size === 0) return false
    return await interlock.read().then(({ coverClosed }) => coverClosed, () => false)
  }

  #haltedNow(): BenchError | null { return this.#halted }

  #record(request: ScreenRequest, prepared: Prepared, left: Behind | null): RunRecord {
    const { bench: { file }, clock, software } = this.#d
    const startedWallMs = clock.wallMs()
    this.#lastId = runIdOf(startedWallMs, screenSequence, id => id === this.#lastId)
    const { isMade } = prepared.nulls
    const compensated = isMade ? { run: this.#lastId, wallMs: startedWallMs } : compensatedIn(prepared.nulls)
    const asked = prepared.plan.groups.reduce((sum, { items }) => sum + items.length, 0)
    return {
      id: this.#lastId, sequence: screenSequence, bench: file.bench, state: 'running',
      startedWallMs, endedWallMs: null, person: request.person, use: 'touch-safe', software,
      setup: {
        request, plan: shown(prepared, this.#tray(new AbortController().signal)),
        ...prepared.sample ? { sample: prepared.sample } : {},
        ...left ? { [behindInSetup]: left } : {},
        asked: asked + prepared.plan.cannot.length, jig: file.jig, compensated,
        limits: file.limits,
        instruments: Object.entries(file.instruments).map(([name, { identity, url, profile }]) =>
          ({
            name, identity, url, profile, hash: this.#d.bench.profiles.get(name)!.hash,
            calibrated: calibratedOf(this.#d.bench, name),
          })),
      },
    }
  }

  async #prepare(request: ScreenRequest): Promise<Prepared> {
    const { items, cannot } = askedItems(request)
    refuseTwice([...items.map(({ id }) => id), ...cannot.map(({ id }) => id),
      ...request.standards.map(({ id }) => id)])
    const { store, clock, bench: { file } } = this.#d
    const { reach } = this.#jig(new AbortController().signal)
    const sample = await sampleOf(store, request, items.map(({ id }) => id))
    const drawn = sample && new Set(sample.drawn)
    const meant = drawn ? items.filter(({ id }) => drawn.has(id)) : items
    const settled = await settledOf(store, request, meant)
    const open = meant.filter(({ id }) => !settled.has(id))
    const bounds = { ...usualBounds, ...file.limits }
    const scanned = request.byHand || request.study ? null : this.#tray(new AbortController().signal)
    const nowWallMs = clock.wallMs()
    const tray = scanned && await prepareTray({
      tray: scanned, file, store, request, meant, settled: new Set(settled.keys()), bounds, nowWallMs,
    })
    const plan = planScreening(open.filter(({ id }) => !tray?.ids.has(id)), reach, bounds)
    const nulls = await planNulls(store, file, reach, request.compensate, nowWallMs)
    const { standards, standardsEvery } = request
    const asideS = asidesS(
      plan, { zeros: nulls.zeros, standards: standards.map(standardItem), standardsEvery }, reach, bounds)
      + (tray && scanned ? trayAsideS(tray, scanned) : 0)
    return {
      plan: { ...withTray(plan, tray, asideS), cannot: [...cannot, ...plan.cannot] },
      asideS, settled, sample, nulls, tray,
      calibration: calibrationTold(this.#d.bench, clock.wallMs()),
    }
  }

  /** No jig gets more than touch-safe but behind its locked cover. */
  #jig(
    signal: AbortSignal, heard: Pick<JigDeps, 'waits' | 'holds' | 'emptied' | 'touch' | 'enclosure'> = {},
  ): BenchJig {
    const { bench: { file: { jig: spec, limits: { touchSafeV } } }, composed: { roles }, clock } = this.#d
    if (spec) {
      return new BenchJig({ roles, spec, clock, signal, touchSafeV, residuals: residualsOf(null), ...heard })
    }
    throw new BenchError('REFUSED', 'this bench has no jig', {
      expected: '`jig` in the bench file', got: 'none',
    })
  }

  /** Null where the jig has none. */
  #tray(signal: AbortSignal, heard: Pick<JigDeps, 'waits' | 'holds' | 'emptied'> = {}): ScannedTray | null {
    const { bench: { file: { jig: spec, limits: { touchSafeV } } }, composed: { roles }, clock } = this.#d
    const path = roles.scanner?.path
    if (!spec?.tray || !path) return null
    return new ScannedTray({
      roles, spec: { ...spec, tray: spec.tray }, clock, signal, touchSafeV,
      residuals: residualsOf(null, trayExtents(path)), ...heard,
    })
  }

  /** None where the jig has no cover: then nothing goes above touch-safe. */
  #enclosure(signal: AbortSignal): Pick<JigDeps, 'enclosure'> {
    const { bench: { file: { jig, limits } }, composed: { roles }, clock } = this.#d
    const { interlock, jig: board } = roles
    if (!jig?.cover || !interlock || !board) return {}
    return {
      enclosure: new Enclosure({
        clock, signal, interlock, board, spec: jig.cover, presenceMs: 1000 * limits.presenceS,
        waits: () => this.#current?.turned(), trip: why => this.#trip(why),
      }),
    }
  }

  /** Off first; then the session hears of it. */
  #trip(why: string): void {
    void this.#d.keeper.safeOff(why).catch(() => { /* told by the session, which asks for it too */ })
    this.halt(new BenchError('TRIPPED', why))
  }
}

/** What the grades of a sample say of its lot; nothing to say of a whole list. */
function concluded(
  { sample, settled }: Prepared, found: ReadonlyMap<string, Grade>,
): ReturnType<typeof lotDecided> | null {
  const earlier = [...settled.values()].map(({ id, grade }) => [id, grade] as const)
  return sample && lotDecided(sample, new Map([...earlier, ...found]))
}

/** Groups of the tray come first: hands are free meanwhile. */
function withTray(plan: ScreenPlan, tray: PreparedTray | null, asideS: number): ScreenPlan {
  const groups = [...tray?.groups ?? [], ...plan.groups]
  return {
    ...plan, groups, expectedS: plan.expectedS + (tray?.times.expectedS ?? 0) + asideS,
    mostV: Math.max(0, ...groups.map(({ setUp }) => setUp.mostV)),
    mostA: Math.max(0, ...groups.map(({ setUp }) => setUp.mostA)),
    mostJ: Math.max(0, ...groups.map(({ mostJ }) => mostJ)),
  }
}

function shown(
  { plan, settled, asideS, sample, nulls, calibration, tray }: Prepared, scanned: ScannedTray | null,
): ShownScreenPlan {
  const { groups, cannot, ...rest } = plan
  const cautions = cautionsOf(plan)
  return {
    ...rest, asideS, ...cautions.length > 0 ? { cautions } : {}, ...sample ? { sample } : {},
    cannot: [...cannot], settled: [...settled.values()],
    compensated: compensatedIn(nulls), zeros: [...nulls.zeros], calibration,
    ...tray && scanned ? { tray: shownTray(tray, scanned) } : {},
    groups: groups.map(({ setUp: { isCovered, ...setUp }, items, expectedS, mostJ, onTray }) => ({
      ...setUp, parts: items.map(({ id }) => id), expectedS, mostJ,
      ...isCovered ? { covered: true as const } : {}, ...onTray ? { onTray } : {},
    })),
  }
}

function refuseUnlessAny({ plan, settled }: Prepared): void {
  if (plan.groups.length > 0) return
  throw new BenchError('REFUSED', settled.size === 0
    ? 'no part of this list can be proven on this bench'
    : `every part that can be proven has its result; ask for those not accepted, or for all, again`)
}

/** One name, one part: results are kept under it. */
function refuseTwice(ids: readonly string[]): void {
  const seen = new Set<string>()
  for (const id of ids) {
    if (seen.has(id)) throw new BenchError('USAGE', 'a part', { expected: 'each named once', got: id })
    seen.add(id)
  }
}
