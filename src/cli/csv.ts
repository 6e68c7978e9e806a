/** CSV as RFC 4180 has it, with the place of every cell and of every quote that is wrong. */

export interface CsvCell { readonly text: string; readonly line: number; readonly column: number }
export interface CsvFault { line: number; column: number; expected: string; got: string }
export interface Csv { readonly records: CsvCell[][]; readonly faults: CsvFault[] }

/**
 * Records without the empty ones; comma, or semicolon where the first line has only those. A cell whose quote
 * is not closed before the next comma is a fault, and is read on as if it had no quote: what follows is still
 * judged.
 */
export function parseCsv(text: string): Csv {
  const firstLine = /^[^\r\n]*/.exec(text)![0]
  return new CsvReader(text, firstLine.includes(';') && !firstLine.includes(',') ? ';' : ',').read()
}

class CsvReader {
  readonly #text: string
  readonly #comma: string
  readonly #cellEnd: RegExp
  readonly #faults: CsvFault[] = []
  #at = 0
  #line = 1
  #lineStart = 0
  /** Where the line that is being read ends. */
  #lineEnd: number

  constructor(text: string, comma: string) {
    this.#text = text
    this.#comma = comma
    this.#cellEnd = new RegExp(`[${comma}\n]|$`, 'g')
    this.#lineEnd = this.#endFrom(0)
  }

  read(): Csv {
    const records: CsvCell[][] = []
    for (let cells: CsvCell[] = []; ;) {
      const { line, column } = this.#place(this.#at)
      cells.push({ text: this.#cell(), line, column })
      const ended = this.#text[this.#at]
      if (ended !== this.#comma) {
        if (cells.some(({ text }) => text.trim() !== '')) records.push(cells)
        cells = []
      }
      if (ended === undefined) return { records, faults: this.#faults }
      this.#moveTo(this.#at + 1)
    }
  }

  /** Reads one cell and stands at what ends it. */
  #cell(): string {
    const quote = this.#afterBlanks(this.#at)
    const isQuoted = this.#text[quote] === '"'
    const whole = isQuoted ? this.#quoted(quote) : null
    if (whole !== null) return whole
    const begin = isQuoted ? quote + 1 : this.#at
    this.#cellEnd.lastIndex = begin
    const end = this.#cellEnd.exec(this.#text)!.index
    this.#moveTo(end)
    return this.#text.slice(begin, end).replaceAll('\r', '')
  }

  /** The text of a quoted cell; null, with a fault, where its quote is not closed. */
  #quoted(quote: number): string | null {
    let text = ''
    for (let from = quote + 1; ;) {
      const end = this.#text.indexOf('"', from)
      if (end < 0) return this.#unclosed(quote)
      text += this.#text.slice(from, end)
      if (this.#text[end + 1] === '"') { text += '"'; from = end + 2; continue }
      const after = this.#afterBlanks(end + 1)
      if (after < this.#text.length && this.#text[after] !== this.#comma && this.#text[after] !== '\n') {
        return this.#unclosed(quote)
      }
      this.#moveTo(after)
      return text
    }
  }

  #unclosed(quote: number): null {
    const begins = JSON.stringify(this.#text.slice(quote, quote + 20).split(/[\r\n]/, 1)[0])
    const expected = 'a quote that is closed where its cell ends'
    this.#faults.push({ ...this.#place(quote), expected, got: begins })
    return null
  }

  #afterBlanks(from: number): number {
    let at = from
    while (' \t\r'.includes(this.#text[at] ?? '.')) at++
    return at
  }

  /** Of something in the line that is being read. */
  #place(at: number): { line: number; column: number } {
    return { line: this.#line, column: at - this.#lineStart + 1 }
  }

  #moveTo(at: number): void {
    while (this.#lineEnd < at) {
      this.#line++
      this.#lineStart = this.#lineEnd + 1
      this.#lineEnd = this.#endFrom(this.#lineStart)
    }
    this.#at = at
  }

  #endFrom(from: number): number {
    const end = this.#text.indexOf('\n', from)
    return end < 0 ? Infinity : end
  }
}
