/** One schema per instrument class. */
import { z } from 'zod'
import {
  accuracy, ascending, channelSpans, command, common, contacts, isolation, notNegative, positive, query,
  safeOff, watchdog,
} from './profile-parts.ts'
import { alternating } from './unit-classes.ts'

export const statusMeanings = [
  'constant-voltage', 'constant-current', 'unregulated', 'over-voltage', 'over-current', 'over-temperature',
  'watchdog', 'other-trip',
] as const

const level = z.strictObject({ min: notNegative, max: positive, step: positive })
  .refine(v => v.min < v.max, { path: ['min'], message: 'less than max' })

export const dcSupply = z.strictObject({
  ...common, class: z.literal('dc-supply'),
  isolation, safeOff, watchdog: watchdog.optional(),
  voltageMaxV: positive.max(5000), voltageStepV: positive,
  currentMaxA: positive.max(1000), currentStepA: positive,
  outputCapacitanceF: notNegative.max(1)
    .describe('Across the terminals: what a short gets before the limit acts'),
  canSink: z.boolean().default(false),
  settleMs: notNegative.default(50).describe('From a new setting to a steady output, into a light load'),
  setAccuracyVoltage: accuracy, setAccuracyCurrent: accuracy,
  readAccuracyVoltage: accuracy, readAccuracyCurrent: accuracy,
  readStepV: positive, readStepA: positive,
  readNoiseV: notNegative.default(0), readNoiseA: notNegative.default(0),
  protection: z.strictObject({
    overVoltageV: level, overCurrentA: level,
    clearRestoresOutput: z.boolean().describe('Clearing puts the output back to what it was before the trip'),
  }),
  status: z.strictObject({
    query: query(),
    bits: z.record(z.string().regex(/^(\d|1[0-5])$/, 'a bit number, 0 to 15'), z.enum(statusMeanings)),
  }).optional().describe('A bit that is not named here says nothing'),
  commands: z.strictObject({
    setVoltage: command('value'), askVoltage: query(), setCurrent: command('value'), askCurrent: query(),
    setOutput: command('on'), askOutput: query(), measureVoltage: query(), measureCurrent: query(),
    setOverVoltage: command('value'), askOverVoltage: query(),
    setOverCurrent: command('value'), askOverCurrent: query(),
    enableOverVoltage: command('on').optional(), askOverVoltageOn: query().optional(),
    enableOverCurrent: command('on').optional(), askOverCurrentOn: query().optional(),
    askOverVoltageTripped: query().optional(), askOverCurrentTripped: query().optional(),
    clearProtection: z.array(command()).min(1).max(4),
  }),
}).superRefine((profile, context) => {
  const names = Object.values(profile.status?.bits ?? {})
  const c = profile.commands
  const known = (ask: string | undefined, word: 'over-voltage' | 'over-current'): boolean =>
    ask !== undefined || names.includes(word)
  const need = (holds: boolean, path: string[], message: string): void => {
    if (!holds) context.addIssue({ code: 'custom', path, message })
  }
  need(known(c.askOverVoltageTripped, 'over-voltage'), ['commands', 'askOverVoltageTripped'],
    'a way to see an over-voltage trip: this query or a status bit')
  need(known(c.askOverCurrentTripped, 'over-current'), ['commands', 'askOverCurrentTripped'],
    'a way to see an over-current trip: this query or a status bit')
  const both = (a: unknown, b: unknown): boolean => (a === undefined) === (b === undefined)
  need(both(c.enableOverVoltage, c.askOverVoltageOn), ['commands', 'askOverVoltageOn'],
    'both enableOverVoltage and askOverVoltageOn, or neither: what is switched on is read back')
  need(both(c.enableOverCurrent, c.askOverCurrentOn), ['commands', 'askOverCurrentOn'],
    'both enableOverCurrent and askOverCurrentOn, or neither: what is switched on is read back')
})

const meterRange = z.strictObject({
  rangeV: positive, overRangePct: notNegative.max(50).default(0), inputOhm: positive, accuracy,
})

const ohmRange = z.strictObject({
  rangeOhm: positive, overRangePct: notNegative.max(50).default(0),
  testCurrentA: positive.max(1).describe('Through the part'),
  openV: positive.max(60).describe('Most volts across an open circuit'), accuracy,
}).refine(r => r.openV >= r.rangeOhm * (1 + r.overRangePct / 100) * r.testCurrentA,
  { path: ['openV'], message: 'at least what the test current drops in the whole range' })

const ohmFunction = z.strictObject({
  select: command().optional().describe('Switches to this function, where fixing its range does not'),
  askFunction: query().optional(),
  functionAnswer: z.string().min(1).optional().describe('What askFunction answers in this function'),
  fixRange: command('value'), autoRange: command(), setIntegration: command('value'),
  askRange: query().optional(), askAutoRange: query().optional(), askIntegration: query().optional(),
}).refine(f => (f.askFunction === undefined) === (f.functionAnswer === undefined),
  { path: ['functionAnswer'], message: 'both askFunction and functionAnswer, or neither' })

const resistance = z.strictObject({
  ranges: z.array(ohmRange).min(1).max(12)
    .refine(ranges => ascending(ranges.map(range => range.rangeOhm)), 'ranges from small to large'),
  commands: z.strictObject({
    twoWire: ohmFunction.optional(), fourWire: ohmFunction.optional(), read: query(),
  }).refine(c => c.twoWire !== undefined || c.fourWire !== undefined, 'twoWire, fourWire or both'),
})

export const multimeter = z.strictObject({
  ...common, class: z.literal('multimeter'), isolation,
  ranges: z.array(meterRange).min(1).max(12)
    .refine(ranges => ascending(ranges.map(range => range.rangeV)), 'ranges from small to large'),
  speeds: z.array(z.strictObject({
    nplc: positive.max(1000),
    resolution: positive.max(0.01).describe('Last digit as a fraction of the range'),
    noise: notNegative.max(0.01).default(0)
      .describe('Standard deviation of a reading as a fraction of the range'),
  })).min(1).max(12)
    .refine(speeds => ascending(speeds.map(speed => speed.nplc)), 'speeds from fast to slow'),
  mainsHz: z.union([z.literal(50), z.literal(60)]).default(50).describe('Where the bench stands'),
  conversions: z.number().int().min(1).max(4).default(1).describe('2 with auto-zero'),
  overheadMs: notNegative.default(0),
  resistance: resistance.optional().describe('For the role ohm-meter; speeds and times are those above'),
  alternating: alternating.optional().describe('For the role ac-meter; times are its own'),
  commands: z.strictObject({
    fixRange: command('value'), autoRange: command(), setIntegration: command('value'),
    askRange: query().optional(), askAutoRange: query().optional(), askIntegration: query().optional(),
    read: query(),
  }),
})

export const lcrBridge = z.strictObject({
  ...common, class: z.literal('lcr-bridge'), isolation,
  frequencies: z.union([
    z.strictObject({ minHz: positive, maxHz: positive }),
    z.strictObject({ listHz: z.array(positive).min(1).max(64) }),
  ]),
  levels: z.union([z.strictObject({ minV: positive, maxV: positive }), z.strictObject({ fixedV: positive })]),
  /** Relative error of the impedance: A = basicPct/100 · (1 + |zsOhm / Z| + |Z · yoS|). */
  accuracy: z.strictObject({
    basicPct: positive.max(20),
    zsOhm: notNegative.describe('Short term: impedance at which it doubles the error'),
    yoS: notNegative.describe('Open term: admittance in siemens at which it doubles the error'),
  }),
  digits: z.number().int().min(3).max(9).describe('Significant digits of an answer'),
  measureMs: positive, discardAfterChange: z.number().int().min(0).max(5).default(1),
  answer: z.strictObject({
    fields: z.array(z.enum(['cs', 'rs', 'd', 'status', 'ignored'])).min(2).max(8)
      .refine(f => f.includes('cs') && (f.includes('rs') || f.includes('d')), 'cs, and rs or d'),
    statusGood: z.array(z.number().int()).default([0]),
    statusOverload: z.array(z.number().int()).default([]),
    statusMissing: z.array(z.number().int()).default([]),
  }),
  commands: z.strictObject({
    confirm: z.array(z.strictObject({ query: query(), answer: z.string().min(1) })).max(8).default([])
      .describe('Asked after prepare: the function must read back so'),
    setFrequency: command('value'), askFrequency: query(),
    setLevel: command('value').optional(), askLevel: query().optional(),
    trigger: command().optional(), fetch: query(),
  }),
})

/** What a signal meets on its way through a scanner: common line, one contact of each pole, nothing else. */
export const scannerPath = z.strictObject({
  voltageMaxV: positive.describe('Most volts between the two poles of the common line'),
  carryA: positive.describe('Most current that a closed contact carries'),
  seriesOhm: positive.describe('Most that both contacts of one channel have together'),
  repeatOhm: positive.describe('Within which that comes back when they close again, either way'),
  seriesH: notNegative.describe('Most inductance of common line and one channel'),
  strayF: positive.describe('Most capacitance across the common line, one channel closed'),
  emfV: positive.optional().describe('Most thermal volts in one channel: without it no ohms, no volts'),
  leakageOhm: positive.optional()
    .describe('Least insulation across the common line: without it no ohms, no current under volts'),
})
export type ScannerPath = z.infer<typeof scannerPath>

export const scanner = z.strictObject({
  ...common, class: z.literal('scanner'), isolation,
  channels: channelSpans, settleMs: notNegative,
  hotSwitchV: notNegative
    .describe('Volts that may stand across a contact while it moves; 0 where it must be cold'),
  hotSwitchA: notNegative,
  life: positive.describe('Closures per contact, low level'),
  path: scannerPath.optional().describe('Asked for where the scanner serves the tray of a jig'),
  errorCheck: z.enum(['each', 'per-sweep']).default('per-sweep')
    .describe('per-sweep: each selection is read back, and the error queue is drained when all are opened'),
  commands: z.strictObject({
    closeOnly: command('channel').optional()
      .describe('Closes this one and opens all others, break before make'),
    close: command('channel').optional(),
    openAll: command(), askClosed: query('channel'), wait: query().optional(),
  }).refine(c => c.closeOnly !== undefined || (c.close !== undefined && c.wait !== undefined),
    'closeOnly, or close and wait: without break before make, opening must be waited for'),
})

export const relayBoard = z.strictObject({
  ...common, class: z.literal('relay-board'), isolation, contacts, safeOff, watchdog: watchdog.optional(),
  relays: z.strictObject({ first: z.number().int().min(0), last: z.number().int().min(0).max(9999) })
    .refine(r => r.first <= r.last, 'first, then last'),
  changeover: z.boolean().describe('Each relay has a released contact as well as a held one'),
  settleMs: notNegative, relaysPerCommand: z.number().int().min(1).max(512).default(1),
  inputs: z.strictObject({
    first: z.number().int().min(0), last: z.number().int().min(0).max(9999), ask: query('channel'),
  }).optional(),
  commands: z.strictObject({
    hold: command('list'), release: command('list'), releaseAll: command(), askHeld: query('list'),
    askHeldCount: query().optional(), wait: query().optional(),
  }),
})

export const holdInRelay = z.strictObject({
  ...common, class: z.literal('hold-in-relay'), isolation, contacts, safeOff,
  holdMs: positive.max(60_000).describe('Longest time it stays closed without a refresh'),
  settleMs: notNegative,
  commands: z.strictObject({ close: command(), open: command(), refresh: command(), askClosed: query() }),
})

export const interlockReader = z.strictObject({
  ...common, class: z.literal('interlock-reader'),
  commands: z.strictObject({ askCoverClosed: query(), askPresent: query() }),
})

export const beacon = z.strictObject({
  ...common, class: z.literal('beacon'),
  commands: z.strictObject({ dark: command(), live: command(), fault: command() }),
})

export const thermometer = z.strictObject({
  ...common, class: z.literal('thermometer'), isolation,
  channels: channelSpans,
  minC: z.number().min(-273), maxC: z.number().max(3000),
  accuracy: z.strictObject({ readingPct: notNegative.max(20).default(0), offsetK: notNegative.max(20) }),
  stepK: positive,
  noiseK: notNegative.default(0).describe('Standard deviation of one reading; where it is a last digit or '
    + 'more, twenty equal readings in a row are a stuck thermometer'),
  readMs: notNegative,
  commands: z.strictObject({ ask: query('channel') }),
})
