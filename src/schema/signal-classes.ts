/** Classes of instruments that make signals for a unit, and that sample what it gives. */
import { z } from 'zod'
import {
  accuracy, ascending, channelCommand, channelQuery, command, common, isolation, notNegative, positive, query,
  safeOff,
} from './profile-parts.ts'
import { channelNumbers, tellsChannels } from './unit-classes.ts'

/** What an instrument adds to a signal by itself, by its data sheet. */
const own = {
  distortionPct: positive.max(10).describe('Harmonics of its own, most, RMS'),
  noiseVPerRootHz: positive.max(1e-3).describe('Own noise, V over the root of Hz'),
  clockPpm: positive.max(1000).describe('Most error of its clock, unless it takes another one'),
}

const tone = z.strictObject({
  setFrequency: channelCommand('value'), askFrequency: channelQuery(),
  setLevel: channelCommand('value'), askLevel: channelQuery(),
  enable: channelCommand('on').optional().describe('Adds this sine to the signal, or takes it out'),
  askEnabled: channelQuery().optional(),
}).refine(t => (t.enable === undefined) === (t.askEnabled === undefined),
  { path: ['askEnabled'], message: 'both enable and askEnabled, or neither' })

export const signalGenerator = z.strictObject({
  ...common, class: z.literal('signal-generator'), isolation, safeOff,
  channels: channelNumbers,
  sourceOhm: notNegative.max(10_000),
  frequency: z.strictObject({ minHz: positive, maxHz: positive, stepHz: positive }),
  level: z.strictObject({
    unit: z.enum(['rms', 'peak', 'peak-to-peak']).describe('How commands and answers count volts'),
    minV: notNegative.describe('RMS, into an open end'), maxV: positive.describe('RMS, into an open end'),
    stepV: positive.describe('In the unit above'), accuracy,
  }).refine(l => l.minV < l.maxV, { path: ['minV'], message: 'less than maxV' }),
  own: z.strictObject(own),
  settleMs: notNegative,
  reference: z.strictObject({
    choose: command(), ask: query(), answer: z.string().min(1).max(32).describe('While it is in step'),
  }).optional().describe('Present where a cable brings it the clock of the digitizer of this bench'),
  tones: z.array(tone).min(1).max(2).describe('Sines at once in one channel'),
  commands: z.strictObject({
    setOutput: channelCommand('on').describe('Off: no signal, the source resistance stays across the input'),
    askOutput: channelQuery(), muteAll: command(),
  }),
}).superRefine(({ channels, tones, level, commands: c, safeOff: safe }, context) => {
  const { setOutput, askOutput } = c
  if (channels.length > 1) {
    tellsChannels({ setOutput, askOutput }, ['commands'], context)
    tones.forEach((lines, i) => tellsChannels(lines, ['tones', i], context))
  }
  const need = (holds: boolean, path: (string | number)[], message: string): void => {
    if (!holds) context.addIssue({ code: 'custom', path, message })
  }
  need(tones[1] === undefined || tones[1].enable !== undefined || level.minV === 0, ['tones', 1, 'enable'],
    'a way to take the second sine out: this line, or a level that goes down to 0')
  need(safe.verify !== undefined, ['safeOff', 'verify'], 'a query that shows every channel muted')
})

export const wordFormats =
  ['int8', 'uint8', 'int16', 'uint16', 'int24', 'int32', 'real32', 'real64'] as const
export const bytesOfWord: Readonly<Record<(typeof wordFormats)[number], number>> = {
  int8: 1, uint8: 1, int16: 2, uint16: 2, int24: 3, int32: 4, real32: 4, real64: 8,
}

const data = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('block'), word: z.enum(wordFormats),
    order: z.enum(['normal', 'swapped']).default('normal')
      .describe('normal: most significant byte first; swapped: last'),
  }),
  z.strictObject({
    kind: z.literal('ascii'), sampleBytesMax: z.number().int().min(2).max(32)
      .describe('Longest number with its comma'),
  }),
])

const scaling = z.discriminatedUnion('by', [
  z.strictObject({ by: z.literal('volts') }).describe('What is sent is volts already'),
  z.strictObject({
    by: z.literal('query'), askScale: channelQuery().describe('Volts for one count'),
    askOffset: channelQuery().optional().describe('Volts at count 0'),
  }),
  z.strictObject({
    by: z.literal('preamble'), ask: channelQuery(),
    format: z.number().int().optional().describe('The code that it must have for this word'),
  }),
])

/** How a sample says that it stood at the end of the range. */
const clipping = z.strictObject({
  codes: z.strictObject({ low: z.number(), high: z.number() }).optional()
    .describe('Numbers as sent, at or beyond which a sample counts as clipped'),
  share: positive.max(2).default(1)
    .describe('Without codes: volts as a share of the range from which on it does'),
})

const inputRange = z.strictObject({
  rangeV: positive.max(2000).describe('Peak volts'),
  accuracy: accuracy.describe('Of scale and zero, as shares of the range'),
  noiseVPerRootHz: positive.max(1),
})

export const digitizer = z.strictObject({
  ...common, class: z.literal('digitizer'), isolation,
  channels: channelNumbers,
  input: z.strictObject({
    kind: z.enum(['differential', 'earthed']).describe('earthed: the return of each input is tied to earth'),
    ohm: positive, commonModeMaxV: positive.optional().describe('Peak volts of both ends to earth'),
  }),
  bits: z.number().int().min(4).max(32),
  ranges: z.array(inputRange).min(1).max(16)
    .refine(ranges => ascending(ranges.map(r => r.rangeV)), 'ranges from small to large'),
  sampleRatesHz: z.array(positive.max(1e9)).min(1).max(64).refine(ascending, 'rates from slow to fast'),
  samplesMost: z.number().int().min(16).max(1 << 24),
  own: z.strictObject({ distortionPct: own.distortionPct, clockPpm: own.clockPpm })
    .describe('Harmonics at the full range'),
  armMs: notNegative.max(10_000).describe('From arming to the first sample, at most'),
  pollMs: positive.max(1000).default(20).describe('How often it is asked whether the record is there'),
  fetchBytesPerS: positive.default(100_000).describe('Slowest that a record comes over its link'),
  data, scaling, clipping: clipping.prefault({}),
  state: z.strictObject({
    idle: z.array(z.string().min(1)).min(1).describe('Answers with no record and none under way'),
    busy: z.array(z.string().min(1)).min(1), done: z.array(z.string().min(1)).min(1),
  }),
  commands: z.strictObject({
    confirm: z.array(z.strictObject({ query: query(), answer: z.string().min(1) })).max(8).default([])
      .describe('Asked before each record: word and byte order must read back so'),
    setRange: channelCommand('value'), askRange: channelQuery(),
    setRate: command('value'), askRate: query(),
    setSamples: command('value'), askSamples: query(),
    enable: channelCommand('on').optional().describe('Whether this channel is recorded'),
    askEnabled: channelQuery().optional(),
    abort: command().describe('Ends what is under way and throws the record away: idle from then on'),
    arm: command(), trigger: command().optional().describe('Where arming waits for it'),
    askState: query(),
    askClipped: channelQuery().optional().describe('Whether the input went beyond its range'),
    fetch: z.union([channelQuery('first', 'count'), channelQuery()])
      .describe('With {first} and {count} a record comes in pieces'),
    firstIs: z.union([z.literal(0), z.literal(1)]).default(0).describe('Number of the first sample'),
  }),
}).superRefine(({ channels, commands, scaling: s, data: d, link, samplesMost, state }, context) => {
  const need = (holds: boolean, path: (string | number)[], message: string): void => {
    if (!holds) context.addIssue({ code: 'custom', path, message })
  }
  const { setRange, askRange, enable, askEnabled, askClipped, fetch } = commands
  if (channels.length > 1) {
    tellsChannels({ setRange, askRange, enable, askEnabled, askClipped, fetch }, ['commands'], context)
    const { by: _by, ...asks } = s.by === 'preamble' ? { by: s.by, ask: s.ask } : s
    tellsChannels(asks, ['scaling'], context)
  }
  need((enable === undefined) === (askEnabled === undefined), ['commands', 'askEnabled'],
    'both enable and askEnabled, or neither')
  const words = [...state.idle, ...state.busy, ...state.done]
  need(new Set(words).size === words.length, ['state'], 'each answer in one place')
  const sampleBytes = d.kind === 'ascii' ? d.sampleBytesMax : bytesOfWord[d.word]
  const atOnce = fetch.includes('{count}') ? 16 : samplesMost
  need(atOnce * sampleBytes + blockHeadBytes <= link.answerBytesMax, ['link', 'answerBytesMax'],
    `at least ${atOnce * sampleBytes + blockHeadBytes}: a record comes whole, `
    + 'unless `fetch` has {first} and {count}')
})

/** `#`, a digit, up to nine digits, and what may stand around a block. */
export const blockHeadBytes = 64
