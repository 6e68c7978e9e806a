/** Where commands write: a terminal is redrawn in place, a pipe gets plain lines. */
import { clip } from './table.ts'

/** The part of a writable stream that commands use. `columns` and `rows` are there on a terminal. */
export interface Output {
  write(text: string): unknown
  readonly isTTY?: boolean | undefined
  readonly columns?: number | undefined
  readonly rows?: number | undefined
  /** There on a real stream: when `write` gave false, waits until it takes more. */
  once?(event: 'drain', listener: () => void): unknown
}

/** Writes piece after piece, no faster than the reader takes them. */
export async function pour(out: Output, pieces: AsyncIterable<string>): Promise<void> {
  for await (const piece of pieces) {
    if (out.write(piece) === false && out.once) await new Promise<void>(
      resolve => out.once!('drain', resolve)
    )
  }
}

/**
 * Lines that stay, and below them, on a terminal, a block that is redrawn. In a pipe the block is never
 * written.
 */
export class Screen {
  readonly #out: Output
  #drawn = 0
  #block: readonly string[] = []

  constructor(out: Output) { this.#out = out }

  get live(): boolean { return this.#out.isTTY === true }
  get width(): number { return this.live ? Math.max(20, this.#out.columns ?? 80) : Infinity }

  /** Writes a line that stays. */
  line(text: string): void {
    this.#erase()
    this.#out.write(`${text}\n`)
    this.#draw()
  }

  /** Shows `lines` in place of the block before; never taller or wider than the terminal. */
  block(lines: readonly string[]): void {
    if (!this.live) return
    const room = Math.max(1, (this.#out.rows ?? 24) - 1)
    const shown = lines.length <= room ? lines : [
      ...lines.slice(0, room - 1), `… and ${lines.length - room + 1} more`
    ]
    this.#erase()
    this.#block = shown.map(line => clip(line, this.width))
    this.#draw()
  }

  /** Leaves the block where it stands. */
  end(): void { this.#block = []; this.#drawn = 0 }

  #erase(): void {
    // ECMA-48: cursor up, then erase to the end of the screen.
    if (this.#drawn > 0) this.#out.write(`\u001b[${this.#drawn}A\u001b[J`)
    this.#drawn = 0
  }

  #draw(): void {
    if (this.#block.length === 0) return
    this.#out.write(`${this.#block.join('\n')}\n`)
    this.#drawn = this.#block.length
  }
}
