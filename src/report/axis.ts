/** Scales and their ticks. Pure: values in, positions out. */
import { formatDuration, formatSi } from '../base/format.ts'

export interface Axis {
  /** Position of a value along the axis, in drawing units. */
  at(value: number): number
  ticks: { value: number; label: string }[]
}

/**
 * A linear axis over round numbers that hold `low` to `high`; `from` and `to` are its ends in drawing
 * units.
 */
export function linearAxis(lowest: number, highest: number, from: number, to: number, unit: string): Axis {
  const [low, high] = [drawable(lowest), drawable(highest)]
  const isFlat = high - low <= leastShare * Math.max(Math.abs(low), Math.abs(high))
  const span = isFlat ? Math.abs(high) || 1 : high - low
  const step = roundStep(span / 5)
  const first = Math.floor(low / step + 1e-9) * step
  const last = Math.max(first + step, Math.ceil((low + span) / step - 1e-9) * step)
  const ticks: Axis['ticks'] = []
  for (let i = 0; first + i * step <= last + step / 2; i++) {
    const value = Number((first + i * step).toPrecision(12))
    ticks.push({ value, label: formatSi(value, unit, labelDigits(value, step)) })
  }
  return { at: value => from + (value - first) / (last - first) * (to - from), ticks }
}

/**
 * The largest number an axis is made for. A reading near the end of what a double holds would give one
 * without end, and ticks without number.
 */
const mostDrawn = 1e300
/** Nearer to 0 than this there are no steps to make an axis of. */
export const leastDrawn = 1e-300
const drawable = (value: number): number =>
  Math.abs(value) < leastDrawn ? 0 : Math.max(-mostDrawn, Math.min(mostDrawn, value))
/** Values that differ by less than this share are one: a double has no ticks between them. */
const leastShare = 1e-9

/** Time from 0 to `endS` in seconds, with ticks at whole minutes or hours. */
export function timeAxis(endS: number, from: number, to: number): Axis {
  const end = drawable(Math.max(endS, 1))
  const step = timeSteps.find(candidate => end / candidate <= 8) ?? Math.ceil(end / 8 / 86_400) * 86_400
  const ticks: Axis['ticks'] = []
  for (let value = 0; value <= end; value += step) ticks.push({
    value, label: value === 0 ? '0' : shortTime(value)
  })
  return { at: value => from + value / end * (to - from), ticks }
}

/** A logarithmic axis over whole decades that hold `low` to `high`, both above zero. */
export function logAxis(
  low: number, high: number, from: number, to: number, label: (value: number) => string
): Axis {
  const first = Math.floor(Math.log10(low) + 1e-9)
  const last = Math.max(first + 1, Math.ceil(Math.log10(high) - 1e-9))
  const ticks: Axis['ticks'] = []
  for (let power = first; power <= last; power++) {
    const value = Number(`1e${power}`)
    ticks.push({ value, label: label(value) })
  }
  return { at: value => from + (Math.log10(value) - first) / (last - first) * (to - from), ticks }
}

/**
 * A logarithmic axis from `low` to `high`, both above zero, whose ends and ticks are 1, 2 and 5 of a decade
 * while there is room for them; decades, or every few of them, where there is not. `most`: ticks with room.
 */
export function logRangeAxis(
  low: number, high: number, from: number, to: number, label: (value: number) => string, most = 11,
): Axis {
  const first = snapped(low, Math.floor)
  const last = Math.max(first + 1, snapped(high, Math.ceil))
  const all = Array.from({ length: last - first + 1 }, (_, i) => first + i)
  const decades = all.filter(step => step % 3 === 0)
  const every = Math.ceil(decades.length / most)
  const shown = all.length <= most || decades.length < 2 ? all : decades.filter((_, i) => i % every === 0)
  const [start, end] = [Math.log10(stepValue(first)), Math.log10(stepValue(last))]
  return {
    at: value => from + (Math.log10(value) - start) / (end - start) * (to - from),
    ticks: shown.map(step => ({ value: stepValue(step), label: label(stepValue(step)) })),
  }
}

/** Steps of 1, 2 and 5: three to a decade. */
const stepValue = (step: number): number => {
  const power = Math.floor(step / 3)
  return Number(`${[1, 2, 5][step - 3 * power]!}e${power}`)
}

/** The step at or below, or at or above, a value. */
function snapped(value: number, way: (step: number) => number): number {
  const power = Math.floor(Math.log10(value) + 1e-12)
  const within = value / 10 ** power
  const part = within < 2 ? (within - 1) : within < 5 ? 1 + (within - 2) / 3 : 2 + (within - 5) / 5
  const step = 3 * power + part
  const near = Math.round(step)
  return Math.abs(step - near) < 1e-9 ? near : way(step)
}

/**
 * Time from `startS` to `endS` on a logarithmic axis, with ticks where people count: 10 s, 1 min, 10 min,
 * 1 h.
 */
export function logTimeAxis(startS: number, endS: number, from: number, to: number): Axis {
  const [low, high] = [Math.log(startS), Math.log(Math.max(endS, startS * 1.01))]
  const ticks = logTimes.filter(value => value >= startS * 0.999 && value <= endS * 1.001)
  return {
    at: value => from + (Math.log(value) - low) / (high - low) * (to - from),
    ticks: ticks.map(value => ({ value, label: shortTime(value) })),
  }
}

const logTimes = [0.001, 0.01, 0.1, 1, 10, 60, 600, 3600, 36_000, 360_000, 3_600_000]

export const shortTime = (seconds: number): string => {
  if (seconds < 1) return formatSi(seconds, 's', 1)
  return formatDuration(seconds).replace(/ 00 (s|min|h)$/, '')
}

const timeSteps = [1, 2, 5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400]

function roundStep(rough: number): number {
  const power = 10 ** Math.floor(Math.log10(rough))
  const factor = rough / power
  return (factor <= 1 ? 1 : factor <= 2 ? 2 : factor <= 5 ? 5 : 10) * power
}

function labelDigits(value: number, step: number): number {
  if (value === 0) return 1
  return Math.min(
    6, Math.max(1, Math.floor(Math.log10(Math.abs(value)) + 1e-9) - Math.floor(Math.log10(step) + 1e-9) + 1)
  )
}
