/** Windows as sums of cosines, periodic: w[n] = Σ (−1)^k·a_k·cos(2πkn/N). */

interface WindowShape {
  readonly terms: readonly number[]
  /** Bins on either side of a line that hold what it has: half its main lobe and one more. */
  readonly reach: number
  /** Where the terms come from. */
  readonly source: string
}

/**
 * `rectangular` holds a whole number of periods of each line, and each line is then in one bin. The others
 * are for lines that are anywhere.
 */
export const windows = {
  rectangular: { terms: [1], reach: 0, source: 'no window' },
  hann: { terms: [0.5, 0.5], reach: 3, source: 'common practice' },
  'blackman-harris': {
    terms: [0.35875, 0.48829, 0.14128, 0.01168], reach: 5, source: 'Harris 1978, four terms; from memory',
  },
  'flat-top': {
    terms: [0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368], reach: 6,
    source: 'five terms, as a public manual of a mathematics program prints them',
  },
  hft144d: {
    terms: [1, 1.96760033, 1.57983607, 0.81123644, 0.22583558, 0.02773848, 0.0009036], reach: 8,
    source: 'Heinzel, Rüdiger and Schilling 2002; from memory',
  },
} as const satisfies Record<string, WindowShape>

export type WindowName = keyof typeof windows
export const windowNames = Object.keys(windows) as WindowName[]

export function windowOf(name: WindowName, count: number): Float64Array {
  const { terms }: WindowShape = windows[name]
  const values = new Float64Array(count)
  for (let i = 0; i < count; i++) {
    let sum = 0
    for (let k = 0; k < terms.length; k++) {
      sum += (k % 2 === 0 ? terms[k]! : -terms[k]!) * Math.cos(2 * Math.PI * ((k * i) % count) / count)
    }
    values[i] = sum
  }
  return values
}

/** What a window does to lines and to noise; of a cosine sum it follows from the terms alone. */
export interface WindowFigures {
  /** Mean of the window: what a line that fills its bin is read low by. */
  readonly gain: number
  /** Bins of noise that one bin holds. */
  readonly noiseBins: number
  /** How many times the variance of a sum of noise powers is raised because neighbours go together. */
  readonly together: number
}

export function windowFigures(name: WindowName): WindowFigures {
  const { terms }: WindowShape = windows[name]
  const count = 16 * terms.length
  const values = windowOf(name, count)
  const mean = (power: number): number => values.reduce((sum, w) => sum + w ** power, 0) / count
  return { gain: mean(1), noiseBins: mean(2) / mean(1) ** 2, together: mean(4) / mean(2) ** 2 }
}
