/**
 * What two tones make of each other. The same products are summed in several ways by different people; each
 * sum here says which it is.
 */
import { lineWithNoise, rootOf } from './noise-around.ts'
import type { Estimate } from './sine-fit.ts'
import { lineBins, showsLine, spectrumOf, type Spectrum } from './spectrum.ts'
import type { WindowName } from './windows.ts'

export interface TonePair { readonly lowHz: number; readonly highHz: number }

/** 60 Hz and 7 kHz, 4 to 1, as trade practice has it. */
export const modulationPair: TonePair = { lowHz: 60, highHz: 7000 }
export const differencePair: TonePair = { lowHz: 19_000, highHz: 20_000 }

export interface Product { readonly name: string; readonly frequencyHz: number; readonly rms: Estimate }

interface Common {
  /** As found. */
  readonly lowHz: number
  readonly highHz: number
  readonly lowRms: Estimate
  readonly highRms: Estimate
  readonly window: WindowName
  readonly products: readonly Product[]
}

/** Shares of the high tone. */
export interface Modulation extends Common {
  /** Both sidebands of an order added, orders by their squares. */
  readonly pairSum: Estimate
  /** All sidebands by their squares. */
  readonly rootSum: Estimate
  /** Of each order, its sidebands added: the second order is high ± low, the third high ± 2·low … */
  readonly orders: readonly { readonly order: number; readonly share: Estimate }[]
}

/** Shares of both tones together (`ofSum`), and of the upper one (`ofUpper`: twice as much). */
export interface Difference extends Common {
  readonly second: Shares
  /** Both products of the third order added. */
  readonly third: Shares
  /** All three by their squares. */
  readonly both: Shares
}
export interface Shares { readonly ofSum: Estimate; readonly ofUpper: Estimate }

/** Sidebands of this many orders are counted. */
const modulationOrders = 4

/** RangeError where a tone is not there. */
export function analyseModulation(
  samples: ArrayLike<number>, sampleHz: number, pair = modulationPair, window: WindowName = 'hft144d',
): Modulation {
  const { spectrum, common } = pairIn(samples, sampleHz, pair, window)
  const { lowHz, highHz, highRms } = common
  const orders = Array.from({ length: modulationOrders }, (_, i) => {
    const away = (i + 1) * lowHz
    const sides = [-1, 1].map(side =>
      productAt(spectrum, `high ${side < 0 ? '-' : '+'} ${i + 1} low`, highHz + side * away))
    return { order: i + 2, sides }
  })
  const products = orders.flatMap(({ sides }) => sides)
  const sums = orders.map(({ sides }) => added(sides))
  return {
    ...common, products, pairSum: over(rooted(sums), highRms),
    rootSum: over(rooted(products.map(({ rms }) => rms)), highRms),
    orders: orders.map(({ order }, i) => ({ order, share: over(sums[i]!, highRms) })),
  }
}

/** RangeError where a tone is not there. */
export function analyseDifference(
  samples: ArrayLike<number>, sampleHz: number,
  pair = differencePair, window: WindowName = 'hft144d',
): Difference {
  const { spectrum, common } = pairIn(samples, sampleHz, pair, window)
  const { lowHz, highHz, lowRms, highRms } = common
  const second = productAt(spectrum, 'high - low', highHz - lowHz)
  const third = [
    productAt(spectrum, '2 low - high', 2 * lowHz - highHz),
    productAt(spectrum, '2 high - low', 2 * highHz - lowHz),
  ]
  const sum = added([{ rms: lowRms }, { rms: highRms }])
  const shares = (product: Estimate): Shares =>
    ({ ofSum: over(product, sum), ofUpper: over(product, highRms) })
  return {
    ...common, products: [second, ...third],
    second: shares(second.rms), third: shares(added(third)),
    both: shares(rooted([second.rms, ...third.map(({ rms }) => rms)])),
  }
}

/** A sine and a square wave of about a fifth of its frequency: nine products lie below the sine. */
export const transientPair = { sineHz: 15_000, squareHz: 3150 } as const
const squareOrders = 9

export interface Transient {
  readonly sineHz: number
  readonly sineRms: Estimate
  readonly share: Estimate
  readonly products: readonly Product[]
}

/** By their squares, as a share of the sine. RangeError where the sine is not there. */
export function analyseTransient(
  samples: ArrayLike<number>, sampleHz: number,
  { sineHz, squareHz } = transientPair, window: WindowName = 'hft144d',
): Transient {
  const spectrum = spectrumOf(samples, sampleHz, window)
  const sine = productAt(spectrum, 'sine', foundHz(spectrum, sineHz))
  const products = Array.from({ length: squareOrders }, (_, i) => {
    const hz = Math.abs((i + 1) * squareHz - sineHz)
    return productAt(spectrum, `${i + 1} square - sine`, hz)
  })
  const share = over(rooted(products.map(({ rms }) => rms)), sine.rms)
  return { sineHz: sine.frequencyHz, sineRms: sine.rms, products, share }
}

function pairIn(
  samples: ArrayLike<number>, sampleHz: number, pair: TonePair, window: WindowName,
): { spectrum: Spectrum; common: Omit<Common, 'products'> } {
  const spectrum = spectrumOf(samples, sampleHz, window)
  const [lowHz, highHz] = [foundHz(spectrum, pair.lowHz), foundHz(spectrum, pair.highHz)]
  const rms = (hz: number): Estimate => productAt(spectrum, '', hz).rms
  return { spectrum, common: { lowHz, highHz, lowRms: rms(lowHz), highRms: rms(highHz), window } }
}

/** Clocks of two instruments are nearer to each other than this (common practice: some 1e-4). */
const clockShare = 1e-3
/** A tone stands out of what is around it by this much, in mean square. */
const standsOut = 100

/** Where the tone that is meant to be at `hz` really is: the centre of what its bins hold. */
export function foundHz(spectrum: Spectrum, hz: number): number {
  const { power, binHz, reach } = spectrum
  if (!showsLine(spectrum, hz)) throw new RangeError(`a tone at ${hz} Hz cannot be told in this record`)
  const middle = Math.round(hz / binHz)
  const slack = Math.max(1, Math.ceil(clockShare * middle))
  let most = middle
  for (let bin = Math.max(1, middle - slack); bin <= middle + slack && bin < power.length; bin++) {
    if (power[bin]! > power[most]!) most = bin
  }
  const { power: held, floor } = lineWithNoise(spectrum, most * binHz)
  if (!(held > standsOut * floor) || held === 0) throw new RangeError(`there is no tone at ${hz} Hz`)
  if (reach === 0) return most * binHz
  let moment = 0
  for (const bin of lineBins(spectrum, most * binHz)) moment += bin * power[bin]!
  return moment / held * binHz
}

function productAt(spectrum: Spectrum, name: string, frequencyHz: number): Product {
  if (!showsLine(spectrum, frequencyHz)) return { name, frequencyHz, rms: { value: 0, u: 0 } }
  const { power, u } = lineWithNoise(spectrum, frequencyHz)
  return { name, frequencyHz, rms: rootOf(power, u) }
}

const added = (parts: readonly { rms: Estimate }[]): Estimate => ({
  value: parts.reduce((sum, { rms }) => sum + rms.value, 0), u: Math.hypot(...parts.map(({ rms }) => rms.u)),
})

function rooted(parts: readonly Estimate[]): Estimate {
  const value = Math.hypot(...parts.map(part => part.value))
  return { value, u: value === 0 ? 0 : Math.hypot(...parts.map(part => part.value * part.u)) / value }
}

const over = ({ value, u }: Estimate, { value: whole, u: wholeU }: Estimate): Estimate =>
  ({ value: value / whole, u: Math.hypot(u, value / whole * wholeU) / whole })
