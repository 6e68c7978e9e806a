/** What was found in a recording, as lines for a terminal. Intervals are two standard uncertainties. */
import { formatSi, formatWithU, noNumber } from '../base/format.ts'
import type { Answer, Found } from '../sound/analyse.ts'
import { weightingTitles } from '../sound/words.ts'
import { renderTable } from './table.ts'

interface Told { readonly value: number; readonly u: number }

export function answerLines(file: string, answer: Answer): string[] {
  const { channel, channels, samples, sampleHz, format, cautions, found } = answer
  const seconds = (samples / sampleHz).toPrecision(4)
  return [
    `${file}, channel ${channel} of ${channels}: ${samples} samples, ${seconds} s at ${sampleHz} Hz, `
      + format,
    ...cautions.map(caution => `CAUTION: ${caution}`), '',
    ...foundLines(found, answer.unit), '',
    answer.unit === 'FS' ? 'Levels are shares of full scale; --scale FILE turns them into volts.'
      : 'Intervals hold what is true 95 times of 100.',
  ]
}

function foundLines(found: Found, unit: string): string[] {
  const level = ({ value, u }: Told): string => `${formatWithU(value, 2 * u, unit)} RMS`
  switch (found.as) {
    case 'tone': return toneLines(found.tone, unit, level)
    case 'noise': return noiseLines(found.noise, unit, level)
    case 'sweep': return responseLines(found.response)
    case 'smpte': {
      const { lowHz, highHz, lowRms, highRms, pairSum, rootSum, orders, products, window } = found.modulation
      return [
        ...pairLines(lowHz, highHz, lowRms, highRms, level),
        `IMD, pairs added, orders by squares  ${share(pairSum)} of the high tone`,
        `IMD, all sidebands by squares        ${share(rootSum)} of the high tone`,
        ...orders.map(one => `order ${one.order}, pair added  ${share(one.share)}`),
        ...productLines(products, unit), windowLine(window),
      ]
    }
    case 'difference': {
      const { lowHz, highHz, lowRms, highRms, second, third, both, products, window } = found.difference
      const shares = (one: typeof both): string =>
        `${share(one.ofSum)} of both tones, ${share(one.ofUpper)} of the upper`
      return [
        ...pairLines(lowHz, highHz, lowRms, highRms, level),
        `second order  ${shares(second)}`, `third order   ${shares(third)}`,
        `both, by squares  ${shares(both)}`,
        ...productLines(products, unit), windowLine(window),
      ]
    }
    case 'transient': {
      const { sineHz, sineRms, share: whole, products } = found.transient
      return [
        `sine  ${hertz(sineHz)}, ${level(sineRms)}`,
        `nine products by squares  ${share(whole)} of the sine`, ...productLines(products, unit),
      ]
    }
  }
}

type Response = Extract<Found, { as: 'sweep' }>['response']
type Tone = Extract<Found, { as: 'tone' }>['tone']
type Noise = Extract<Found, { as: 'noise' }>['noise']

function toneLines(tone: Tone, unit: string, level: (told: Told) => string): string[] {
  const { frequencyHz, rms, dc, thd, thdN, sinadDb, snrDb, effectiveBits, harmonics, window } = tone
  const band = `${hertz(thdN.band.fromHz)} to ${hertz(thdN.band.toHz)}`
  const atFloor = thd.f.value < 1.5 * thd.floor ? '; no more than the noise in their bins' : ''
  return [
    `frequency  ${formatWithU(frequencyHz.value, 2 * frequencyHz.u, 'Hz')}`,
    `level      ${level(rms)}`,
    `DC         ${formatWithU(dc.value, 2 * dc.u, unit)}`,
    `THD        ${share(thd.f)} of the fundamental, ${share(thd.r)} of the whole, `
      + `orders 2 to ${thd.orders}${atFloor}`,
    `THD+N      ${share(thdN.f)} of the fundamental, ${share(thdN.r)} of the whole, ${band}`,
    `SINAD      ${decibels(sinadDb)}, ${band}`,
    `SNR        ${decibels(snrDb)}, without the counted harmonics`,
    `as an ideal converter of ${effectiveBits.toFixed(2)} bits that this tone fills`, '',
    ...renderTable(
      [...['order', 'frequency', 'level', 'of the fundamental'].map(heading => ({ heading, right: true })),
        { heading: '' }],
      harmonics.map(({ order, frequencyHz: hz, rms: one, ratio, isAtFloor }) => [
        `${order}`, hertz(hz), formatSi(one.value, unit, 3), `${(20 * Math.log10(ratio)).toFixed(1)} dB`,
        isAtFloor ? 'noise' : '',
      ]),
    ),
    '', `window: ${window.name}, ${window.why}`,
  ]
}

function noiseLines(
  { rms, band, hum, window, dc }: Noise, unit: string, level: (told: Told) => string,
): string[] {
  const names = ['flat', 'A', 'C', 'itu468'] as const
  const width = Math.max(...names.map(name => weightingTitles[name].length))
  return [
    `noise, ${hertz(band.fromHz)} to ${hertz(band.toHz)}`,
    ...names.map(name => `${weightingTitles[name].padEnd(width)}  ${level(rms[name])}`),
    `${'DC'.padEnd(width)}  ${formatSi(dc, unit, 3)}`,
    ...hum === null ? [] : [
      '', `mains ${hum.mainsHz.toFixed(2)} Hz: all lines ${level(hum.rms)}`,
      ...renderTable(['order', 'frequency', 'level'].map(heading => ({ heading, right: true })),
        hum.lines.map(line => [`${line.order}`, hertz(line.frequencyHz), level(line.rms)])),
    ],
    windowLine(window),
  ]
}

/** Every second point: a third of an octave each. */
function responseLines(response: Response): string[] {
  const { gain, delayS, referenceHz, against, band, lowHz, highHz, points } = response
  const corner = (hz: number | null): string => hz === null ? 'beyond what was swept' : hertz(hz)
  const percent = (ratio: number | null): string =>
    ratio === null ? noNumber : `${(100 * ratio).toPrecision(3)} %`
  const columns = ['frequency', 'response', 'second harmonic', 'third harmonic']
  return [
    `gain at ${hertz(referenceHz)}  ${formatWithU(gain.value, 2 * gain.u, '1')} of file to file, `
      + `after ${formatSi(delayS, 's', 4)}`,
    `${hertz(band.fromHz)} to ${hertz(band.toHz)}  `
      + `${signed(band.leastDb)} to ${signed(band.mostDb)} dB`,
    ...against === null ? [] : [`levels are against the ${against === 'riaa' ? 'RIAA' : 'IEC'} curve`],
    `-3 dB at  ${corner(lowHz)} (low) and ${corner(highHz)} (high)`, '',
    ...renderTable(columns.map(heading => ({ heading, right: true })),
      points.filter((_, i) => i % 2 === 0).map(({ frequencyHz, db, second, third }) =>
        [hertz(frequencyHz), decibels(db), percent(second), percent(third)])),
  ]
}

const pairLines = (
  lowHz: number, highHz: number, lowRms: Told, highRms: Told, level: (told: Told) => string,
): string[] => [
  `low tone   ${hertz(lowHz)}, ${level(lowRms)}`, `high tone  ${hertz(highHz)}, ${level(highRms)}`,
]

const productLines = (
  products: readonly { name: string; frequencyHz: number; rms: Told }[], unit: string,
): string[] => [
  '', ...renderTable(['product', 'frequency', 'level'].map((heading, i) => ({ heading, right: i > 0 })),
    products.map(({ name, frequencyHz, rms }) => [name, hertz(frequencyHz), formatSi(rms.value, unit, 3)])),
]

const windowLine = (window: string): string => `window: ${window}`
/** With its sign; what rounds to nothing has none. */
function signed(db: number): string {
  const rounded = Number(db.toFixed(2)) || 0
  return `${rounded > 0 ? '+' : ''}${rounded.toFixed(2)}`
}

const hertz = (hz: number): string => formatSi(hz, 'Hz', 5)
const decibels = ({ value, u }: Told): string =>
  Number.isFinite(value) ? `(${value.toFixed(2)} ± ${(2 * u).toFixed(2)}) dB` : noNumber

/** In per cent, with as many figures as its interval leaves. */
export function share({ value, u }: Told): string {
  if (!Number.isFinite(value)) return noNumber
  const interval = 200 * u
  if (!(interval > 0)) return `${Number((100 * value).toPrecision(4))} %`
  const decimals = Math.min(9, Math.max(0, 1 - Math.floor(Math.log10(interval))))
  return `(${(100 * value).toFixed(decimals)} ± ${interval.toFixed(decimals)}) %`
}
