/**
 * The device side of a SCPI link: bytes in, bytes out, in device time. Lines are carried out one at a time,
 * in order; what arrives while the device is busy waits in its input buffer.
 */
import type { Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { buildTree, type Command, type Deferred } from './command-tree.ts'
import { FaultPanel, type FaultSpec } from './faults.ts'
import { ProgramCache, type Program, type Step } from './program.ts'
import { EffectLog, ReceivedLog } from './record.ts'
import { standardCommands } from './standard-commands.ts'
import { Refusal, StatusModel } from './status.ts'

export type Reply = (bytes: Uint8Array) => void

export interface DeviceOptions {
  readonly name: string
  readonly clock: Clock
  /** What *IDN? answers. */
  readonly identity: string
  readonly commands: readonly Command[]
  readonly terminator: '\n' | '\r\n'
  /** Time to carry out one line, in ms, before any measuring or settling. */
  readonly processMs: number
  /** Byte timing of a serial link (10 bits a byte); left out on a network link. */
  readonly baud?: number
  readonly inputBytesMax?: number
  readonly errorQueueMax?: number
  /** How the error queue answers: `0,"No error"`, `+0,"No error"`, or there is none. */
  readonly errorQueue?: 'plain' | 'plus' | 'none'
  /** This dialect's own numbers for standard ones, e.g. -113 → 101. */
  readonly errorCodes?: Readonly<Record<number, number>>
  /** Sends every line back as it is received. */
  readonly echo?: boolean
  /** Sent as a line after every line carried out, after the answer if there is one. */
  readonly prompt?: string
  /** Setting commands are refused until SYST:REM. */
  readonly remoteFirst?: boolean
  /** Answers at once; processing, measuring and byte times are not waited for. For benches that own time. */
  readonly instant?: boolean
  /** *RST and power-on: outputs off, relays released, settings at their defaults. */
  onReset(): void
  /** Called for every line received, before it is carried out. */
  onLine?(): void
}

interface Pending { program: Program; reply: Reply; bytes: number; faults: readonly FaultSpec[] }

const lineFeed = 10
const noFaults: readonly FaultSpec[] = []

export class ScpiDevice {
  readonly name: string
  readonly clock: Clock
  readonly status: StatusModel
  readonly faults: FaultPanel
  readonly received = new ReceivedLog()
  readonly effects = new EffectLog()
  readonly options: DeviceOptions
  remote = false
  /** Set by the link adapter: closes the link from the device's side. */
  onDisconnect: () => void = () => {}
  /** Set by the instrument: a standing fault came or went; what stands at the terminals may change. */
  onFault: () => void = () => {}

  readonly #programs: ProgramCache
  readonly #instant: boolean
  readonly #byteMs: number
  readonly #inputBytesMax: number
  readonly #garbage: SeededRandom
  #partial = ''
  #overrun = false
  #busy = false
  #waiting: Pending[] = []
  #waitingBytes = 0
  #life = 0
  #lastReply: Reply | undefined

  constructor(options: DeviceOptions) {
    this.options = options
    this.name = options.name
    this.clock = options.clock
    this.status = new StatusModel(options.errorQueueMax ?? 17)
    this.faults = new FaultPanel(options.clock)
    this.#instant = options.instant ?? false
    this.#byteMs = options.baud === undefined || this.#instant ? 0 : 10_000 / options.baud
    this.#inputBytesMax = options.inputBytesMax ?? 1024
    this.#garbage = new SeededRandom(`garbage:${options.name}`)
    this.#programs = new ProgramCache(buildTree([...standardCommands(this), ...options.commands]))
    this.faults.onChange = kind => {
      if (kind === 'power-cycle') this.powerCycle()
      else if (kind === 'disconnect') this.disconnect()
      else this.onFault()
    }
  }

  /** Takes bytes as they come; any chunking. `reply` gets the answers to the lines that end in this chunk. */
  receive(chunk: Uint8Array, reply: Reply): void {
    this.#lastReply = reply
    const bytes = Buffer.isBuffer(chunk) ? chunk : Buffer.from(
      chunk.buffer, chunk.byteOffset, chunk.byteLength
    )
    const end = bytes.indexOf(lineFeed)
    if (end === bytes.length - 1 && this.#partial === '' && !this.#overrun && end <= this.#inputBytesMax) {
      return this.#accept(bytes.toString('latin1', 0, end + 1), reply)
    }
    this.#receiveRough(bytes, reply)
  }

  /** Sends a line nobody asked for, to whoever spoke last. */
  emit(line: string): void { this.#lastReply?.(Buffer.from(line + this.options.terminator, 'latin1')) }

  /** Power away and back: input, errors, settings and anything under way are gone. */
  powerCycle(): void {
    this.dropInput()
    this.remote = false
    this.status.clear()
    this.status.ese = 0
    this.status.sre = 0
    this.status.esr = 128
    this.options.onReset()
  }

  /** Closes the link from the device's side; the device itself goes on. */
  disconnect(): void {
    this.dropInput()
    this.onDisconnect()
  }

  /** Forgets half lines, waiting lines and answers under way: what losing the link does. */
  dropInput(): void {
    this.#life++
    this.#partial = ''
    this.#overrun = false
    this.#busy = false
    this.#waiting = []
    this.#waitingBytes = 0
  }

  #receiveRough(bytes: Buffer, reply: Reply): void {
    let start = 0
    while (start < bytes.length) {
      const end = bytes.indexOf(lineFeed, start)
      const stop = end < 0 ? bytes.length : end + 1
      if (this.#partial.length + stop - start + this.#waitingBytes > this.#inputBytesMax) this.#overrun = true
      else if (!this.#overrun) this.#partial += bytes.toString('latin1', start, stop)
      start = stop
      if (end < 0) return
      const line = this.#partial
      this.#partial = ''
      if (this.#overrun) this.#refuseOverrun()
      else this.#accept(line, reply)
    }
  }

  #refuseOverrun(): void {
    this.#overrun = false
    this.fail(new Refusal(-363))
  }

  #accept(text: string, reply: Reply): void {
    const { faults } = this
    this.received.add(this.clock.monotonicMs(), text)
    faults.count++
    this.options.onLine?.()
    const program = this.#programs.get(text)
    if (faults.empty && !this.#busy && !this.options.echo) {
      return this.#start({ program, reply, bytes: text.length, faults: noFaults })
    }
    this.#acceptSlowly({ program, reply, bytes: text.length, faults: noFaults })
  }

  #acceptSlowly(pending: Pending): void {
    const life = this.#life
    if (!this.faults.empty) {
      this.faults.count--
      this.faults.countLine()
      if (life !== this.#life) return
      pending.faults = this.faults.onLine(pending.program.text)
      if (pending.faults.some(fault => fault.kind === 'deaf')) return
    }
    if (this.options.echo || pending.faults.some(fault => fault.kind === 'echo')) {
      pending.reply(Buffer.from(pending.program.text.trimEnd() + this.options.terminator, 'latin1'))
    }
    if (!this.#busy) return this.#start(pending)
    if (this.#waitingBytes + pending.bytes > this.#inputBytesMax) return this.#refuseOverrun()
    this.#waiting.push(pending)
    this.#waitingBytes += pending.bytes
  }

  /** Lines that only ask are read at once and answered after the processing time; others act after it. */
  #start(pending: Pending): void {
    const { program } = pending
    this.#busy = true
    const processMs = this.options.processMs + pending.bytes * this.#byteMs
    if (this.#instant) return this.#run(pending, 0, undefined)
    const step = program.steps[0]
    if (program.queriesOnly && program.steps.length === 1 && this.#byteMs === 0) {
      const answer = this.#perform(step!)
      const isDeferred = typeof answer === 'object'
      return this.#later(processMs + (isDeferred ? answer.waitMs : 0), () =>
        this.#finish(pending, isDeferred ? answer.finish() : answer))
    }
    this.#later(processMs, () => this.#run(pending, 0, undefined))
  }

  #run(pending: Pending, from: number, answered: string | undefined): void {
    const { steps } = pending.program
    let text = answered
    for (let i = from; i < steps.length; i++) {
      const answer = this.#perform(steps[i]!)
      if (typeof answer === 'object') {
        if (this.#instant) text = this.#join(text, answer.finish())
        else return this.#later(
          answer.waitMs, () => this.#run(pending, i + 1, this.#join(text, answer.finish()))
        )
      } else text = this.#join(text, answer)
    }
    if (this.#byteMs === 0 || text === undefined) return this.#finish(pending, text)
    this.#later((text.length + 1) * this.#byteMs, () => this.#finish(pending, text))
  }

  #join(before: string | undefined, answer: string | undefined): string | undefined {
    if (before === undefined || answer === undefined) return before ?? answer
    return `${before};${answer}`
  }

  #perform(step: Step): string | Deferred | undefined {
    if ('refusal' in step) return this.fail(step.refusal)
    if (!step.isQuery && this.options.remoteFirst && !this.remote && !allowedInLocal(step.command)) {
      return this.fail(new Refusal(-201))
    }
    try {
      return step.command.run(step.values, step.suffixes) ?? undefined
    } catch (error) {
      if (error instanceof Refusal) return this.fail(error)
      throw error
    }
  }

  /** Puts a refusal into the error queue, in this dialect's numbers. */
  fail(refusal: Refusal): undefined {
    const own = this.options.errorCodes?.[refusal.code]
    this.status.fail(own ?? refusal.code, own === undefined ? refusal.info : undefined)
  }

  #later(delayMs: number, action: () => void): void {
    const life = this.#life
    this.clock.after(delayMs, () => { if (life === this.#life) action() })
  }

  #finish(pending: Pending, answer: string | undefined): void {
    const { terminator, prompt } = this.options
    let text = answer === undefined ? '' : answer + terminator
    if (prompt !== undefined) text += prompt + terminator
    if (pending.faults.length > 0) this.#sendFaulty(pending, text)
    else if (text !== '') pending.reply(Buffer.from(text, 'latin1'))
    this.#busy = false
    const next = this.#waiting.shift()
    if (next === undefined) return
    this.#waitingBytes -= next.bytes
    this.#start(next)
  }

  #sendFaulty({ faults, reply }: Pending, answer: string): void {
    let text = answer
    let delayMs = 0
    let isSplit = false
    const { terminator } = this.options
    for (const fault of faults) {
      if (fault.kind === 'silent') return
      else if (fault.kind === 'delay') delayMs += Number(fault.value ?? 1000)
      else if (fault.kind === 'garbage') text = this.#garbageLine(terminator)
      else if (fault.kind === 'truncate') text = text.slice(0, Number(fault.value ?? 3)).trimEnd()
      else if (fault.kind === 'wrong-answer') text = String(fault.value ?? '') + terminator
      else if (fault.kind === 'unsolicited') text = String(fault.value ?? '**') + terminator + text
      else if (fault.kind === 'split') isSplit = true
    }
    if (text === '') return
    const bytes = Buffer.from(text, 'latin1')
    const chunks = isSplit ? Array.from(bytes, byte => Buffer.of(byte)) : [bytes]
    const send = (): void => { for (const chunk of chunks) reply(chunk) }
    if (delayMs === 0) send()
    else this.#later(delayMs, send)
  }

  #garbageLine(terminator: string): string {
    const length = this.#garbage.integer(3, 40)
    const noise = Array.from({ length }, () => String.fromCharCode(this.#garbage.integer(128, 255)))
    return noise.join('') + terminator
  }
}

function allowedInLocal(command: Command): boolean {
  return command.pattern.startsWith('*') || command.pattern.startsWith('SYSTem')
}
