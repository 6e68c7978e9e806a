/** Building blocks that instrument profiles of every class share. */
import { z } from 'zod'

export const positive = z.number().positive()
export const notNegative = z.number().min(0)
export const ascending = (values: readonly number[]): boolean =>
  values.every((value, i) => i === 0 || value > values[i - 1]!)

export const placeholders = ['value', 'channel', 'list', 'on', 'first', 'count'] as const
export type Placeholder = (typeof placeholders)[number]

/**
 * One unit per message: no terminator, no `;` (a failed unit in the middle would shift every answer after
 * it).
 */
const line = z.string().min(1).max(200).regex(/^[\x20-\x7e]+$/, 'one line of printable ASCII')
  .refine(text => !text.includes(';'), 'one command a line, so no ;')

/** A command that must hold exactly these placeholders and asks nothing. */
export function command(...wanted: Placeholder[]) {
  return line.refine(text => !asks(text), 'a command, so no ? in its header')
    .refine(text => holdsExactly(text, wanted), wordsFor(wanted))
}

/** A query that must hold exactly these placeholders. */
export function query(...wanted: Placeholder[]) {
  return line.refine(asks, 'a query, so a ? at the end of its header')
    .refine(text => holdsExactly(text, wanted), wordsFor(wanted))
}

/** The same of one channel: `{channel}` beside the others, or left out by an instrument that has one. */
export function channelCommand(...wanted: Placeholder[]) {
  return line.refine(text => !asks(text), 'a command, so no ? in its header')
    .refine(text => holdsExactly(text, wanted) || holdsExactly(text, [...wanted, 'channel']),
      wordsFor([...wanted, 'channel']))
}

export function channelQuery(...wanted: Placeholder[]) {
  return line.refine(asks, 'a query, so a ? at the end of its header')
    .refine(text => holdsExactly(text, wanted) || holdsExactly(text, [...wanted, 'channel']),
      wordsFor([...wanted, 'channel']))
}

const asks = (text: string): boolean => text.split(' ', 1)[0]!.endsWith('?')
const wordsFor = (wanted: readonly Placeholder[]): string =>
  wanted.length === 0 ? 'a line without placeholders'
    : `a line with ${wanted.map(w => `{${w}}`).join(' and ')} once`

function holdsExactly(text: string, wanted: readonly Placeholder[]): boolean {
  const found = [...text.matchAll(/\{([^}]*)\}/g)].map(match => match[1]!).sort()
  return found.join() === [...wanted].sort().join()
}

/** Largest error the data sheet admits: % of reading + % of range + counts of the last digit. */
export const accuracy = z.strictObject({
  readingPct: notNegative.max(50),
  rangePct: notNegative.max(50).default(0),
  counts: notNegative.max(1000).default(0).describe('Counts of the last digit (the resolution)'),
})

export const link = z.strictObject({
  sendEnds: z.enum(['lf', 'crlf', 'cr']).default('lf'),
  answerEnds: z.enum(['lf', 'crlf', 'cr', 'lfcr']).default('lf')
    .describe('Any of these is accepted as the end of an answer'),
  pauseMs: notNegative.max(5000).default(0).describe('Quiet time the instrument needs between two commands'),
  deadlineMs: positive.max(60_000).default(1000)
    .describe('Time within which it answers, if nothing says more'),
  answerBytesMax: z.number().int().min(16).max(1 << 20).default(4096),
  inputBufferBytes: z.number().int().min(16).max(1 << 20).default(256)
    .describe('Longest command line it takes'),
  echo: z.boolean().default(false).describe('It sends back every line it receives'),
  prompts: z.array(line).max(8).default([]).describe('Lines that say it is ready and are no answer'),
  ignoredStarts: z.array(line).max(8).default([])
    .describe('Lines that begin so are sent unasked and are no answer'),
  remote: command().optional().describe('Sent first on every connect'),
  local: command().optional().describe('Sent last, when the program lets go of the instrument'),
  clear: z.enum(['none', 'break', 'ctrl-c', 'device-clear']).default('none')
    .describe('How to stop it in the middle of something'),
  resync: z.enum(['ese-nonce', 'identity']).default('ese-nonce')
    
      .describe('What proves the link in step after a time-out: a number in *ESE read back, or *IDN?'),
  hangUp: z.enum(['unchanged', 'resets', 'unknown']).default('unknown')
    .describe('What closing the port (DTR dropped, socket closed) does to it'),
})

export const errorQueue = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('queue'), query: query().default('SYST:ERR?'),
    noneCodes: z.array(z.number().int()).min(1).default([0])
      .describe('Codes that mean empty; every other one is an error, above zero too'),
    entriesMax: z.number().int().min(1).max(128).default(32),
  }),
  z.strictObject({
    kind: z.literal('event-register'), query: query().default('*ESR?'),
    errorMask: z.number().int().min(1).max(255).default(0x3c)
      .describe('Bits 2 to 5: query, device, execution, command error'),
  }),
  z.strictObject({ kind: z.literal('none') }),
])

export const booleans = z.strictObject({
  on: z.string().min(1).max(8).default('1'), off: z.string().min(1).max(8).default('0'),
  readsOn: z.string().min(1).max(8).default('1'), readsOff: z.string().min(1).max(8).default('0'),
})

/** Answers that are words where a number belongs. 9.9E37 and 9.91E37 are known without being listed. */
export const answerWords = z.strictObject({
  overRange: z.array(z.string().min(1).max(16)).max(8).default([]),
  missing: z.array(z.string().min(1).max(16)).max(8).default([]),
  implausible: z.array(z.string().min(1).max(16)).max(8).default([]),
})

/** As it is printed beside the terminals of what may be connected to mains. */
export const mainsRating = z.strictObject({
  category: z.enum(['II', 'III', 'IV']).describe('Measurement category'),
  toEarthV: positive.max(1000).describe('Volts AC to earth that the category is given for'),
})
export type MainsRating = z.infer<typeof mainsRating>

export const isolation = z.strictObject({
  terminalsToEarthV: positive.describe('Volts DC that any terminal may have to earth'),
  betweenChannelsV: positive.optional().describe('Volts DC between any two channels or contacts'),
  terminalsEarthed: z.boolean().describe('One terminal is tied to earth inside'),
  portEarthed: z.boolean().describe('The ground of the port is tied to earth, and so is the host through it'),
  mains: mainsRating.optional().describe('Left out: it is not rated to be connected to mains'),
})

export const contacts = z.strictObject({
  makeV: notNegative, makeA: notNegative, breakV: notNegative, breakA: notNegative,
  life: positive.describe('Closures per contact at these ratings'),
  lifeUnloaded: positive.describe('Closures per contact with nothing switched'),
})

export const watchdog = z.strictObject({
  setSeconds: command('value'), askSeconds: query(), arm: command('on'), askArmed: query(),
  minS: positive, maxS: positive,
})

export const safeOff = z.strictObject({
  commands: z.array(command()).min(1).max(8).describe('Sent blind, in this order'),
  verify: z.strictObject({
    query: query(), safe: z.array(z.union([z.number(), z.string()])).min(1),
    tolerance: notNegative.optional(),
  }).optional(),
})

export const channelSpans = z.array(z.tuple([z.number().int().min(0), z.number().int().min(0)])
  .refine(([first, last]) => first <= last, 'first channel, then last channel')).min(1).max(64)

/** What every profile says, whatever its class. */
export const common = {
  profile: z.string().regex(/^[a-z][a-z0-9-]{1,63}$/, 'small letters, digits, hyphens; the bare file name'),
  note: z.string().min(20).max(2000).describe('What is particular about this dialect'),
  figures: z.string().min(3).max(300).describe('Where the figures come from'),
  link: link.prefault({}),
  errorQueue: errorQueue.prefault({ kind: 'queue' }),
  booleans: booleans.prefault({}),
  answers: answerWords.prefault({}),
  prepare: z.array(command()).max(12).default([])
    .describe('Puts it into a known state that applies no energy'),
}

export type Accuracy = z.infer<typeof accuracy>
export type Contacts = z.infer<typeof contacts>
