/** A small made-up instrument for these tests: a handler per line, and switches for bad manners. */
import type { MemoryDevice, Reply } from '../../src/transport/memory.ts'

export type Handler = (command: string, reply: Reply, device: TestDevice) => boolean | void

export class TestDevice implements MemoryDevice {
  /** Every complete line it received, in order. */
  received: string[] = []
  /** Bytes of an unfinished line, kept across reconnects as some instruments do. */
  held = ''
  identity = 'Fictive,dc-supply,0042,1.7'
  errors: string[] = []
  ese = 0
  silent = false
  ends = '\r\n'
  clears = 0
  level = 0
  /** Runs first; true means it dealt with the line. */
  handler: Handler = () => false
  greeting = ''

  onOpen(reply: Reply): void { if (this.greeting) reply(this.greeting) }
  onClear(): void { this.clears++; this.held = '' }

  onBytes(chunk: Uint8Array, reply: Reply): void {
    const parts = (this.held + Buffer.from(chunk).toString('latin1')).split('\n')
    this.held = parts.pop()!
    for (const raw of parts) {
      const line = raw.trim()
      if (line === '') continue
      this.received.push(line)
      if (this.handler(line, reply, this) === true || this.silent) continue
      const answer = this.answer(line)
      if (answer !== null) reply(answer + this.ends)
    }
  }

  answer(line: string): string | null {
    if (line === '*IDN?') return this.identity
    if (line === '*CLS') { this.errors = []; return null }
    if (line === '*ESE?') return String(this.ese)
    if (line.startsWith('*ESE ')) { this.ese = Number(line.slice(5)); return null }
    if (line === 'SYST:ERR?') return this.errors.shift() ?? '0,"No error"'
    if (line === 'VOLT?') return this.level.toFixed(3)
    if (line.startsWith('VOLT ')) {
      const value = Number(line.slice(5))
      if (value > 30) this.errors.push('-222,"Data out of range;VOLT"')
      else this.level = value
      return null
    }
    if (line.startsWith('OUTP ')) return null
    this.errors.push(`-113,"Undefined header;${line}"`)
    return null
  }
}
