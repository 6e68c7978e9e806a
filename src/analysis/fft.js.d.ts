/** The part of fft.js used here; the library ships no types. */
declare module 'fft.js' {
  export default class FFT {
    /** `size`: a power of two, at least 2. */
    constructor(size: number)
    createComplexArray(): number[]
    /** Both interleaved re, im; `output` is overwritten. */
    transform(output: number[], input: readonly number[]): void
    inverseTransform(output: number[], input: readonly number[]): void
  }
}
