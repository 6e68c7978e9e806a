/** A plan in words. */
import { formatDuration, formatSi } from '../base/format.ts'
import type { Plan } from '../schema/application.ts'
import { eachOnce } from '../schema/refusals.ts'
import type { CalibrationTold } from '../schema/calibration.ts'
import { printable, renderTable } from './table.ts'

/** Refusals alone where there are any: the figures would be of a run that never is. */
export function planLines(plan: Plan): string[] {
  if (plan.refusals.length > 0) {
    return ['This cannot be started. Nothing was touched.', ...refusalLines(plan)].map(printable)
  }
  const lines = [
    `${plan.sequence}, ${plan.use}, to ${formatSi(plan.targetV, 'V')}`,
    `takes about ${formatDuration(plan.expectedS)}, at most ${formatDuration(plan.longestS)}`, '',
    ...figureLines(plan),
  ]
  if (plan.steps.length > 0) lines.push('', ...stepTable(plan))
  if (plan.calibration) lines.push(...unknownLines(plan.calibration))
  if (plan.warnings.length > 0) lines.push('', 'Mind:', ...plan.warnings.map(item))
  if (plan.cautions.length > 0) lines.push(
    '', 'Cautions to confirm before a start:', ...plan.cautions.map(item)
  )
  return lines.map(printable)
}

/** Of instruments whose calibration nobody entered; what is past due is among the warnings. */
export const unknownLines = ({ unknown }: CalibrationTold): string[] =>
  unknown.length === 0 ? [] : ['', `Calibration not entered: ${unknown.join(', ')}`]

const item = (text: string): string => `  - ${text}`

function refusalLines(plan: Plan): string[] {
  return eachOnce(plan.refusals).flatMap(({ what, have, need, wayOut, position }) => [
    `  - ${position === undefined ? '' : `${position}: `}${what}: has ${have}, needs ${need}.`,
    `    ${wayOut}`,
  ])
}

const joules = (value: number): string => formatSi(value, 'J')
const known = (value: number | null, words: (value: number) => string): string =>
  value === null ? 'not known: what stands on the parts is measured first' : words(value)

function figureLines(plan: Plan): string[] {
  const rows: [string, string][] = [
    ['supply current limit', formatSi(plan.supplyLimitA, 'A')],
    ['over-voltage protection', formatSi(plan.overVoltageV, 'V')],
    ['energy in one part, at most', known(plan.partEnergyMaxJ, joules)],
    ['energy in the rack', known(plan.rackEnergyJ, joules)],
    ['touch-safe through the bleeders after', known(plan.touchSafeAfterS, formatDuration)],
    ['heat in one part, at most', formatSi(plan.partDissipationMaxW, 'W')],
    ['heat in a limiting resistor, part shorted', formatSi(plan.resistorDissipationW, 'W')],
    ['charge, at most', formatSi(plan.chargeMaxC, 'C')],
    ['hydrogen, at most', `${plan.gasMl.toFixed(1)} ml`],
    ['one sweep of the positions', formatDuration(plan.sweepS)],
    ['relay closures in the run', String(Math.round(plan.relayClosures))],
    ...(plan.scannerClosures === undefined ? []
      : [['closures of one scanner contact, at most', String(plan.scannerClosures)] as [string, string]]),
  ]
  const wide = Math.max(...rows.map(([name]) => name.length))
  return rows.map(([name, value]) => `  ${name.padEnd(wide)}  ${value}`)
}

function stepTable(plan: Plan): string[] {
  return renderTable([
    { heading: 'step' }, { heading: 'bus', right: true }, { heading: 'at least', right: true },
    { heading: 'at most', right: true },
  ], plan.steps.map(
    step => [step.name, formatSi(step.busV, 'V'), formatDuration(step.minS), formatDuration(step.maxS)]
  ))
}
