/**
 * Bytes to frames: a pure stage. The same bytes give the same frames however they are cut into chunks.
 *
 * A line ends at the terminator, unless that stands inside a quoted string that begins a data item. A block
 * is read only where one is asked for: bytes are counted, then the terminator is eaten. An indefinite block
 * has no end of its own on a link without an end mark, so silence ends it: the owner calls quiet().
 */
import { BenchError } from '../base/errors.ts'
import { assert } from '../base/assert.ts'

export type Frame =
  | { readonly kind: 'line'; readonly text: string }
  /**
   * `head`, `tail`: what stood before `#` and between the last data byte and the
   * terminator; blank on a plain answer.
   */
  | { readonly kind: 'block'; readonly head: string; readonly bytes: Uint8Array; readonly tail: string }

export type FrameMode = 'line' | 'block'

export interface FramerOptions {
  /** Most bytes one frame may have; more is LINK_OVERFLOW. */
  readonly bytesMax: number
  /** The byte a frame ends with. Default LF. */
  readonly terminator?: '\n' | '\r'
}

const quote = 0x22
const hash = 0x23
const comma = 0x2c
const semicolon = 0x3b
const zero = 0x30
const nine = 0x39
const space = 0x20
const firstBytes = 256

export class Framer {
  readonly #end: number
  readonly #bytesMax: number
  #mode: FrameMode = 'line'
  #held = Buffer.alloc(firstBytes)
  #length = 0
  /** Where the digits of a block header begin; 0 while no `#` was seen. */
  #digits = 0
  #inString = false
  #atItem = true
  /**
   * Where the data of a block begins and ends; -1 while unknown, Infinity as an end for an indefinite block.
   */
  #dataStart = -1
  #dataEnd = -1

  constructor(options: FramerOptions) {
    assert(options.bytesMax > 0, 'a frame needs a byte limit')
    this.#bytesMax = options.bytesMax
    this.#end = options.terminator === '\r' ? 13 : 10
  }

  /** What is asked for next. Whatever was held belongs to something earlier and is dropped. */
  expect(mode: FrameMode): void {
    if (mode === this.#mode && this.#length === 0) return
    this.#mode = mode
    this.reset()
  }

  /** Drops what is held. */
  reset(): void {
    this.#length = 0
    this.#digits = 0
    this.#inString = false
    this.#atItem = true
    this.#dataStart = -1
    this.#dataEnd = -1
  }

  /** True while some bytes of a frame are here and its end is not. */
  get partial(): boolean { return this.#length > 0 }
  /** What is held, as text: for messages, and to know a prompt that has no line end. */
  get heldText(): string { return latin1(this.#held, 0, this.#length) }
  /** True while an indefinite block is being read; quiet() will end it. */
  get openEnded(): boolean { return this.#dataEnd === Infinity }

  /** Takes a chunk and emits every frame it completes. Throws LINK_OVERFLOW, after which nothing is held. */
  push(chunk: Uint8Array, emit: (frame: Frame) => void): void {
    if (this.#length === 0 && this.#mode === 'line' && this.#isOnePlainLine(chunk)) {
      return emit({ kind: 'line', text: latin1(chunk, 0, chunk.length - 1) })
    }
    let from = 0
    while (from < chunk.length) from = this.#take(chunk, from, emit)
  }

  /** Silence on the link: ends an indefinite block whose last byte is the terminator. */
  quiet(emit: (frame: Frame) => void): void {
    if (!this.openEnded || this.#length === this.#dataStart) return
    if (this.#held[this.#length - 1] !== this.#end) return
    const frame = this.#block(this.#length - 1, this.#length - 1)
    this.reset()
    emit(frame)
  }

  #isOnePlainLine(chunk: Uint8Array): boolean {
    const last = chunk.length - 1
    if (chunk[last] !== this.#end || last > this.#bytesMax) return false
    for (let i = 0; i < last; i++) {
      const byte = chunk[i]!
      if (byte === this.#end || byte === quote) return false
    }
    return true
  }

  /** Copies bytes until a frame is complete or the chunk ends; returns how far it came. */
  #take(chunk: Uint8Array, from: number, emit: (frame: Frame) => void): number {
    if (this.#dataEnd > this.#length) return this.#takeData(chunk, from)
    let i = from
    while (i < chunk.length) {
      const byte = chunk[i++]!
      if (byte === this.#end && !this.#inString) {
        this.#emit(emit)
        return i
      }
      this.#hold(byte)
      if (this.#mode === 'block' && this.#dataEnd < 0) {
        this.#lookForBlock()
        if (this.#dataEnd > this.#length) return i
      } else if (this.#dataEnd < 0) this.#lookForString(byte)
    }
    return i
  }

  #takeData(chunk: Uint8Array, from: number): number {
    const count = Math.min(this.#dataEnd - this.#length, chunk.length - from)
    this.#reserve(this.#length + count)
    this.#held.set(chunk.subarray(from, from + count), this.#length)
    this.#length += count
    return from + count
  }

  #lookForString(byte: number): void {
    if (byte === quote && (this.#inString || this.#atItem)) {
      // A doubled quote closes the string and opens it again at once, which comes to the same.
      this.#inString = !this.#inString
      this.#atItem = !this.#inString
    } else if (!this.#inString) {
      if (byte === comma || byte === semicolon) this.#atItem = true
      else if (byte > space) this.#atItem = false
    }
  }

  /** A block header: `#`, a digit d, then d digits of count; `#0` for one that is open-ended. */
  #lookForBlock(): void {
    const held = this.#held
    if (this.#digits === 0) {
      if (held[this.#length - 1] !== hash) return
      this.#digits = this.#length
    }
    const digits = this.#length - this.#digits
    if (digits === 0) return
    const count = held[this.#digits]! - zero
    const newest = held[this.#length - 1]!
    if (newest < zero || newest > nine) { this.#digits = 0; return }
    if (count === 0) this.#dataEnd = Infinity
    else if (digits === count + 1) {
      const size = Number(latin1(held, this.#digits + 1, this.#length))
      this.#dataEnd = this.#length + size
      if (this.#dataEnd > this.#bytesMax) this.#overflow(this.#dataEnd)
    } else return
    this.#dataStart = this.#length
  }

  #emit(emit: (frame: Frame) => void): void {
    const frame: Frame = this.#dataStart < 0
      ? { kind: 'line', text: this.heldText }
      : this.#block(this.#dataEnd, this.#length)
    this.reset()
    emit(frame)
  }

  #block(dataEnd: number, frameEnd: number): Frame {
    return {
      kind: 'block',
      head: latin1(this.#held, 0, this.#digits - 1),
      bytes: new Uint8Array(this.#held.subarray(this.#dataStart, dataEnd)),
      tail: latin1(this.#held, dataEnd, frameEnd),
    }
  }

  #hold(byte: number): void {
    if (this.#length === this.#held.length || this.#length >= this.#bytesMax) this.#reserve(this.#length + 1)
    this.#held[this.#length++] = byte
  }

  #reserve(bytes: number): void {
    if (bytes > this.#bytesMax) this.#overflow(bytes)
    if (bytes <= this.#held.length) return
    const larger = Buffer.alloc(Math.max(bytes, this.#held.length * 2))
    this.#held.copy(larger, 0, 0, this.#length)
    this.#held = larger
  }

  #overflow(bytes: number): never {
    this.reset()
    throw new BenchError('LINK_OVERFLOW', 'it sent more than one answer can be', {
      expected: `at most ${this.#bytesMax} bytes`, got: `${bytes} or more`,
    })
  }
}

/** Bytes as text, one character a byte. */
export function latin1(bytes: Uint8Array, start: number, end: number): string {
  const buffer =
    Buffer.isBuffer(bytes) ? bytes : Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  return buffer.toString('latin1', start, end)
}
