/**
 * One transport, its framer and its step machine: the thin shell that performs the
 * machine's effects. Single use.
 */
import { assert } from '../base/assert.ts'
import type { Cancel, Clock } from '../base/clock.ts'
import type { BenchError } from '../base/errors.ts'
import { asBenchError } from '../base/errors.ts'
import type { Transport } from '../transport/transport.ts'
import type { Answer, Effect, Exchange, Failure, LinkInput, LinkState } from './exchange.ts'
import { chunkEnd, linkDown, step } from './exchange.ts'
import type { Frame } from './framing.ts'
import { Framer } from './framing.ts'
import type { LineHabits } from './lines.ts'
import { cleanLine } from './lines.ts'

export interface LinkOptions extends LineHabits {
  readonly clock: Clock
  readonly txTerminator: string
  readonly rxTerminator: '\n' | '\r'
  readonly frameBytesMax: number
  /** Silence that ends an indefinite block, in ms. */
  readonly quietMs: number
}

export interface LinkEvents {
  /** The link ended by itself (with an error) or was closed (null). Called once. */
  down(error: BenchError | null): void
  /** Something arrived that answers no question. */
  stray(text: string): void
}

/** `failure` null: `answer` is the answer. Otherwise `got` says what was in the way, if anything. */
export type Done = (failure: Failure | null, answer: Answer, got?: string) => void

/** Rounding of sums of milliseconds; a timer this close to its time is due. */
const slackMs = 0.01

export class Link {
  readonly #transport: Transport
  readonly #options: LinkOptions
  readonly #events: LinkEvents
  readonly #framer: Framer
  #state: LinkState = linkDown
  #done: Done | null = null
  #dueMs = 0
  #timer: Cancel | null = null
  #timerDueMs = Infinity
  /** Ends the reading and throwing away that is going on. */
  #endQuiet: ((silent: boolean) => void) | null = null
  #lastByteMs = 0
  #overflow: BenchError | null = null
  #epoch = 0
  #quietTimer: Cancel | null = null

  constructor(transport: Transport, options: LinkOptions, events: LinkEvents) {
    this.#transport = transport
    this.#options = options
    this.#events = events
    this.#framer = new Framer({ bytesMax: options.frameBytesMax, terminator: options.rxTerminator })
    transport.onBytes(chunk => this.#onBytes(chunk))
    transport.onClose(error => this.#onClose(error))
  }

  get url(): string { return this.#transport.url }
  get up(): boolean { return this.#state.at !== 'down' && this.#transport.up }
  /** True when the next line to arrive can only be the answer to the next question. */
  get inStep(): boolean {
    if (this.#state.at !== 'idle') return false
    return !this.#framer.partial || cleanLine(this.#framer.heldText, this.#options) === ''
  }

  /** Opens the transport. The link is suspect until inStepNow(). Rejects as Transport.open() does. */
  async open(signal: AbortSignal): Promise<void> {
    await this.#transport.open(signal)
    this.#apply({ type: 'up' })
  }

  /**
   * Starts an exchange; `done` is called once, perhaps before this returns. Never throws for a link fault.
   */
  start(exchange: Exchange, deadlineMs: number, done: Done): void {
    assert(this.#done === null, `${this.url}: one exchange at a time`)
    const now = this.#options.clock.monotonicMs()
    this.#done = done
    this.#dueMs = now + deadlineMs
    this.#framer.expect(exchange.expect === 'block' ? 'block' : 'line')
    this.#apply({ type: 'start', exchange })
    if (this.#done === null) return
    if (this.#timer === null || this.#timerDueMs > this.#dueMs) this.#arm(now)
  }

  /** Changes with every preempt(): a recovery that began in another epoch must not go on. */
  get epoch(): number { return this.#epoch }

  /** Cuts short what goes on; an exchange in flight fails with `abandoned`, and the link is suspect. */
  preempt(): void {
    this.#epoch++
    this.#endQuiet?.(false)
    this.#framer.reset()
    this.#apply({ type: 'pre-empt' })
  }

  /** Recovery is over: what arrives next answers what is asked next. */
  inStepNow(): void { this.#apply({ type: 'in-step' }) }
  /** Sends without expecting or waiting for anything. Throws LINK_DOWN. */
  writeBlind(text: string): void { this.#transport.write(text) }
  async clear(): Promise<void> { await this.#transport.clear?.() }

  /** Reads and throws away until nothing came for `gapMs`. False when it was not silent within `maxMs`. */
  quiet(gapMs: number, maxMs: number): Promise<boolean> {
    const { clock } = this.#options
    const startMs = clock.monotonicMs()
    assert(this.#endQuiet === null, `${this.url}: one silence at a time`)
    this.#lastByteMs = startMs
    return new Promise(resolve => {
      const look = (): void => {
        const now = clock.monotonicMs()
        const leftMs = this.#lastByteMs + gapMs - now
        if (leftMs <= slackMs) this.#endQuiet?.(this.up)
        else if (now - startMs >= maxMs) this.#endQuiet?.(false)
        else cancel = clock.after(leftMs, look)
      }
      let cancel = clock.after(gapMs, look)
      this.#endQuiet = silent => {
        this.#endQuiet = null
        cancel()
        this.#framer.reset()
        resolve(silent)
      }
    })
  }

  /** Closes the link; an exchange in flight fails with `down`. */
  async close(): Promise<void> {
    this.#apply({ type: 'down' })
    this.#stopTimers()
    await this.#transport.close()
  }

  #onBytes(chunk: Uint8Array): void {
    if (this.#endQuiet !== null) {
      this.#lastByteMs = this.#options.clock.monotonicMs()
      return
    }
    try {
      this.#framer.push(chunk, this.#onFrame)
    } catch (error) {
      this.#overflow = asBenchError(error)
      this.#apply({ type: 'overflow' })
      return
    }
    if (this.#state.at === 'answered') this.#apply(chunkEnd)
    if (this.#framer.openEnded) this.#armQuiet()
  }

  #onFrame = (frame: Frame): void => {
    if (frame.kind === 'block') return this.#apply({ type: 'frame', frame })
    const text = cleanLine(frame.text, this.#options)
    if (text === '') return
    this.#apply({ type: 'frame', frame: text === frame.text ? frame : { kind: 'line', text } })
  }

  #onClose(error: BenchError | null): void {
    this.#stopTimers()
    this.#events.down(error ?? this.#overflow)
    this.#apply({ type: 'down' })
  }

  #apply(input: LinkInput): void {
    const { state, effects } = step(this.#state, input)
    this.#state = state
    for (const effect of effects) if (!this.#perform(effect)) return
  }

  /** Returns false when the effects after this one no longer apply. */
  #perform(effect: Effect): boolean {
    switch (effect.do) {
      case 'send':
        try {
          this.#transport.write(effect.exchange.command + this.#options.txTerminator)
          return true
        } catch {
          this.#state = linkDown
          this.#settle('down', '')
          return false
        }
      case 'resolve': this.#settle(null, effect.answer); return true
      case 'fail': this.#settle(effect.failure, '', effect.got); return true
      case 'stray': this.#events.stray(effect.text); return true
      case 'close': void this.#transport.close(); return true
    }
  }

  #settle(failure: Failure | null, answer: Answer, got?: string): void {
    const done = this.#done
    this.#done = null
    done?.(failure, answer, got)
  }

  /** One timer serves many exchanges: it is set again only when it fires and something is still in flight. */
  #arm(now: number): void {
    this.#timer?.()
    this.#timerDueMs = this.#dueMs
    this.#timer = this.#options.clock.after(Math.max(this.#dueMs - now, slackMs), this.#onTimer)
  }

  #onTimer = (): void => {
    this.#timer = null
    this.#timerDueMs = Infinity
    if (this.#done === null) return
    const now = this.#options.clock.monotonicMs()
    if (now < this.#dueMs - slackMs) return this.#arm(now)
    this.#framer.reset()
    this.#apply({ type: 'timeout' })
  }

  #armQuiet(): void {
    this.#quietTimer?.()
    this.#quietTimer = this.#options.clock.after(this.#options.quietMs, () => {
      this.#quietTimer = null
      this.#framer.quiet(this.#onFrame)
      if (this.#state.at === 'answered') this.#apply(chunkEnd)
    })
  }

  #stopTimers(): void {
    this.#timer?.()
    this.#timer = null
    this.#timerDueMs = Infinity
    this.#quietTimer?.()
    this.#quietTimer = null
    this.#endQuiet?.(false)
  }
}
