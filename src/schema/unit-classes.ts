/** Classes of instruments that power a whole unit and load it, and the AC volts of a multimeter. */
import { z } from 'zod'
import {
  accuracy, ascending, channelCommand, channelQuery, command, common, isolation, notNegative, positive, query,
  safeOff,
} from './profile-parts.ts'

/** Channels by number, each once. */
export const channelNumbers = z.array(z.number().int().min(0).max(9999)).min(1).max(32)
  .refine(list => new Set(list).size === list.length, 'each channel once')

const word = z.string().min(1).max(16)
const wayName = z.string().regex(/^[a-z][a-z0-9-]{0,31}$/, 'small letters, digits, hyphens')

const way = z.strictObject({
  name: wayName,
  seriesOhm: notNegative.describe('In line with the unit; 0 where it is straight'),
  seriesW: positive.optional().describe('Continuous rating of that; left out where it is straight'),
  share: positive.max(1).default(1).describe('Of the nominal mains volts, without a load'),
  close: command().describe('Closes this way and opens all others'),
  reads: word.describe('What askWay answers while this way is closed, as auxiliary contacts show it'),
}).refine(w => (w.seriesOhm > 0) === (w.seriesW !== undefined),
  { path: ['seriesW'], message: 'the watts of what is in line, and none where nothing is' })

/** Contacts for alternating current; DC figures do not count. */
const mainsContacts = z.strictObject({
  ratedV: positive.max(1000).describe('Volts AC between conductors'),
  makeA: positive.describe('RMS, inrush included'), breakA: positive,
  life: positive.describe('Closures per contact at these ratings'),
  lifeUnloaded: positive.describe('Closures per contact with nothing switched'),
})

const repeated = (words: readonly string[]): boolean =>
  new Set(words.map(one => one.toUpperCase())).size < words.length

export const mainsContactor = z.strictObject({
  ...common, class: z.literal('mains-contactor'), isolation, safeOff,
  ways: z.array(way).min(1).max(16).describe('From the most limited to the full one'),
  poles: z.number().int().min(1).max(4),
  breaksAllPoles: z.boolean().describe('Every conductor that carries current, the neutral too'),
  acContacts: mainsContacts,
  holdMs: positive.max(60_000).describe('Longest time it stays closed without a refresh'),
  settleMs: notNegative.describe('From the command to the contact'),
  readsOpen: word.describe('What askWay answers while all poles are open'),
  readsFault: z.array(word).max(8).default([])
    .describe('What askWay answers when the poles do not agree: one is welded, or did not close'),
  commands: z.strictObject({ open: command(), refresh: command(), askWay: query() }),
}).superRefine(({ ways, readsOpen, readsFault, safeOff: safe, commands }, context) => {
  const need = (holds: boolean, path: string[], message: string): void => {
    if (!holds) context.addIssue({ code: 'custom', path, message })
  }
  need(!repeated(ways.map(w => w.name)), ['ways'], 'each name once')
  need(!repeated([...ways.map(w => w.reads), readsOpen, ...readsFault]), ['ways'],
    'answers that differ from each other, from readsOpen and readsFault')
  need(safe.verify !== undefined, ['safeOff', 'verify'], 'a query that shows the contacts open')
  need(!ways.some(w => w.close === commands.refresh), ['commands', 'refresh'],
    'a line that never closes an open contact')
})

const voltRange = z.strictObject({
  rangeV: positive.max(1000), overRangePct: notNegative.max(50).default(0), accuracy,
  stepV: positive, noiseV: notNegative,
})
const ampRange = z.strictObject({
  rangeA: positive.max(100), overRangePct: notNegative.max(50).default(0), accuracy,
  stepA: positive, noiseA: notNegative,
})

export const powerFields = ['voltage', 'current', 'power', 'frequency'] as const
export type PowerField = (typeof powerFields)[number]

export const powerMeter = z.strictObject({
  ...common, class: z.literal('power-meter'), isolation,
  voltageRanges: z.array(voltRange).min(1).max(12)
    .refine(ranges => ascending(ranges.map(r => r.rangeV)), 'ranges from small to large'),
  currentRanges: z.array(ampRange).min(1).max(16)
    .refine(ranges => ascending(ranges.map(r => r.rangeA)), 'ranges from small to large'),
  power: z.strictObject({
    accuracy: accuracy.describe('Shares of the reading, and of the range in volts times that in amperes'),
    stepShare: positive.max(0.01).describe('Last digit as a share of that product'),
    noiseShare: notNegative.max(0.01).describe('Standard deviation of a reading as a share of it'),
  }),
  frequency: z.strictObject({ minHz: positive, maxHz: positive, accuracy, stepHz: positive }),
  readingMs: positive,
  fields: z.array(z.enum([...powerFields, 'ignored'])).min(4).max(12).optional()
    .describe('Of the answer to `measure`, in order'),
  commands: z.strictObject({
    measure: query().optional().describe('All four of one reading'),
    askVoltage: query().optional(), askCurrent: query().optional(),
    askPower: query().optional(), askFrequency: query().optional(),
  }),
}).superRefine(({ fields, commands: c }, context) => {
  const each = [c.askVoltage, c.askCurrent, c.askPower, c.askFrequency]
  const atOnce = c.measure !== undefined && powerFields.every(field => fields?.includes(field))
  if (atOnce || c.measure === undefined && each.every(ask => ask !== undefined)) return
  context.addIssue({
    code: 'custom', path: ['commands', 'measure'],
    message: '`measure` with `fields` that name all four quantities, or a query of its own for each of them',
  })
})

export const loadBank = z.strictObject({
  ...common, class: z.literal('load-bank'), isolation,
  channels: channelNumbers,
  steps: z.array(z.strictObject({ ohm: positive.max(1e6), accuracyPct: positive.max(20) })).min(1).max(32)
    .refine(steps => ascending(steps.map(s => s.ohm)), 'steps from small to large'),
  continuousW: positive.describe('One channel, as long as it lasts'),
  peakW: positive, peakS: positive,
  settleMs: notNegative,
  readsOpen: word.describe('What askConnected answers while nothing is connected'),
  commands: z.strictObject({
    connect: channelCommand('value').describe('Opens what is connected, then connects this many ohms'),
    open: channelCommand(), askConnected: channelQuery(),
  }),
}).superRefine(({ channels, commands, continuousW, peakW }, context) => {
  if (channels.length > 1) tellsChannels(commands, ['commands'], context)
  if (peakW < continuousW) {
    context.addIssue({ code: 'custom', path: ['peakW'], message: 'at least continuousW' })
  }
})

/** Each line of an instrument with several channels says which one it means. */
export function tellsChannels(
  lines: Readonly<Record<string, string | undefined>>, path: (string | number)[], context: z.RefinementCtx,
): void {
  for (const [key, text] of Object.entries(lines)) {
    if (text === undefined || text.includes('{channel}')) continue
    context.addIssue({
      code: 'custom', path: [...path, key], message: 'a line with {channel}, since it has several',
    })
  }
}

const acRange = z.strictObject({
  rangeV: positive.max(1000).describe('RMS'), overRangePct: notNegative.max(50).default(0), accuracy,
})

/** RMS volts of a multimeter. */
export const alternating = z.strictObject({
  ranges: z.array(acRange).min(1).max(12)
    .refine(ranges => ascending(ranges.map(r => r.rangeV)), 'ranges from small to large'),
  inputOhm: positive.describe('The lowest of its ranges'),
  bandMinHz: positive, bandMaxHz: positive.describe('Within which the accuracy holds'),
  stepShare: positive.max(0.01).describe('Last digit as a share of the range'),
  noiseShare: notNegative.max(0.01).default(0),
  readingMs: positive.describe('Settled reading in the slowest filter that the band needs'),
  commands: z.strictObject({
    select: command().optional().describe('Switches to this function, where fixing its range does not'),
    askFunction: query().optional(),
    functionAnswer: z.string().min(1).max(32).optional(),
    fixRange: command('value'), autoRange: command(),
    askRange: query().optional(), askAutoRange: query().optional(),
    setBand: command().optional().describe('Chooses the filter for `bandMinHz`'),
    read: query(),
  }).refine(c => (c.askFunction === undefined) === (c.functionAnswer === undefined),
    { path: ['functionAnswer'], message: 'both askFunction and functionAnswer, or neither' }),
}).refine(a => a.bandMinHz < a.bandMaxHz, { path: ['bandMinHz'], message: 'less than bandMaxHz' })
