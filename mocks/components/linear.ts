/** Small linear systems, real and complex, by elimination with the largest pivot of each column. */

/** Solves `a`·x = `b` in place; `a` by rows, n×n. Returns false where a column has no pivot at all. */
export function solveReal(a: Float64Array, b: Float64Array, n: number): boolean {
  for (let column = 0; column < n; column++) {
    let pivot = column
    for (let row = column + 1; row < n; row++) {
      if (Math.abs(a[row * n + column]!) > Math.abs(a[pivot * n + column]!)) pivot = row
    }
    if (a[pivot * n + column] === 0) return false
    if (pivot !== column) swapRows(a, b, n, pivot, column)
    for (let row = column + 1; row < n; row++) {
      const factor = a[row * n + column]! / a[column * n + column]!
      if (factor === 0) continue
      for (let k = column; k < n; k++) a[row * n + k]! -= factor * a[column * n + k]!
      b[row]! -= factor * b[column]!
    }
  }
  for (let row = n - 1; row >= 0; row--) {
    let sum = b[row]!
    for (let k = row + 1; k < n; k++) sum -= a[row * n + k]! * b[k]!
    b[row] = sum / a[row * n + row]!
  }
  return true
}

function swapRows(a: Float64Array, b: Float64Array, n: number, i: number, j: number): void {
  for (let k = 0; k < n; k++) {
    const held = a[i * n + k]!
    a[i * n + k] = a[j * n + k]!
    a[j * n + k] = held
  }
  const held = b[i]!
  b[i] = b[j]!
  b[j] = held
}

export interface Complex { readonly re: number; readonly im: number }
export const inverse = ({ re, im }: Complex): Complex => {
  const size = re * re + im * im
  return { re: re / size, im: -im / size }
}

/** Solves a complex system as a real one of twice the size; `b` holds real parts, then imaginary parts. */
export function solveComplex(re: Float64Array, im: Float64Array, b: Float64Array, n: number): boolean {
  const m = 2 * n
  const a = new Float64Array(m * m)
  for (let row = 0; row < n; row++) {
    for (let column = 0; column < n; column++) {
      const [r, i] = [re[row * n + column]!, im[row * n + column]!]
      a[row * m + column] = r
      a[row * m + n + column] = -i
      a[(n + row) * m + column] = i
      a[(n + row) * m + n + column] = r
    }
  }
  return solveReal(a, b, m)
}
