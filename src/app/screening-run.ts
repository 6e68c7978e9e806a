/**
 * One screening session as a run on record. The keeper beats only while the session takes its steps; each
 * result is durable before it is told.
 */
import { asBenchError } from '../base/errors.ts'
import {
  chargedEvent, emptiedEvent, unmeasuredMark, unmeasuredWords, type Behind, type Held,
} from '../schema/behind.ts'
import type { PartResult, RunRecord, RunState } from '../schema/run.ts'
import type { CheckStandard, Deed, ScreenStatus, Tone } from '../schema/screening.ts'
import { partName } from '../schema/unit.ts'
import { contactFor, lookAt, prove } from '../screening/at-jig.ts'
import { judge, type Item, type Verdict } from '../screening/grade.ts'
import type { Look } from '../screening/contact.ts'
import type { Guide } from '../screening/methods/guide.ts'
import { lookAtZero, zeroContact } from '../screening/nulls.ts'
import { LedSession, type SessionPorts } from '../screening/lead-session.ts'
import type { Proof } from '../screening/proof.ts'
import { beginSession, type Asked } from '../screening/session.ts'
import { isBleeding } from './behind-cover.ts'
import { Compensation } from './compensation.ts'
import { beatLimitMs } from './night-maker.ts'
import { maybeCharged, maybeChargedBehind } from './charged-words.ts'
import type { Noted, ScreeningRunInput } from './screening-input.ts'
import { checkReading, standardItem, type StandardReading } from './standards.ts'
import { TrayRun } from './tray-run.ts'

const beatEveryMs = beatLimitMs / 4
/** A step of the session that has not ended by then counts as hung: the keeper is not fed any more. */
const hungMs = 120_000
const lookEveryMs = 100

export class ScreeningRun {
  readonly record: RunRecord
  /** Resolves when it is on record how it ended. Never rejects. */
  readonly ended: Promise<RunRecord>
  readonly #in: ScreeningRunInput
  readonly #items: readonly Item[]
  readonly #byId: ReadonlyMap<string, Item>
  readonly #leadsOf: ReadonlyMap<string, string>
  readonly #session: LedSession
  readonly #tray: TrayRun | null
  readonly #grades = new Map<string, PartResult['grade']>()
  readonly #counts: ScreenStatus['counts'] = { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }
  #told: ScreenStatus['told'] = null
  #touch: string | null = null
  /** A person skips the part whose press is waited for, or waits for the cover to be opened no more. */
  #skips = false
  #letsOut = false
  #turnedMs: number

  constructor(input: ScreeningRunInput) {
    this.#in = input
    this.record = input.record
    const { plan, request, deps } = input
    this.#items = plan.groups.flatMap(({ items }) => items)
    const all = [...this.#items, ...request.standards.map(standardItem)]
    this.#byId = new Map(all.map(item => [item.id, item]))
    this.#leadsOf = new Map(plan.groups.flatMap(({ items, setUp }) =>
      items.map(({ id }) => [id, setUp.leads] as const)))
    this.#turnedMs = deps.livenessClock.monotonicMs()
    this.#session = new LedSession(this.#begun(), this.#ports(), input.abort.signal)
    this.#tray = input.onTray && this.#trayRun(input.onTray)
    const stopBeat = this.#beat()
    // Begun in the next turn: whoever made it has it when it first tells something.
    this.ended = Promise.resolve().then(() => this.#run()).finally(stopBeat)
  }

  get status(): ScreenStatus {
    const tray = this.#atTray
    if (tray) {
      return {
        run: this.record.id, told: this.#told, counts: { ...this.#counts }, settled: this.#in.settled,
        left: this.#items.length - this.#grades.size, ...tray.status,
      }
    }
    const { mode, paused } = this.#session.state
    const asked = 'asked' in mode ? mode.asked.id : null
    return {
      run: this.record.id, asked, told: this.#told, counts: { ...this.#counts }, settled: this.#in.settled,
      left: this.#items.length - this.#grades.size,
      stands: mode.is === 'asked' ? mode.phase : mode.is, paused,
      leads: asked === null ? '' : this.#leadsOf.get(asked) ?? '',
      ...this.#touch === null ? {} : { touch: this.#touch },
    }
  }

  /** The reason where it cannot be done now. */
  do(deed: Deed, at?: string): string | null {
    const tray = this.#atTray
    if (tray) return this.#doAtTray(tray, deed, at)
    if (at !== undefined) return 'no tray is in hand'
    const isGivenUp = this.#letsOut ? deed === 'end' : deed === 'skip' && this.#in.jig.waitsForPress
    if (!isGivenUp) return this.#session.do(deed)
    this.#skips = true
    return null
  }

  get #atTray(): TrayRun | null { return this.#tray?.isThrough === false ? this.#tray : null }

  /** What is ended while parts lie on the tray is ended as a whole. */
  #doAtTray(tray: TrayRun, deed: Deed, at?: string): string | null {
    const refused = tray.do(deed, at)
    if (refused === null && deed === 'end') this.#session.do('end')
    return refused
  }

  #trayRun({ tray, prepared }: NonNullable<ScreeningRunInput['onTray']>): TrayRun {
    const { deps: { clock }, request, abort } = this.#in
    // With what has its result: it may lie there yet.
    const laid = new Map(prepared.layings.flatMap(({ slots }) => slots.map(({ item }) => [item.id, item])))
    return new TrayRun({
      prepared, tray, clock, signal: abort.signal, standards: request.standards,
      item: id => laid.get(id)!, judged: (item, proof) => this.#judged(item, proof),
      turned: () => this.turned(), keep: (verdict, opinion) => this.#keep(verdict, opinion),
      withdraw: id => this.#void(id, 'taken back by a person'),
      flag: async (ids, why) => { for (const id of ids) await this.#void(id, why) },
      notedStandard: async (standard, read) => { await this.#noted(standard, read) },
      tell: (tone, text, about) => this.#tell(tone, text, about), note: event => this.#note(event),
    })
  }

  abort(error: unknown): void { this.#in.abort.abort(error) }

  /** On record before the part is charged: whatever ends this process, the next one knows. */
  async holds(held: Held): Promise<void> {
    const { volts } = held
    await this.#note({
      kind: chargedEvent, severity: 'info', text: this.#chargedWords(volts),
      data: this.#isCovered(volts) ? { behindCover: true, part: this.#inHand, ...held } : { volts },
    })
  }

  async emptied(): Promise<void> {
    await this.#note({ kind: emptiedEvent, severity: 'info', text: 'what lies in the jig is empty' })
  }

  /** What there is to say of touching what lies behind the cover: shown with what is told next. */
  touch(words: string): void { this.#touch = words }

  /** It goes on as it should: the keeper is fed. */
  turned(): void { this.#turnedMs = this.#in.deps.livenessClock.monotonicMs() }

  #begun(): ReturnType<typeof beginSession> {
    const { request, jig } = this.#in
    const asked = (what: Asked['what']) => ({ id, part }: Item): Asked =>
      ({ what, id, contact: contactFor(part, jig) })
    return beginSession({
      parts: this.#in.plan.groups.filter(({ onTray }) => !onTray).flatMap(({ items }) => items)
        .map(asked('part')),
      standards: request.standards.map(({ id }) => asked('standard')(this.#byId.get(id)!)),
      standardsEvery: request.standardsEvery,
      zeros: this.#in.nulls.zeros.map(what => ({ what, id: what, contact: zeroContact(what, jig.reach) })),
    })
  }

  #ports(): SessionPorts {
    const { deps: { clock }, jig, request } = this.#in
    const item = ({ id }: Asked): Item => this.#byId.get(id)!
    const compensation = this.#compensation()
    const guide = ({ id }: Asked): Guide =>
      ({
        say: text => this.#tell('ask', text, id), goesOn: () => this.turned(),
        isOver: () => this.#skips || this.#session.state.ending,
      })
    return {
      clock, lookEveryMs,
      turned: () => this.turned(),
      look: asked => this.#bled(() => asked.what === 'part' || asked.what === 'standard'
        ? lookAt(jig, item(asked).part, clock) : lookAtZero(jig, clock)),
      prove: async (asked, told) => {
        const proof = await prove(jig, item(asked), told, guide(asked)).finally(() => this.#skipIfAsked())
        return this.#judged(item(asked), proof)
      },
      checkStandard: async asked => {
        const standard = request.standards.find(({ id }) => id === asked.id)!
        return await this.#noted(standard, checkReading(standard, await prove(jig, item(asked))))
      },
      zero: what => compensation.zero(what),
      keep: (verdict, opinion) => this.#keep(verdict, opinion),
      withdraw: id => this.#void(id, 'taken back by a person'),
      flag: async (ids, standard) => {
        for (const id of ids) await this.#void(id, `${standard} was out of control after it`)
      },
      tell: (tone, text, about) => this.#tell(tone, text, about),
    }
  }

  /**
   * On a covered jig the bleeder is off only during a look; of what was measured, and may have been under
   * volts, half of the time at most: absorption brings charge back for hours.
   */
  async #bled(look: () => Promise<Look>): Promise<Look> {
    const { jig, deps: { clock } } = this.#in
    const { stands } = this.status
    const fromMs = clock.monotonicMs()
    const seen = await look()
    await jig.bleed(stands === 'leaving' || stands === 'in doubt' ? clock.monotonicMs() - fromMs : 0)
    return seen
  }

  /** Once the session has heard that the part was not measured. */
  #skipIfAsked(): void {
    if (this.#skips) this.#in.deps.clock.after(0, () => { this.#session.do('skip') })
    this.#skips = false
  }

  #compensation(): Compensation {
    const { nulls: plan, jig, deps: { clock } } = this.#in
    return new Compensation({
      plan, jig, run: this.record.id, parts: this.#items.map(({ part }) => part),
      wallMs: () => clock.wallMs(), note: event => this.#note(event), turned: () => this.turned(),
    })
  }

  /** Every reading of a standard is an event on record: its course over sessions is drawn from these. */
  async #noted(
    { id, quantity, value, u }: CheckStandard, { inControl, says, read }: StandardReading,
  ): Promise<{ inControl: boolean; says: string }> {
    await this.#note({
      kind: 'standard', severity: inControl ? 'info' : 'warning', text: says, data: {
        standard: id, inControl, quantity, certified: value, certifiedU: u,
        value: read?.value ?? null, u: read?.u ?? null,
      },
    })
    return { inControl, says }
  }

  /** A strange one is looked for among the parts that have no result yet. */
  #judged(item: Item, proof: Proof): Verdict {
    const verdict = judge(item, proof, [])
    if (!verdict.strange) return verdict
    return judge(item, proof, this.#items.filter(({ id }) => id !== item.id && !this.#grades.has(id)))
  }

  #beat(): () => void {
    const { jig, deps: { keeper, livenessClock } } = this.#in
    const beat = (): void => {
      keeper.beat(livenessClock.monotonicMs() - this.#turnedMs < hungMs && jig.isCoverSeen)
      cancel = livenessClock.after(beatEveryMs, beat)
    }
    let cancel = livenessClock.after(0, beat)
    return () => cancel()
  }

  #tell(tone: Tone, text: string, about: string): void {
    this.#told = { tone, text, about }
    this.#in.changed()
  }

  async #note(event: Noted): Promise<void> {
    const { store, clock } = this.#in.deps
    await store.appendEvent(
      this.record.id, { ...event, atMs: clock.monotonicMs(), wallMs: clock.wallMs() })
  }

  async #keep(verdict: Verdict, opinion: 'first' | 'second'): Promise<void> {
    const { id, grade, disposition, pConform, criteria, figures, notes } = verdict
    const reason = [verdict.reason, ...notes, ...opinion === 'second' ? ['second opinion'] : []].join('; ')
    await this.#save({ ...this.#named(id), grade, disposition, pConform, reason, criteria, figures })
  }

  /** A result that does not stand any more: what replaces it says so, and the record keeps both. */
  async #void(id: string, why: string): Promise<void> {
    await this.#save({
      ...this.#named(id), grade: 'cannot tell', disposition: 'retest', pConform: NaN, reason: why,
      criteria: [], figures: {},
    })
    this.#grade(id, null)
  }

  #named(id: string): Pick<PartResult, 'position' | 'part' | 'profile' | 'provisional'> {
    const part = partName(this.#in.request.unit, id)
    return { position: id, part, profile: 'parts list', provisional: false }
  }

  async #save(result: PartResult): Promise<void> {
    const { deps, publish } = this.#in
    await deps.store.saveResult(this.record.id, result)
    this.#grade(result.position, result.grade)
    publish({ type: 'result', runId: this.record.id, result })
  }

  #grade(id: string, grade: PartResult['grade'] | null): void {
    const before = this.#grades.get(id)
    if (before !== undefined) this.#counts[before]--
    if (grade === null) this.#grades.delete(id)
    else {
      this.#counts[grade]++
      this.#grades.set(id, grade)
    }
  }

  async #run(): Promise<RunRecord> {
    const { jig, latch, deps: { store, clock, keeper } } = this.#in
    let state: RunState = 'done'
    try {
      await jig.open(this.#in.behind)
      await this.#tray?.run()
      await this.#session.run()
      await this.#letOut()
      await jig.close()
      await keeper.disarm()
      const said = this.#in.conclude(this.#grades)
      if (said) await this.#note(said)
    } catch (error) {
      state = await this.#cutShort(error)
    }
    const endedWallMs = clock.wallMs()
    await store.finishRun(this.record.id, state, endedWallMs).catch((error: unknown) =>
      latch(`the record of ${this.record.id} could not be ended: ${asBenchError(error).message}`))
    return { ...this.record, state, endedWallMs }
  }

  /** What lies behind a cover that is about to be locked again is taken out first. */
  async #letOut(): Promise<void> {
    const ask = 'open the cover, take out what lies there, and short its ends'
    this.#letsOut = true
    const isOut = await this.#in.jig.letOut(() => this.#tell('ask', ask, ''), () => this.#skips)
    this.#letsOut = false
    if (isOut) return
    const text = 'nobody opened the cover: it is locked again over what lies there'
      + `${this.#touch === null ? '' : ` (${this.#touch})`}; the next session frees it`
    this.#tell('attention', text, '')
    await this.#note({ kind: 'locked-in', severity: 'warning', text })
  }

  /** Energy is off, or the keeper's business, when this resolves; nothing starts before a person says so. */
  async #cutShort(error: unknown): Promise<RunState> {
    const { latch, deps: { keeper, composed } } = this.#in
    const { code, message } = asBenchError(error)
    const stopped = code === 'STOPPED'
    const report = await keeper.safeOff(`screening ended: ${message}`).catch(() => null)
    // Where the keeper was first, what the session saw is only what came of it.
    const first = stopped || report === null || report.reason.includes(message) ? '' : `${report.reason}; `
    const unmeasured = this.#unmeasured(isBleeding(report, composed.roles))
    const told = [message, ...unmeasured ? [unmeasuredWords(unmeasured)] : this.#maybeCharged()].join('; ')
    latch(first + told)
    const isOnRecord = unmeasured !== null && unmeasured === this.#in.behind
    await this.#note(stopped ? { kind: 'stop', severity: 'warning', text: `stopped: ${told}` } : {
      kind: 'trip', severity: 'trip', text: first + told,
      ...isOnRecord ? { data: { [unmeasuredMark]: true } } : {},
    }).catch(() => { /* told by the state */ })
    return stopped ? 'stopped' : 'tripped'
  }

  /**
   * What is behind the cover, and no waiting makes safe: out of its clips, of an earlier session, or where
   * the bleeder was not seen to come on.
   */
  #unmeasured(isBled: boolean): Behind | null {
    const { jig: { unseen, hasLost }, behind } = this.#in
    if (!unseen) return null
    if (unseen === behind) return behind
    return hasLost || !isBled && this.#isCovered(unseen.volts) ? { part: this.#inHand, ...unseen } : null
  }

  /** What a person must know before they touch what lies in the jig, or lead anything to it. */
  #maybeCharged(): string[] {
    const { jig: { mayHoldV, unseen }, onTray } = this.#in
    const volts = Math.max(mayHoldV, unseen?.volts ?? 0, onTray?.tray.mayHoldV ?? 0)
    return volts === 0 ? [] : [this.#chargedWords(volts)]
  }

  #chargedWords(volts: number): string {
    const laid = this.#atTray?.inHand
    if (laid) return `${laid.id} at ${laid.position}: ${maybeCharged(volts)}`
    return this.#isCovered(volts) ? maybeChargedBehind(this.#inHand, volts) : maybeCharged(volts)
  }

  #isCovered(volts: number): boolean { return volts > this.#in.jig.reach.source!.voltageMaxV }

  get #inHand(): string {
    const { mode } = this.#session.state
    return 'asked' in mode ? mode.asked.id : 'what lies in the jig'
  }
}
