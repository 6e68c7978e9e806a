/** Simulated digitizers: two dialects of docs/instrument-dialects.md over one core. */
import type { Command } from '../scpi-device/command-tree.ts'
import { scientific } from '../scpi-device/format.ts'
import { refuse } from '../scpi-device/status.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { RecorderCore, type Ears, type RecorderSetup } from './recorder-core.ts'
import { recorderFigures } from './unit-specifications.ts'
import { block, listed, type WordForm } from './words.ts'

export type RecorderProfile = keyof typeof recorderFigures

export class SimDigitizer extends SimInstrument {
  readonly core: RecorderCore

  constructor(profile: RecorderProfile, setup: InstrumentSetup & RecorderSetup, ears: Ears) {
    const late: { core?: RecorderCore } = {}
    const core = (): RecorderCore => late.core!
    super(profile, setup, (profile === 'digitizer-a' ? dialectA : dialectB)(core))
    this.core = new RecorderCore(
      recorderFigures[profile], ears, setup.clock, this.random, this.device.faults, setup)
    late.core = this.core
  }
}

type Core = () => RecorderCore

const flag = (on: boolean): string => on ? '1' : '0'
const number = [{ kind: 'number' }] as const
const states = { idle: 'IDLE', armed: 'WAIT', running: 'RUN', done: 'DONE' } as const

/** Any word and either byte order; volts by scale and offset; records in pieces. */
function dialectA(core: Core): OwnOptions {
  const fresh: WordForm = { kind: 'REAL', bits: 32, swapped: false }
  let form = fresh
  return {
    terminator: '\n', errorQueue: 'plain', errorQueueMax: 20, processMs: 2, inputBytesMax: 256,
    onReset: () => { core().reset(); form = fresh },
    commands: [
      ...formA(() => form, next => { form = next }), ...inputsA(core), ...sweepA(core),
      {
        pattern: 'TRACe:SCALe?', parameters: number,
        run: ([c]) => scientific(scaleA(core(), Number(c), form), 12),
      },
      {
        pattern: 'TRACe:OFFSet?', parameters: number,
        run: ([c]) => { core().channel(Number(c)); return '+0.000000E+00' },
      },
      {
        pattern: 'TRACe:DATA?', parameters: [...number, ...number, ...number],
        run: ([c, first, count]) => dataA(core(), Number(c), Number(first), Number(count), form),
      },
    ],
  }
}

const widths: Readonly<Record<string, readonly number[]>> = { INT: [8, 16, 24, 32], REAL: [32, 64], ASC: [0] }

function formA(get: () => WordForm, set: (form: WordForm) => void): Command[] {
  return [
    {
      pattern: 'FORMat[:DATA]',
      parameters: [{ kind: 'word', words: ['INTeger', 'REAL', 'ASCii'] }, { kind: 'number', optional: true }],
      run: ([kind, bits]) => {
        const width = Number(bits ?? widths[String(kind)]!.at(0))
        if (!widths[String(kind)]!.includes(width)) refuse(-224)
        set({ ...get(), kind: String(kind) as WordForm['kind'], bits: width })
      },
    },
    { pattern: 'FORMat[:DATA]?', run: () => get().kind === 'ASC' ? 'ASC' : `${get().kind},${get().bits}` },
    {
      pattern: 'FORMat:BORDer', parameters: [{ kind: 'word', words: ['NORMal', 'SWAPped'] }],
      run: ([order]) => set({ ...get(), swapped: order === 'SWAP' }),
    },
    { pattern: 'FORMat:BORDer?', run: () => get().swapped ? 'SWAP' : 'NORM' },
  ]
}

function inputsA(core: Core): Command[] {
  const at = '[SENSe:]VOLTage#'
  return [
    {
      pattern: `${at}:RANGe`, parameters: [{ kind: 'number', unit: 'V' }],
      run: ([v], [c]) => core().setRange(c ?? 1, Number(v)),
    },
    { pattern: `${at}:RANGe?`, run: (_, [c]) => scientific(core().rangeV(c ?? 1), 6) },
    {
      pattern: `${at}:STATe`, parameters: [{ kind: 'boolean', forms: 'word' }],
      run: ([on], [c]) => { core().channel(c ?? 1).enabled = on === 1 },
    },
    { pattern: `${at}:STATe?`, run: (_, [c]) => flag(core().channel(c ?? 1).enabled) },
    { pattern: `${at}:OVERload?`, run: (_, [c]) => flag(core().channel(c ?? 1).clipped) },
  ]
}

function sweepA(core: Core): Command[] {
  const at = '[SENSe:]SWEep'
  return [
    {
      pattern: `${at}:RATE`, parameters: [{ kind: 'number', unit: 'HZ' }],
      run: ([hz]) => core().setRate(Number(hz)),
    },
    { pattern: `${at}:RATE?`, run: () => scientific(core().rateHz, 6) },
    { pattern: `${at}:POINts`, parameters: number, run: ([n]) => core().setSamples(Number(n)) },
    { pattern: `${at}:POINts?`, run: () => String(core().samples) },
    { pattern: `${at}:STATe?`, run: () => states[core().state] },
    { pattern: 'INITiate[:IMMediate]', run: () => core().arm(false) },
    { pattern: 'ABORt', run: () => core().abort() },
  ]
}

/** Volts of one number as it is sent. */
function scaleA(core: RecorderCore, channel: number, { kind, bits }: WordForm): number {
  return kind === 'INT' ? core.stepV(channel) * 2 ** (core.figures.bits - bits) : 1
}

function dataA(core: RecorderCore, channel: number, first: number, count: number, form: WordForm): string {
  const codes = core.codes(channel, first, count)
  if (form.kind === 'INT') {
    const shift = 2 ** (form.bits - core.figures.bits)
    return block(Array.from(codes, code => Math.floor(code * shift)), form)
  }
  const stepV = core.stepV(channel)
  if (form.kind === 'REAL') return block(Array.from(codes, code => code * stepV), form)
  return listed(codes, code => scientific(code * stepV, 7))
}

const statesB = { idle: '0', armed: '1', running: '1', done: '2' } as const

/** Unsigned words, most significant byte first; a preamble; the record whole; a trigger of its own. */
function dialectB(core: Core): OwnOptions {
  const list = { kind: 'channels', countMax: 1 } as const
  const channelOf = (value: unknown): number => Array.isArray(value) ? Number(value[0]) : refuse(-109)
  let bits = 8
  return {
    terminator: '\r\n', errorQueue: 'plain', processMs: 8, inputBytesMax: 80,
    errorCodes: { [-113]: 101, [-222]: 120 },
    onReset: () => { core().reset(); bits = 8 },
    commands: [
      {
        pattern: 'RANGe', parameters: [...number, list],
        run: ([v, at]) => core().setRange(channelOf(at), Number(v)),
      },
      { pattern: 'RANGe?', parameters: [list], run: ([at]) => String(core().rangeV(channelOf(at))) },
      { pattern: 'RATE', parameters: number, run: ([hz]) => core().setRate(Number(hz)) },
      { pattern: 'RATE?', run: () => String(core().rateHz) },
      { pattern: 'LENGth', parameters: number, run: ([n]) => core().setSamples(Number(n)) },
      { pattern: 'LENGth?', run: () => String(core().samples) },
      { pattern: 'RUN', run: () => core().arm(true) },
      { pattern: 'TRIGger', run: () => core().trigger() },
      { pattern: 'STOP', run: () => core().abort() },
      { pattern: 'RUN:STATe?', run: () => statesB[core().state] },
      {
        pattern: 'DATA:WIDTh', parameters: number,
        run: ([n]) => { bits = Number(n) === 8 || Number(n) === 16 ? Number(n) : refuse(-224) },
      },
      { pattern: 'DATA:WIDTh?', run: () => String(bits) },
      {
        pattern: 'DATA:PREamble?', parameters: [list],
        run: ([at]) => preambleB(core(), channelOf(at), bits),
      },
      { pattern: 'DATA?', parameters: [list], run: ([at]) => dataB(core(), channelOf(at), bits) },
    ],
  }
}

/** Format 0 bytes, 1 words; code = (volts - origin) / increment + reference. */
function preambleB(core: RecorderCore, channel: number, bits: number): string {
  const points = core.codes(channel, 0, 1).length && core.channel(channel).codes.length
  const incrementV = core.stepV(channel) * 2 ** (core.figures.bits - bits)
  const values = [bits === 16 ? 1 : 0, 0, points, 1]
  const rest = [1 / core.rateHz, 0, 0, incrementV, 0].map(value => scientific(value, 9))
  return [...values, ...rest, 2 ** (bits - 1)].join(',')
}

function dataB(core: RecorderCore, channel: number, bits: number): string {
  const codes = core.codes(channel, 0, core.channel(channel).codes.length)
  const shift = 2 ** (core.figures.bits - bits)
  const middle = 2 ** (bits - 1)
  const form: WordForm = { kind: 'UINT', bits, swapped: false }
  return block(Array.from(codes, code => Math.floor(code / shift) + middle), form)
}
