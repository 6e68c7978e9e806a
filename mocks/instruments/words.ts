/** How a digitizer writes samples: blocks of words in either byte order, or numbers in a line. */

export type WordKind = 'INT' | 'UINT' | 'REAL' | 'ASC'
export interface WordForm { readonly kind: WordKind; readonly bits: number; readonly swapped: boolean }

/** `#`, the number of digits of the count, the count, and the bytes, one character each. */
export function block(values: ArrayLike<number>, form: WordForm): string {
  const bytes = form.bits / 8
  const data = Buffer.alloc(values.length * bytes)
  for (let i = 0; i < values.length; i++) writeWord(data, i * bytes, values[i]!, form)
  const count = String(data.length)
  return `#${count.length}${count}${data.toString('latin1')}`
}

function writeWord(data: Buffer, at: number, value: number, { kind, bits, swapped }: WordForm): void {
  const bytes = bits / 8
  if (kind === 'REAL') {
    const view = new DataView(data.buffer, data.byteOffset + at, bytes)
    if (bits === 32) view.setFloat32(0, value, swapped)
    else view.setFloat64(0, value, swapped)
    return
  }
  // Two's complement by arithmetic, byte by byte: no width is special.
  let rest = value < 0 ? value + 2 ** bits : value
  for (let i = 0; i < bytes; i++) {
    data[at + (swapped ? i : bytes - 1 - i)] = rest % 256
    rest = Math.floor(rest / 256)
  }
}

export const listed = (values: ArrayLike<number>, print: (value: number) => string): string =>
  Array.from(values, print).join(',')
