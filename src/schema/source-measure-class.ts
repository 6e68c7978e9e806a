/** The class of source-measure units: four quadrants, up to some hundred volts. */
import { z } from 'zod'
import {
  accuracy, ascending, command, common, isolation, notNegative, positive, query, safeOff,
} from './profile-parts.ts'

/** Of one quantity on one range; the accuracies are shares of this range. */
const both = {
  overRangePct: notNegative.max(50).default(0),
  setAccuracy: accuracy.describe('Of what it forces, and of its limit'),
  readAccuracy: accuracy,
}
const voltageRange = z.strictObject({
  rangeV: positive.max(1000), ...both, stepV: positive, readStepV: positive, readNoiseV: notNegative,
})
const currentRange = z.strictObject({
  rangeA: positive.max(20), ...both, stepA: positive, readStepA: positive, readNoiseA: notNegative,
})

/** Setting of one quantity, as a value that is forced or as a limit. */
const setting = z.strictObject({ set: command('value'), ask: query() })

const commands = z.strictObject({
  forceVoltage: command(), forceCurrent: command(), askForced: query(),
  answerVoltage: z.string().min(1).describe('What askForced answers while volts are forced'),
  answerCurrent: z.string().min(1),
  voltage: setting, current: setting, currentLimit: setting, voltageLimit: setting,
  setOutput: command('on'), askOutput: query(),
  setFourWire: command('on').optional(), askFourWire: query().optional(),
  setIntegration: command('value'), askIntegration: query(),
  measure: query().describe('Both quantities in one answer, each in the smallest range that holds it'),
  askVoltageLimited: query().optional(), askCurrentLimited: query().optional(),
})

const answer = z.strictObject({
  fields: z.array(z.enum(['voltage', 'current', 'status', 'ignored'])).min(2).max(8)
    .refine(f => f.includes('voltage') && f.includes('current'), 'voltage and current'),
  limitedMask: z.number().int().min(1).max(0xff_ffff).optional()
    .describe('Bits of the status field of which any says that the limit holds it'),
})

export const sourceMeasure = z.strictObject({
  ...common, class: z.literal('source-measure'), isolation, safeOff,
  voltageRanges: z.array(voltageRange).min(1).max(8)
    .refine(ranges => ascending(ranges.map(r => r.rangeV)), 'ranges from small to large'),
  currentRanges: z.array(currentRange).min(1).max(12)
    .refine(ranges => ascending(ranges.map(r => r.rangeA)), 'ranges from small to large'),
  limitMinV: positive.describe('Smallest voltage limit it takes'),
  limitMinA: positive.describe('Smallest current limit it takes'),
  integrations: z.array(positive.max(1000)).min(1).max(12)
    .refine(ascending, 'from fast to slow').describe('Mains cycles'),
  noiseNplc: positive.describe('Integration at which the noise figures hold; noise goes as its square root'),
  mainsHz: z.union([z.literal(50), z.literal(60)]).default(50).describe('Where the bench stands'),
  overheadMs: notNegative.default(0), settleMs: notNegative,
  interlockOpenV: positive.max(60).optional().describe(
    'Most volts that it gives while the contact on its interlock input is open; left out: it has none'),
  answer, commands,
}).superRefine(({ answer: { fields, limitedMask }, commands: c }, context) => {
  const need = (holds: boolean, path: string[], message: string): void => {
    if (!holds) context.addIssue({ code: 'custom', path, message })
  }
  const byStatus = limitedMask !== undefined && fields.includes('status')
  const byQuery = c.askVoltageLimited !== undefined && c.askCurrentLimited !== undefined
  need(byStatus || byQuery, ['answer', 'limitedMask'],
    'a way to see that the limit holds it: a status field with limitedMask, or both queries')
  need((c.setFourWire === undefined) === (c.askFourWire === undefined), ['commands', 'askFourWire'],
    'both setFourWire and askFourWire, or neither')
})
