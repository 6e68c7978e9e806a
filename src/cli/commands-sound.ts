/** `analyse` and `generate`: test signals and recordings as files. Neither needs a daemon. */
import { basename } from 'node:path'
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { loadFile } from '../schema/read-file.ts'
import { answer, questions, usualSweep, type Answer, type Asked, type Question } from '../sound/analyse.ts'
import { readRecording } from '../sound/read.ts'
import { scaleBy, soundScale, type SoundScale } from '../sound/scale.ts'
import { signal, signalKinds, wholePeriodsHz, type SignalKind } from '../sound/signals.ts'
import { writeWave, type WaveBits } from '../sound/wav.ts'
import { equalisationNames, windowNames, type EqualisationName, type WindowName } from '../sound/words.ts'
import { SeededRandom } from '../base/random.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { fieldsOf, siOf } from './lot-options.ts'
import { answerLines } from './sound-text.ts'
import { printable } from './table.ts'

interface AnalyseFlags extends CommonOptions {
  as: string; channel: string; from?: string; for?: string; rate?: string; scale?: string; band?: string
  window?: string; harmonics?: string; mains?: string; tones?: string; played?: string
  against?: string
  reads?: string; save?: string; note?: string
}
interface GenerateFlags extends CommonOptions {
  output: string; rate: string; bits: string; seconds: string; level: string; hz?: string; seed: string
}

const readsLike = '1.0005,u=0.002 (volts RMS, and the standard uncertainty of that)'

export function addSoundCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('analyse').argument('<file>', 'a recording: WAVE, or a table of volts')
    .requiredOption('--as <question>', questions.join(', '))
    .option('--channel <number>', 'which channel, from 1', '1')
    .option('--from <seconds>', 'leave out what comes before')
    .option('--for <seconds>', 'take no more than this')
    .option('--rate <hertz>', 'sampling rate of a table without times')
    .option('--scale <file>', 'what fills the converter, as --save wrote it')
    .option('--band <from,to>', 'hertz; 20,20000 when left out')
    .option('--window <name>', `${windowNames.join(', ')}; chosen by what the samples show when left out`)
    .option('--harmonics <order>', 'highest order that is counted; 10 when left out')
    .option('--mains <hertz>', 'look for hum near this and its multiples')
    .option('--tones <low,high>', 'hertz, of two tones or the ends of a sweep, if not the usual')
    .option('--played <file>', 'of a sweep: the file that was played')
    .option('--against <curve>', `of a sweep through a phono input: ${equalisationNames.join(', ')}`)
    .option('--reads <volts>', `what a meter reads of this tone, like ${readsLike}`)
    .option('--save <file>', 'write the scale that --reads gives')
    .option('--note <text>', 'which input, at which setting: kept with the scale')
    .description('measure a recorded signal: distortion, intermodulation, noise'),
  async (file: string, options: AnalyseFlags) => await analyse(context, file, options))
  act(program.command('generate').argument('<kind>', signalKinds.join(', '))
    .requiredOption('-o, --output <file>', 'WAVE file to write')
    .option('--rate <hertz>', 'sampling rate', '48000')
    .option('--bits <number>', '16, 24 or 32', '24')
    .option('--seconds <number>', 'how long', '10')
    .option('--level <decibels>', 'peak below full scale; of noise its RMS', '-3')
    .option('--hz <hertz>', 'of a tone, of two tones (60,7000), or of the ends of a sweep (10,22000)')
    .option('--seed <number>', 'of noise and dither', '1')
    .description('write a test signal, to be played into a unit'),
  async (kind: string, options: GenerateFlags) => await generate(context, kind, options))
}

async function analyse(context: CliContext, file: string, options: AnalyseFlags): Promise<ExitCode> {
  const asked = askedOf(options)
  const stretch = {
    ...options.from === undefined ? {} : { fromS: numberOf('--from', options.from, 0) },
    ...options.for === undefined ? {} : { lengthS: numberOf('--for', options.for, 0) },
  }
  const rateHz = options.rate === undefined ? undefined : numberOf('--rate', options.rate, 1)
  const told = answer(readRecording(file, stretch, rateHz), asked)
  const scale = await savedScale(context, told, options)
  if (options.json) {
    printJson(context.out, { file: basename(file), ...told, ...scale === null ? {} : { scale } })
  } else {
    print(context.out, ...answerLines(basename(file), told).map(printable))
    if (scale !== null) print(context.out, `Full scale is ${scale.fullScaleV.toPrecision(6)} V peak.`)
  }
  return exitCodes.accepted
}

function askedOf(options: AnalyseFlags): Asked {
  const as = oneOf<Question>('--as', options.as, questions)
  const [fromHz, toHz] = options.band === undefined ? [] : pairOf('--band', options.band)
  const [lowHz, highHz] = options.tones === undefined ? [] : pairOf('--tones', options.tones)
  return {
    as, channel: numberOf('--channel', options.channel, 1),
    scale: options.scale === undefined ? null : loadFile(options.scale, soundScale, 'a scale'),
    ...fromHz === undefined ? {} : { band: { fromHz, toHz: toHz! } },
    ...options.window === undefined ? {}
      : { window: oneOf<WindowName>('--window', options.window, windowNames) },
    ...options.harmonics === undefined ? {}
      : { harmonicsMost: numberOf('--harmonics', options.harmonics, 2, 1000) },
    ...options.mains === undefined ? {} : { mainsHz: numberOf('--mains', options.mains, 10) },
    ...lowHz === undefined ? {} : { tones: { lowHz, highHz: highHz! } },
    ...options.against === undefined ? {}
      : { against: oneOf<EqualisationName>('--against', options.against, equalisationNames) },
    ...options.played === undefined ? {} : { played: readRecording(options.played, {}) },
  }
}

/** Writes what `--reads` says of the scale, where it is asked for. */
async function savedScale(
  context: CliContext, told: Answer, options: AnalyseFlags,
): Promise<SoundScale | null> {
  if (options.reads === undefined) {
    if (options.save === undefined) return null
    throw new BenchError('USAGE', '--save needs what a meter reads', {
      expected: `--reads ${readsLike}`, got: 'none',
    })
  }
  if (told.found.as !== 'tone' || told.unit !== 'FS') {
    throw new BenchError('USAGE', 'the scale is found by a tone in shares of full scale', {
      expected: '--as tone of a WAVE file, without --scale', got: told.found.as,
    })
  }
  const fields = fieldsOf(`volts=${options.reads}`, ['volts', 'u'], readsLike)
  const [volts, u] = [siOf(fields.get('volts') ?? ''), siOf(fields.get('u') ?? '')]
  if (!(volts > 0) || !(u > 0)) {
    throw new BenchError('USAGE', '--reads is not understood', { expected: readsLike, got: options.reads })
  }
  const scale = scaleBy({ volts, u }, told.found.tone.rms, context.clock.wallMs(), options.note ?? '')
  const text = `${JSON.stringify(scale, null, 2)}\n`
  if (options.save !== undefined) await context.writeFile(options.save, [text])
  return scale
}

/** A tone is moved to where this many samples hold whole periods: no window is needed then. */
const wholeSamples = 65_536
const usualHz: Record<SignalKind, readonly number[]> = {
  tone: [1000], smpte: [60, 7000], difference: [19_000, 20_000], sweep: [usualSweep.lowHz, usualSweep.highHz],
  noise: [], silence: [],
}

async function generate(context: CliContext, kindGiven: string, options: GenerateFlags): Promise<ExitCode> {
  const kind = oneOf<SignalKind>('the kind', kindGiven, signalKinds)
  const sampleHz = numberOf('--rate', options.rate, 8000)
  const bits = Number(oneOf('--bits', options.bits, ['16', '24', '32'])) as WaveBits
  const given = options.hz === undefined ? usualHz[kind]
    : options.hz.split(',').map(one => numberOf('--hz', one, 0))
  const hz = kind === 'tone' ? [wholePeriodsHz(given[0]!, sampleHz, wholeSamples)] : given
  if (hz.length !== usualHz[kind].length) {
    throw new BenchError('USAGE', `--hz of ${kind}`, {
      expected: `${usualHz[kind].length} frequencies`, got: options.hz!,
    })
  }
  const random = new SeededRandom(`dither ${options.seed}`)
  const samples = signalOf({
    kind, sampleHz, hz, seconds: numberOf('--seconds', options.seconds, 0.1, 600),
    seed: numberOf('--seed', options.seed, 0), levelDb: numberOf('--level', options.level, -160, 0),
  })
  const bytes = await context.writeFile(options.output,
    [writeWave([samples], sampleHz, bits, () => random.next() - random.next())])
  const told = { file: options.output, kind, sampleHz, bits, samples: samples.length, hz, bytes }
  if (options.json) printJson(context.out, told)
  else {
    const what = hz.length === 0 ? '' : ` of ${hz.map(one => `${Number(one.toFixed(4))} Hz`).join(' and ')}`
    const how = `${samples.length} samples at ${sampleHz} Hz, ${bits} bit`
    print(context.out, `Wrote ${options.output}: ${kind}${what}, ${how}.`)
  }
  return exitCodes.accepted
}

function signalOf(asked: Parameters<typeof signal>[0]): Float64Array {
  try {
    return signal(asked)
  } catch (error) {
    if (error instanceof RangeError) throw new BenchError('USAGE', error.message, {}, error)
    throw error
  }
}

function oneOf<T extends string>(name: string, given: string, known: readonly T[]): T {
  const found = known.find(one => one === given)
  if (found !== undefined) return found
  throw new BenchError('USAGE', `${name} is not understood`, { expected: known.join(', '), got: given })
}

function numberOf(name: string, given: string, least: number, most = Infinity): number {
  const value = given.trim() === '' ? NaN : Number(given)
  if (value >= least && value <= most && Number.isFinite(value)) return value
  const bounds = most === Infinity ? `${least} or more` : `${least} to ${most}`
  throw new BenchError('USAGE', `${name} is not understood`, { expected: `a number, ${bounds}`, got: given })
}

function pairOf(name: string, given: string): [number, number] {
  const [low, high, more] = given.split(',').map(one => numberOf(name, one, 0))
  if (low !== undefined && high !== undefined && more === undefined && low < high) return [low, high]
  throw new BenchError('USAGE', `${name} is not understood`, {
    expected: 'two numbers, like 20,20000', got: given,
  })
}
