/** The tray within a screening session: its wiring proven, its positions measured, results on record. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ScannedTray } from '../engine/tray.ts'
import type { NullRow } from '../schema/compensation.ts'
import type { RunEvent } from '../schema/run.ts'
import type { CheckStandard, Deed, ScreenStatus, Tone } from '../schema/screening.ts'
import { prove } from '../screening/at-jig.ts'
import type { Item, Verdict } from '../screening/grade.ts'
import { LedTray, type Zeroed, type ZeroStage } from '../screening/lead-tray.ts'
import type { Guide } from '../screening/methods/guide.ts'
import type { Told } from '../screening/methods/leakage.ts'
import {
  nullFrequencies, nullRows, readOpen, readShort, type OpenRead, type ShortRead,
} from '../screening/nulls.ts'
import type { Proof } from '../screening/proof.ts'
import {
  hasDrifted, mostThroughOhm, readEmptyTray, seenOpen, wiresSeen, wiresWrong,
} from '../screening/tray-checks.ts'
import { restsThere } from '../screening/tray-contact.ts'
import { stageOf, type SeenAt, type SlotState, type TrayState } from '../screening/tray-state.ts'
import { checkReading } from './standards.ts'
import { nullsNoted, opensNoted, trayResiduals, type TrayOpens } from './tray-nulls.ts'
import { trayStages, type PreparedTray } from './tray-prepare.ts'

type Noted = Pick<RunEvent, 'kind' | 'severity' | 'text' | 'data'>

export interface TrayRunDeps {
  readonly prepared: PreparedTray
  readonly tray: ScannedTray
  readonly clock: Clock
  readonly signal: AbortSignal
  readonly standards: readonly CheckStandard[]
  item(id: string): Item
  judged(item: Item, proof: Proof): Verdict
  turned(): void
  keep(verdict: Verdict, opinion: 'first' | 'second', position: string): Promise<void>
  withdraw(id: string): Promise<void>
  flag(ids: readonly string[], why: string): Promise<void>
  notedStandard(standard: CheckStandard, read: ReturnType<typeof checkReading>): Promise<void>
  tell(tone: Tone, text: string, about: string): void
  note(event: Noted): Promise<void>
}

/** A tray that is being cleared is looked at again after so long, ms. */
const lookEveryMs = 1000

export class TrayRun {
  readonly #d: TrayRunDeps
  readonly #led: LedTray
  /** As the tray was last seen empty; all channels open count as open against it. */
  #opens: TrayOpens | null
  readonly #wide = new Map<string, OpenRead>()
  readonly #shorts = new Map<string, ShortRead>()

  constructor(deps: TrayRunDeps) {
    this.#d = deps
    const { prepared, tray, clock, signal } = deps
    this.#opens = prepared.isResumed ? prepared.record.opens : null
    if (prepared.isResumed) this.#compensate(null)
    this.#led = new LedTray(trayStages(prepared, tray), {
      clock, lookEveryMs, turned: () => deps.turned(),
      zero: stage => this.#zero(stage), lookOpen: slots => this.#lookOpen(slots),
      prove: (slot, forced, told) => this.#prove(slot, forced, told),
      checkStandard: slot => this.#standard(slot),
      keep: (verdict, opinion, position) => deps.keep(this.#placed(verdict, position), opinion, position),
      withdraw: id => deps.withdraw(id), flag: (ids, why) => deps.flag(ids, why),
      tell: (tone, text, about) => deps.tell(tone, text, about),
      sumUp: text => deps.note({ kind: 'tray', severity: 'info', text }),
    }, signal)
  }

  get isThrough(): boolean { return this.#led.state.phase === 'done' }

  /** Which part lies where, of the one that is measured. */
  get inHand(): SlotState | null {
    return this.#led.state.slots.find(({ stands }) => stands === 'measuring') ?? null
  }

  do(deed: Deed, at?: string): string | null { return this.#led.do(deed, at) }

  /** All channels are open when it resolves. */
  async run(): Promise<void> {
    await this.#led.run()
    await this.#d.tray.leave()
  }

  get status(): Pick<ScreenStatus, 'asked' | 'leads' | 'stands' | 'paused' | 'tray'> {
    const { state } = this.#led
    const stage = stageOf(state)
    const parts = stage?.is === 'parts' ? stage : null
    return {
      asked: this.inHand?.id ?? null, leads: parts?.leads ?? '', stands: standsOf(state),
      paused: state.paused,
      tray: {
        stage: stage?.is ?? 'empty tray', laying: parts?.laying ?? 0,
        of: this.#d.prepared.layings.length,
        slots: stage?.is === 'wires'
          ? stage.positions.map(position =>
            ({ position, what: 'wire', id: 'wire', stands: 'to lay', says: null }))
          : state.slots.map(({ position, what, id, stands, says }) =>
            ({ position, what, id, stands, says })),
      },
    }
  }

  // ---- the empty tray, and wires ----

  async #zero(stage: ZeroStage): Promise<Zeroed> {
    // What is read must be all that is there.
    for (const position of this.#d.tray.positions) this.#d.tray.compensate(position, null)
    return stage.is === 'empty tray' ? await this.#empty() : await this.#wires(stage.positions)
  }

  async #empty(): Promise<Zeroed> {
    const { tray, note, prepared, turned } = this.#d
    const { is, says, common, closed } = await readEmptyTray(tray, turned)
    if (is !== 'empty') return { is, says }
    const isFirst = this.#opens === null
    this.#opens = { common: common!, closed: Object.fromEntries(closed) }
    if (isFirst && prepared.isMade) {
      const wrong = await this.#readWide()
      if (wrong !== null) return { is: 'laid', says: wrong }
    }
    await note(opensNoted(prepared.of, says, this.#opens))
    const isHalf = prepared.isMade && this.#shorts.size < tray.positions.length
    const moved = isHalf ? [] : this.#compensate(this.#opens)
    return moved.length === 0 ? { is: 'sound', says }
      : { is: 'sound', warns: true, says: `${says}; ${moved.join('; ')}` }
  }

  /** At every frequency that parts are measured at; in words what is wrong. */
  async #readWide(): Promise<string | null> {
    const { tray, turned } = this.#d
    const most = { farad: tray.path.strayF, siemens: 1e-6 }
    for (const position of tray.positions) {
      const read = await readOpen(await tray.close(position), this.#frequenciesHz(), turned, most)
      if ('wrong' in read) return `${position}: ${read.wrong}`
      this.#wide.set(position, read)
    }
    return null
  }

  #frequenciesHz(): number[] {
    const { prepared: { groups }, tray } = this.#d
    return nullFrequencies(groups.flatMap(({ items }) => items.map(({ part }) => part)), tray.reach)
  }

  async #wires(positions: readonly string[]): Promise<Zeroed> {
    const { tray, turned, prepared, note } = this.#d
    const wrong = wiresWrong(positions, await wiresSeen(tray, turned))
    if (wrong !== null) return { is: 'laid', says: wrong }
    const frequenciesHz = this.#frequenciesHz()
    const { path } = tray
    const mostOhm = mostThroughOhm(path) + 2 * Math.PI * Math.max(...frequenciesHz) * path.seriesH
    for (const position of positions.filter(one => !this.#shorts.has(one))) {
      const read = await readShort(await tray.close(position), frequenciesHz, turned, mostOhm)
      if ('wrong' in read) return { is: 'laid', says: `${position}: ${read.wrong}` }
      this.#shorts.set(position, read)
    }
    if (this.#shorts.size < tray.positions.length) {
      return { is: 'sound', says: `wires at ${positions.join(' ')} and nowhere else` }
    }
    await note(nullsNoted(prepared.of, this.#found()))
    return { is: 'sound', says: 'each channel leads where the bench file says; the tray is compensated' }
  }

  #found(): Record<string, NullRow[]> {
    return Object.fromEntries([...this.#shorts].map(([position, short]) =>
      [position, nullRows(this.#d.prepared.of, this.#wide.get(position) ?? new Map(), short)]))
  }

  /** What each position adds is taken off from now on; in words where it has moved too far for that. */
  #compensate(now: TrayOpens | null): string[] {
    const { tray, prepared: { isMade, isAged, record: { known } }, clock } = this.#d
    const rows = isMade ? this.#found() : known?.rows ?? {}
    const wallMs = isMade ? clock.wallMs() : known?.wallMs ?? 0
    const moved: string[] = []
    for (const position of tray.positions) {
      const [was, is] = [isMade ? undefined : known?.opens?.closed[position], now?.closed[position]]
      const drift = was && is ? hasDrifted(was, is) : null
      if (drift !== null) {
        moved.push(`${position} is ${drift} from what it was when wires lay there: not compensated`)
      }
      const used = drift === null ? rows[position] ?? null : null
      tray.compensate(position, trayResiduals(used, tray.path, { wallMs, isAged: !isMade && isAged }))
    }
    return moved
  }

  // ---- one position ----

  async #lookOpen(slots: readonly SlotState[]): Promise<string | null> {
    if (!this.#opens) throw new BenchError('REFUSED', 'the tray was not seen empty')
    const kinds = new Set(slots.map(({ id }) => this.#d.item(id).part.kind))
    return await seenOpen(this.#d.tray, [...kinds], this.#opens.common)
  }

  async #prove(
    slot: SlotState, forced: boolean, told: Told,
  ): Promise<Verdict | 'nothing seen' | 'not still'> {
    const { tray, clock, turned, judged, tell } = this.#d
    const item = this.#d.item(slot.id)
    const jig = await tray.close(slot.position)
    if (!forced) {
      const rests = await restsThere(jig, item.part, clock)
      turned()
      if (rests !== 'still') return rests
    }
    const guide: Guide = {
      say: text => tell('ask', `${slot.position} ${slot.id}: ${text}`, slot.id), goesOn: () => turned(),
    }
    return judged(item, await prove(jig, item, told, guide))
  }

  async #standard(slot: SlotState): Promise<SeenAt> {
    const { tray, clock, standards, notedStandard } = this.#d
    const standard = standards.find(({ id }) => id === slot.id)!
    const item = this.#d.item(slot.id)
    const jig = await tray.close(slot.position)
    const rests = await restsThere(jig, item.part, clock)
    if (rests !== 'still') return { is: rests }
    const read = checkReading(standard, await prove(jig, item))
    await notedStandard(standard, read)
    return { is: 'standard', inControl: read.inControl, says: read.says }
  }

  /** What a result says of where it came from, and of what is known of that place. */
  #placed(verdict: Verdict, position: string): Verdict {
    const { state } = this.#led
    const standards = state.slots.filter(({ what }) => what === 'standard')
    const elsewhere = standards.length === 0 ? [] : [
      `check standards lay at ${standards.map(slot => slot.position).join(' ')}, not here: what they show is `
        + 'of the instruments and the common line',
    ]
    return { ...verdict, notes: [...verdict.notes, `measured on the tray at ${position}`, ...elsewhere] }
  }
}

function standsOf({ phase, stages, at }: TrayState): ScreenStatus['stands'] {
  switch (phase) {
    case 'asked': return stages[at]?.is === 'empty tray' ? 'clearing' : 'laying'
    case 'working': return 'measuring'
    case 'review': return 'in doubt'
    case 'faulty': case 'out of control': return 'out of control'
    case 'done': return 'done'
  }
}

