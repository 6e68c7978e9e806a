/**
 * A session owns one link at a time and runs one exchange at a time on it, in order, each with a deadline.
 *
 * Nothing is queued for a link that is down. Callers may wait for their turn on a live link; a command
 * that waited too long is not sent: a late set-point is a hazard. After a time-out nothing is sent until
 * the link is in step again.
 */
import { assert } from '../base/assert.ts'
import type { Cancel } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import { BenchError, asBenchError } from '../base/errors.ts'
import type { Transport } from '../transport/transport.ts'
import type { Answer, Failure } from './exchange.ts'
import { exchangeError, silentError } from './failure.ts'
import type { Job } from './job.ts'
import { takeAnswer } from './job.ts'
import { Link } from './link.ts'
import type { SessionOptions, Settled } from './options.ts'
import { settle } from './options.ts'
import type { CallOptions, ScpiPort, WriteOptions } from './port.ts'
import type { Recovered } from './recovery.ts'
import { identityMatches, resynchronise, wrongIdentity } from './recovery.ts'
import type { SafeOffReport } from './safe-off.ts'
import { blindNow, runSafeOff } from './safe-off.ts'

export type { SessionNotice, SessionOptions } from './options.ts'
export type { SafeOffReport } from './safe-off.ts'
export type { CallOptions, ScpiPort, WriteOptions } from './port.ts'

export type SessionState = 'down' | 'connecting' | 'ready' | 'recovering' | 'safe-off'

export class Session implements ScpiPort {
  readonly name: string
  readonly #options: Settled
  readonly #open: () => Transport
  #state: SessionState = 'down'
  #link: Link | null = null
  #identity: string | null = null
  #waiting: Job[] = []
  #job: Job | null = null
  #pumping = false
  #release: Cancel | null = null
  #pacing: Cancel | null = null
  #nextSendMs = -Infinity
  #connecting: Promise<void> | null = null
  #opening: AbortController | null = null
  #safeOff: Promise<SafeOffReport> | null = null
  #recovery: Promise<void> | null = null
  #turn = 0

  /** `open` makes a new transport for each connect. Nothing is opened before connect(). */
  constructor(open: () => Transport, options: SessionOptions) {
    this.#open = open
    this.#options = settle(options)
    this.name = options.name
  }

  get state(): SessionState { return this.#state }
  /** The bound identity: what answered on the first connect. Null before, or without an identity query. */
  get identity(): string | null { return this.#identity }

  /** Opens a link, brings it in step, compares the identity. Rejects with LINK_OPEN, LINK_BUSY, IDENTITY … */
  connect(): Promise<void> {
    if (this.#state === 'ready') return Promise.resolve()
    if (this.#state === 'recovering') return this.resynchronise()
    if (this.#state === 'safe-off') return Promise.reject(this.#refusal('connect'))
    this.#connecting ??= this.#connect().finally(() => { this.#connecting = null })
    return this.#connecting
  }

  /** Lets go of the link. Calls in flight and waiting fail with LINK_DOWN. connect() then opens a new one. */
  async close(): Promise<void> {
    this.#opening?.abort(this.#downError('connect'))
    await this.#dropLink(null)
  }

  query(command: string, options?: CallOptions): Promise<string> {
    return this.#call(command, 'line', false, options) as Promise<string>
  }

  /** Sends one query and gives the data bytes of the block that answers it. */
  queryBlock(command: string, options?: CallOptions): Promise<Uint8Array> {
    return this.#call(command, 'block', false, options) as Promise<Uint8Array>
  }

  write(command: string, options?: WriteOptions): Promise<void> {
    const check = (options?.check ?? true) && this.#options.errorQueue !== null
    return this.#call(command, 'nothing', check, options) as Promise<unknown> as Promise<void>
  }

  /** Asks the identity again and compares it with the bound one. Rejects with IDENTITY. */
  async verifyIdentity(): Promise<string> {
    const { identity } = this.#options
    assert(identity, `${this.name}: this session knows no identity query`)
    const bound = this.#bound()
    const answer = await this.query(identity.query)
    if (bound !== null && !identityMatches(bound, answer)) throw wrongIdentity(this.#options, bound, answer)
    return answer
  }

  /** Brings the link back in step; callers wait meanwhile. Rejects, with the link closed, when it cannot. */
  resynchronise(): Promise<void> {
    if (this.#recovery !== null) return this.#recovery
    if (this.#state !== 'ready' || this.#link === null) return Promise.reject(this.#refusal('resynchronise'))
    const link = this.#link
    this.#state = 'recovering'
    if (this.#job !== null) link.preempt()
    this.#recovery = this.#recover(link).finally(() => { this.#recovery = null })
    return this.#recovery
  }

  /**
   * Makes the instrument safe before all else: cuts everything short with ABANDONED, sends a line end and
   * `commands` blind and at once (on a fresh link if the old one is dead), then brings the link back in step
   * and sends them once more. So they must be commands that may be repeated. Bounded in time; never rejects.
   */
  safeOff(commands: readonly string[]): Promise<SafeOffReport> {
    const sentAtMs = this.#preempt(commands)
    const before = this.#safeOff ?? Promise.resolve()
    const run = before.then(() => this.#runSafeOff(commands, sentAtMs))
    const tracked: Promise<SafeOffReport> =
      run.finally(() => { if (this.#safeOff === tracked) this.#safeOff = null })
    this.#safeOff = tracked
    return tracked
  }

  // ---- calls ----

  #call(
    command: string, expect: Job['expect'], check: boolean, options: CallOptions | undefined,
  ): Promise<Answer> {
    assert(command !== '' && !/[\n\r]/.test(command), `${this.name}: a command is one line`)
    return new Promise((resolve, reject) => {
      if (this.#state !== 'ready' && this.#state !== 'recovering') return reject(this.#refusal(command))
      if (this.#waiting.length >= this.#options.waitingMax) {
        return reject(new BenchError('LINK_BUSY', `${this.#waiting.length} callers wait for it already`, {
          instrument: this.name, command,
        }))
      }
      this.#waiting.push({
        command, expect, check, resolve, reject, deadlineMs: options?.deadlineMs ?? this.#options.deadlineMs,
        calledMs: this.#now(), startedMs: 0, errors: null,
      })
      this.#pump()
    })
  }

  #pump(): void {
    if (this.#pumping) return
    this.#pumping = true
    while (this.#job === null && this.#waiting.length > 0 && this.#ready()) {
      this.#begin(this.#waiting.shift()!)
    }
    this.#pumping = false
  }

  #ready(): boolean {
    if (this.#state !== 'ready') return false
    if (this.#link!.inStep) return true
    this.#recoverSoon()
    return false
  }

  #begin(job: Job): void {
    job.startedMs = this.#now()
    const waitedMs = job.startedMs - job.calledMs
    if (job.expect === 'nothing' && waitedMs > Math.max(job.deadlineMs, this.#options.writeWaitMs)) {
      return job.reject(new BenchError('LINK_TIMEOUT', 'its turn came too late, so it was not sent', {
        instrument: this.name, command: job.command, elapsedMs: waitedMs,
      }))
    }
    this.#job = job
    this.#release = this.#options.clock.hold()
    this.#send()
  }

  /** Starts the job's next exchange, at the instrument's pace. */
  #send(): void {
    const waitMs = this.#options.pacingMs === 0 ? 0 : this.#nextSendMs - this.#now()
    if (waitMs <= 0) return this.#sendNow()
    this.#pacing = this.#options.linkClock.after(waitMs, () => { this.#pacing = null; this.#sendNow() })
  }

  #sendNow(): void {
    const job = this.#job!
    const { echo } = this.#options
    const asksErrors = job.errors !== null
    this.#link!.start({
      command: asksErrors ? this.#options.errorQueue!.query : job.command,
      expect: asksErrors ? 'line' : job.expect, echo, recovery: false,
    }, job.deadlineMs, this.#onDone)
  }

  #onDone = (failure: Failure | null, answer: Answer, got?: string): void => {
    const job = this.#job
    // Given up already, with everything else that was waiting.
    if (job === null) return
    if (this.#options.pacingMs > 0) this.#nextSendMs = this.#now() + this.#options.pacingMs
    if (failure !== null) return this.#fail(job, failure, got)
    if (!job.check) return this.#finish(job, answer)
    try {
      if (takeAnswer(job, this.#options.errorQueue!, answer, this.name, this.#now())) this.#finish(job, '')
      else this.#send()
    } catch (error) {
      this.#end()
      job.reject(asBenchError(error))
      this.#pump()
    }
  }

  #finish(job: Job, answer: Answer): void {
    this.#end()
    job.resolve(answer)
    this.#pump()
  }

  #fail(job: Job, failure: Failure, got?: string): void {
    this.#end()
    const what = {
      command: job.errors === null ? job.command : this.#options.errorQueue!.query, expect: job.expect,
    }
    job.reject(exchangeError(this.name, what, failure, got, this.#now() - job.startedMs))
    if (failure === 'down' || failure === 'overflow') void this.#dropLink(null)
    else if (failure !== 'abandoned') this.#recoverSoon()
  }

  /** The present job is over, whatever came of it. */
  #end(): void {
    this.#job = null
    this.#release?.()
    this.#release = null
  }

  // ---- the link ----

  async #connect(): Promise<void> {
    this.#state = 'connecting'
    const release = this.#options.clock.hold()
    try {
      const link = await this.#openLink()
      try { await this.#bringInStep(link, true) } catch (error) {
        throw silentError(asBenchError(error), this.name, link.url)
      }
      this.#becomeReady(link)
      this.#options.onNotice({ what: 'up', identity: this.#identity })
    } catch (error) {
      if (this.#state === 'connecting') await this.#dropLink(null)
      throw asBenchError(error)
    } finally {
      release()
    }
  }

  async #openLink(): Promise<Link> {
    const { name, linkClock, connectMs } = this.#options
    const transport = this.#open()
    const control = new AbortController()
    this.#opening = control
    const link = new Link(transport, this.#linkOptions(), {
      down: error => { if (this.#link === link) void this.#dropLink(error) },
      stray: text => this.#options.onNotice({ what: 'stray', text }),
    })
    this.#link = link
    try {
      await withDeadline(linkClock, connectMs, `${name}: opening ${transport.url}`, s => link.open(s),
        control.signal)
      return link
    } finally {
      if (this.#opening === control) this.#opening = null
    }
  }

  #linkOptions() {
    const { linkClock, txTerminator, rxTerminator, frameBytesMax, quietMs, prompts, ignoreLines } =
      this.#options
    return {
      clock: linkClock, txTerminator, rxTerminator, frameBytesMax, quietMs, prompts, ignore: ignoreLines,
    }
  }

  async #bringInStep(link: Link, fresh: boolean): Promise<Recovered> {
    const recovered = await resynchronise(link, this.#options, fresh, this.#bound(), this.#turn++)
    this.#identity ??= recovered.identity
    return recovered
  }

  #bound(): string | RegExp | null { return this.#options.identity?.expected ?? this.#identity }

  #becomeReady(link: Link): void {
    if (this.#link !== link) throw this.#downError('connect')
    this.#state = 'ready'
    this.#nextSendMs = this.#now() + this.#options.pacingMs
    this.#pump()
  }

  async #recover(link: Link): Promise<void> {
    const release = this.#options.clock.hold()
    try {
      const { errors } = await this.#bringInStep(link, false)
      if (this.#state !== 'recovering' || this.#link !== link) throw this.#refusal('resynchronise')
      this.#options.onNotice({ what: 'resynchronised', errors })
      this.#becomeReady(link)
    } catch (error) {
      if (this.#state === 'recovering' && this.#link === link) await this.#dropLink(asBenchError(error))
      throw error
    } finally {
      release()
    }
  }

  /** Recovery that nobody awaits: its failure closes the link, which every caller then sees. */
  #recoverSoon(): void {
    if (this.#state === 'ready') this.resynchronise().catch(() => {})
  }

  /** The link ended or is given up: everything waiting fails now. In a safe-off the state is not touched. */
  async #dropLink(error: BenchError | null): Promise<void> {
    const link = this.#link
    const told = this.#state === 'ready' || this.#state === 'recovering'
    if (this.#state !== 'safe-off') this.#state = 'down'
    this.#link = null
    this.#rejectAll('down', error)
    if (told) this.#options.onNotice({ what: 'down', error })
    await link?.close()
  }

  #rejectAll(failure: 'down' | 'abandoned', cause: BenchError | null): void {
    this.#pacing?.()
    this.#pacing = null
    const jobs = this.#job === null ? this.#waiting : [this.#job, ...this.#waiting]
    if (this.#job !== null) this.#end()
    this.#waiting = []
    const now = this.#now()
    for (const job of jobs) {
      const error = exchangeError(this.name, job, failure, undefined, now - job.calledMs)
      if (cause !== null) error.cause = cause
      job.reject(error)
    }
  }

  // ---- safe-off ----

  /** The part of a safe-off that comes before all else: returns when the commands were sent, or null. */
  #preempt(commands: readonly string[]): number | null {
    const link = this.#link
    const sent = link !== null && blindNow(link, this.#options, commands)
    if (this.#safeOff === null) {
      this.#takeOver()
      this.#opening?.abort(this.#refusal('connect'))
    }
    return sent ? this.#options.clock.monotonicMs() : null
  }

  #takeOver(): void {
    this.#state = 'safe-off'
    this.#link?.preempt()
    this.#rejectAll('abandoned', null)
  }

  async #runSafeOff(commands: readonly string[], sentAtMs: number | null): Promise<SafeOffReport> {
    const release = this.#options.clock.hold()
    this.#takeOver()
    const report = await runSafeOff({
      options: this.#options, commands, sentAtMs,
      current: () => this.#link,
      drop: () => this.#dropLink(null),
      openFresh: () => this.#openLink(),
      stopOpening: () => this.#opening?.abort(this.#downError('safe-off')),
      bringInStep: async (link, fresh) => { await this.#bringInStep(link, fresh) },
    })
    release()
    this.#state = 'down'
    if (this.#link !== null) this.#becomeReady(this.#link)
    else this.#options.onNotice({ what: 'down', error: report.error })
    return report
  }

  // ---- words ----

  #now(): number { return this.#options.linkClock.monotonicMs() }

  #refusal(command: string): BenchError {
    return this.#state === 'safe-off'
      ? exchangeError(this.name, { command, expect: 'line' }, 'abandoned', undefined, 0)
      : this.#downError(command)
  }

  #downError(command: string): BenchError {
    return new BenchError('LINK_DOWN', 'the link is down; nothing is kept for later', {
      instrument: this.name, command,
    })
  }
}
