/** The status side of a SCPI device: error queue and registers (IEEE 488.2 shape). */

const texts: Readonly<Record<number, string>> = {
  [-100]: 'Command error', [-101]: 'Invalid character', [-102]: 'Syntax error', [-103]: 'Invalid separator',
  [-104]: 'Data type error', [-108]: 'Parameter not allowed', [-109]: 'Missing parameter',
  [-112]: 'Program mnemonic too long', [-113]: 'Undefined header', [-114]: 'Header suffix out of range',
  [-120]: 'Numeric data error', [-121]: 'Invalid character in number', [-128]: 'Numeric data not allowed',
  [-131]: 'Invalid suffix', [-141]: 'Invalid character data', [-151]: 'Invalid string data',
  [-170]: 'Expression error', [-200]: 'Execution error', [-221]: 'Settings conflict',
  [-222]: 'Data out of range',
  [-223]: 'Too much data', [-224]: 'Illegal parameter value', [-230]: 'Data corrupt or stale',
  [-240]: 'Hardware error', [-350]: 'Queue overflow', [-363]: 'Input buffer overrun',
  101: 'Command keyword not recognized', 120: 'Parameter overflow',
}

/** What a command handler throws to refuse: it becomes one entry of the error queue. */
export class Refusal extends Error {
  override readonly name = 'Refusal'
  readonly code: number
  readonly info: string | undefined
  constructor(code: number, info?: string) {
    super(`refused ${code}`)
    this.code = code
    this.info = info
  }
}

export function refuse(code: number, info?: string): never { throw new Refusal(code, info) }

/** First in, first out; when it is full the last entry becomes -350. */
export class ErrorQueue {
  #entries: string[] = []
  readonly #sizeMax: number
  constructor(sizeMax: number) { this.#sizeMax = sizeMax }

  get size(): number { return this.#entries.length }
  clear(): void { this.#entries = [] }

  /** Adds `code,"text"`, with `;info` inside the quotes when there is any. */
  push(code: number, info?: string): void {
    const inner = `${texts[code] ?? 'Device-specific error'}${info ? `;${info.replaceAll('"', '\'')}` : ''}`
    if (this.#entries.length < this.#sizeMax) this.#entries.push(`${code},"${inner.slice(0, 255)}"`)
    else this.#entries[this.#sizeMax - 1] = '-350,"Queue overflow"'
  }

  /** Takes the oldest entry, or undefined when there is none. */
  take(): string | undefined { return this.#entries.shift() }
}

/** Bits of the standard event register. */
export const esrBits = {
  operationComplete: 1, query: 4, device: 8, execution: 16, command: 32, powerOn: 128,
} as const

/** Which event bit an error of this class sets (SCPI error classes). */
export function esrBitOf(code: number): number {
  if (code <= -400) return esrBits.query
  if (code > 0 || code <= -300) return esrBits.device
  return code <= -200 ? esrBits.execution : esrBits.command
}

/** A condition register with its latching event register and enable mask (OPERation, QUEStionable). */
export class ConditionRegister {
  #condition = 0
  #event = 0
  enable = 0

  get condition(): number { return this.#condition }
  /** Rising bits latch into the event register. */
  set condition(bits: number) {
    this.#event |= bits & ~this.#condition
    this.#condition = bits
  }
  get summary(): boolean { return (this.#event & this.enable) !== 0 }
  readEvent(): number { const event = this.#event; this.#event = 0; return event }
  clearEvent(): void { this.#event = 0 }
}

export class StatusModel {
  readonly errors: ErrorQueue
  readonly operation = new ConditionRegister()
  readonly questionable = new ConditionRegister()
  esr: number = esrBits.powerOn
  ese = 0
  sre = 0

  constructor(errorQueueMax: number) { this.errors = new ErrorQueue(errorQueueMax) }

  fail(code: number, info?: string): void {
    this.errors.push(code, info)
    this.esr |= esrBitOf(code)
  }

  readEsr(): number { const esr = this.esr; this.esr = 0; return esr }

  /** Status byte; bit 4 (answer waiting) is never set, because answers leave at once on a stream link. */
  get statusByte(): number {
    const bits = (this.errors.size > 0 ? 4 : 0) | (this.questionable.summary ? 8 : 0)
      | ((this.esr & this.ese) !== 0 ? 32 : 0) | (this.operation.summary ? 128 : 0)
    return (bits & this.sre & ~64) !== 0 ? bits | 64 : bits
  }

  /** *CLS: event registers and error queue, not the enable masks. */
  clear(): void {
    this.errors.clear()
    this.esr = 0
    this.operation.clearEvent()
    this.questionable.clearEvent()
  }
}
