/** What can be wrong with a simulated instrument, settable at a simulated time or after a number of lines. */
import type { Cancel, Clock } from '../../src/base/clock.ts'

/** Acts on one received line and its answer. */
export const lineFaults = [
  'silent', // carries out the line, answers nothing
  'deaf', // neither carries out nor answers
  'delay', // answers `value` ms late
  'garbage', // answers bytes outside ASCII
  'truncate', // answers only `value` bytes, without terminator
  'wrong-answer', // answers the text `value`
  'echo', // sends the line back before the answer
  'split', // sends the answer byte by byte
  'unsolicited', // sends the line `value` before the answer
] as const

/** Happens once. */
export const suddenFaults = ['power-cycle', 'disconnect'] as const

/** Lasts while it is set. */
export const standingFaults = [
  'swapped-identity', // *IDN? answers `value`
  'output-stays-on', // off is acknowledged, read back as off, and not done
  'protection-silent', // a protection never trips
  'clear-restores-output', // clearing a trip switches the output on
  'read-back-lies', // settings read back as `value`
  'output-runaway', // the output stands at `value` volts whatever was set
  'output-overshoot', // each rise of its setting goes `value` volts too far for 30 ms
  'watchdog-silent', // the communication watchdog never ends
  'reading-stuck', // every reading repeats the first one after the fault came
  'reading-jump', // `value` is added to every reading
  'reading-gain', // every reading is multiplied by `value`
  'sensor-open', 'sensor-short', // thermometer channel `value`; all when left out
  'output-gain', // what stands at the output is `value` times what was set
  'never-triggers', // a digitizer waits for ever
  'step-open', // a load that is told `value` ohms is open, but reads back as told; each step when left out
  'step-wrong', // a load has `value` times the ohms that it reads back
  'relay-welded', // relay `value` stays held; a contactor stays closed; `pole`: one pole of it alone
  'relay-welds', // a contactor stays closed once it is: an open contact does not weld; `pole` as above
  'relay-dead', // relay `value` never makes; a contactor never closes
  'channels-tied', // `value` like 3:7: a scanner that closes channel 3 closes channel 7 as well
  'channels-swapped', // `value` like 3:7: what hangs on the one hangs on the other
  'cover-open', // the cover contact is open
  'cover-bounce', // the cover contact opens for 5 ms every `value` ms
] as const

export type LineFault = (typeof lineFaults)[number]
export type SuddenFault = (typeof suddenFaults)[number]
export type StandingFault = (typeof standingFaults)[number]
export type FaultKind = LineFault | SuddenFault | StandingFault

export interface FaultSpec {
  readonly kind: FaultKind
  /** Instrument time in ms at which it comes and goes; from the start and for ever when left out. */
  readonly fromMs?: number
  readonly untilMs?: number
  /** Comes only after this many lines were received. */
  readonly afterCount?: number
  /** Acts on this many lines, then never again. */
  readonly times?: number
  /** Line faults: only on lines that contain this text. */
  readonly match?: string
  readonly value?: number | string
}

interface Entry { spec: FaultSpec; actedCount: number; cancel: Cancel | undefined }

export class FaultPanel {
  readonly #clock: Clock
  readonly #originMs: number
  #entries: Entry[] = []
  /** Lines received so far; the device counts. */
  count = 0
  /** Called when a sudden fault strikes, and when a standing fault comes or goes. */
  onChange: (kind: FaultKind) => void = () => {}

  constructor(clock: Clock) {
    this.#clock = clock
    this.#originMs = clock.monotonicMs()
  }

  get empty(): boolean { return this.#entries.length === 0 }
  get list(): readonly FaultSpec[] { return this.#entries.map(entry => entry.spec) }

  set(spec: FaultSpec): void {
    const entry: Entry = { spec, actedCount: 0, cancel: undefined }
    this.#entries.push(entry)
    const waitMs = Math.max(0, (spec.fromMs ?? 0) - this.#nowMs)
    if (spec.afterCount !== undefined) return
    if (waitMs === 0) this.#come(entry)
    else entry.cancel = this.#clock.after(waitMs, () => this.#come(entry))
  }

  /** Takes faults of this kind away (all when left out). */
  clear(kind?: FaultKind): void {
    const gone = this.#entries.filter(entry => kind === undefined || entry.spec.kind === kind)
    for (const entry of gone) entry.cancel?.()
    this.#entries = this.#entries.filter(entry => !gone.includes(entry))
    for (const entry of gone) this.onChange(entry.spec.kind)
  }

  /** Counts one received line; strikes sudden faults and brings standing ones that wait for a count. */
  countLine(): void {
    this.count++
    for (const entry of this.#entries) {
      if (entry.spec.afterCount === this.count && this.#inTime(entry.spec)) this.#come(entry)
    }
  }

  /** The line faults that act on `line`; each one returned counts as having acted. */
  onLine(line: string): FaultSpec[] {
    const acting: FaultSpec[] = []
    for (const entry of this.#entries) {
      const { spec } = entry
      if (!(lineFaults as readonly string[]).includes(spec.kind) || !this.#active(entry)) continue
      if (spec.match !== undefined && !line.includes(spec.match)) continue
      entry.actedCount++
      acting.push(spec)
    }
    return acting
  }

  /**
   * The standing fault of this kind that holds now; `value` narrows to faults that name that value or none.
   */
  holds(kind: StandingFault, value?: number | string): FaultSpec | undefined {
    if (this.#entries.length === 0) return undefined
    return this.#entries.find(entry => entry.spec.kind === kind && this.#active(entry)
      && (value === undefined || entry.spec.value === undefined || entry.spec.value === value))?.spec
  }

  get #nowMs(): number { return this.#clock.monotonicMs() - this.#originMs }

  #come(entry: Entry): void {
    entry.cancel = undefined
    if ((suddenFaults as readonly string[]).includes(entry.spec.kind)) {
      this.#entries = this.#entries.filter(other => other !== entry)
    } else if (entry.spec.untilMs !== undefined) {
      const waitMs = Math.max(0, entry.spec.untilMs - this.#nowMs)
      entry.cancel = this.#clock.after(waitMs, () => this.onChange(entry.spec.kind))
    }
    this.onChange(entry.spec.kind)
  }

  #active({ spec, actedCount }: Entry): boolean {
    return this.#inTime(spec) && this.count > (spec.afterCount ?? -1) - 1 && actedCount < (
      spec.times ?? Infinity
    )
  }

  #inTime({ fromMs = 0, untilMs = Infinity }: FaultSpec): boolean {
    const nowMs = this.#nowMs
    return nowMs >= fromMs && nowMs < untilMs
  }
}
