/** Data of binary blocks: numbers in either byte order, and the scaling a waveform preamble gives. Pure. */
import { BenchError } from '../base/errors.ts'
import { splitFields } from './lists.ts'
import { formError, parseNumber } from './values.ts'

export type BlockFormat =
  'real32' | 'real64' | 'int8' | 'uint8' | 'int16' | 'uint16' | 'int24' | 'int32'
/** `normal`: most significant byte first (from memory, and the default of FORMat:BORDer); `swapped`: last. */
export type ByteOrder = 'normal' | 'swapped'

type Reader = (view: DataView, at: number, littleEndian: boolean) => number

const formats: Readonly<Record<BlockFormat, { bytes: number; read: Reader }>> = {
  real32: { bytes: 4, read: (view, at, little) => view.getFloat32(at, little) },
  real64: { bytes: 8, read: (view, at, little) => view.getFloat64(at, little) },
  int8: { bytes: 1, read: (view, at) => view.getInt8(at) },
  uint8: { bytes: 1, read: (view, at) => view.getUint8(at) },
  int16: { bytes: 2, read: (view, at, little) => view.getInt16(at, little) },
  uint16: { bytes: 2, read: (view, at, little) => view.getUint16(at, little) },
  int24: { bytes: 3, read: int24 },
  int32: { bytes: 4, read: (view, at, little) => view.getInt32(at, little) },
}

/** Three bytes, packed. The most significant one carries the sign. */
function int24(view: DataView, at: number, little: boolean): number {
  const [high, low] = little ? [at + 2, at] : [at, at + 2]
  return view.getInt8(high) * 65536 + view.getUint8(at + 1) * 256 + view.getUint8(low)
}

/**
 * The numbers of a block as they were sent; sentinels are still in them. Throws
 * ANSWER_FORM on a broken last one.
 */
export function blockNumbers(data: Uint8Array, format: BlockFormat, order: ByteOrder): Float64Array {
  const { bytes, read } = formats[format]
  if (data.length % bytes !== 0) {
    throw new BenchError('ANSWER_FORM', 'the block ends in the middle of a number', {
      expected: `a multiple of ${bytes} bytes`, got: `${data.length} bytes`,
    })
  }
  const view = new DataView(data.buffer, data.byteOffset, data.byteLength)
  const little = order === 'swapped'
  const out = new Float64Array(data.length / bytes)
  for (let i = 0; i < out.length; i++) out[i] = read(view, i * bytes, little)
  return out
}

/**
 * The scaling part of a waveform preamble; s and V. What its format and type codes mean
 * differs between makes.
 */
export interface Preamble {
  readonly format: number
  readonly type: number
  readonly points: number
  readonly xIncrementS: number
  readonly xOriginS: number
  readonly xReference: number
  readonly yIncrementV: number
  readonly yOriginV: number
  readonly yReference: number
}

/** Reads `format,type,points,count,xinc,xorig,xref,yinc,yorig,yref[,…]`. Throws ANSWER_FORM. */
export function parsePreamble(text: string): Preamble {
  const fields = splitFields(text)
  if (fields.length < 10) throw formError('no preamble', 'ten numbers', text)
  const n = fields.slice(0, 10).map(field => parseNumber(field).value)
  return {
    format: n[0]!, type: n[1]!, points: n[2]!, xIncrementS: n[4]!, xOriginS: n[5]!, xReference: n[6]!,
    yIncrementV: n[7]!, yOriginV: n[8]!, yReference: n[9]!,
  }
}

/** Time of sample `index`, in s. */
export const sampleTimeS = (p: Preamble, index: number): number =>
  (index - p.xReference) * p.xIncrementS + p.xOriginS
/** Voltage of a raw code, in V (from memory: some makes subtract the origin before scaling). */
export const sampleVoltageV = (p: Preamble, raw: number): number =>
  (raw - p.yReference) * p.yIncrementV + p.yOriginV
