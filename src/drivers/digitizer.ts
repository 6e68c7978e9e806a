/**
 * A digitizer. One capture throws the last record away and sees that it is gone, sees that range, rate and
 * length stand as asked, arms, waits for the record and fetches it in pieces that its link has room for. So
 * no record of the past is taken for a new one. What fails in between is given up at the instrument too.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import { blockHeadBytes, bytesOfWord } from '../schema/signal-classes.ts'
import type { Capture, CaptureAsked, Digitizer, OwnFigures } from '../schema/unit-roles.ts'
import { parsePreamble } from '../scpi/blocks.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { formatNumber } from '../scpi/values.ts'
import { refuseUnknown } from './answers.ts'
import { checked, Driver } from './driver.ts'
import { fill } from './format.ts'
import { numbersOf, toVolts, type Scaling, type Volts } from './waveform.ts'

type Profile = ProfileOf<'digitizer'>
type Range = Profile['ranges'][number]
type State = keyof Profile['state']

/** A rate or a range that differs by less is the same. */
const sameShare = 1e-6

export class DigitizerDriver extends Driver<Profile> implements Digitizer {
  readonly channels: readonly number[]
  readonly isDifferential: boolean
  readonly inputOhm: number
  readonly rangesV: readonly number[]
  readonly sampleRatesHz: readonly number[]
  readonly samplesMost: number
  readonly #pieceMost: number

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    if (profile.data.kind === 'block' && port.queryBlock === undefined) {
      throw new BenchError('FILE_INVALID', 'a digitizer that sends blocks', {
        instrument: port.name, expected: 'a link of its own', got: 'one that passes lines alone',
      })
    }
    const { channels, input, ranges, sampleRatesHz, samplesMost, data, link, commands } = profile
    this.channels = channels
    this.isDifferential = input.kind === 'differential'
    this.inputOhm = input.ohm
    this.rangesV = ranges.map(range => range.rangeV)
    this.sampleRatesHz = sampleRatesHz
    this.samplesMost = samplesMost
    const sampleBytes = data.kind === 'ascii' ? data.sampleBytesMax : bytesOfWord[data.word]
    this.#pieceMost = commands.fetch.includes('{count}')
      ? Math.floor((link.answerBytesMax - blockHeadBytes) / sampleBytes) : samplesMost
  }

  own(rangeV: number): OwnFigures & { bits: number } {
    const { own: { distortionPct, clockPpm }, bits } = this.profile
    const { noiseVPerRootHz } = this.#rangeFor(rangeV)
    return { thdMost: distortionPct / 100, noiseVPerRootHz, clockU: clockPpm / 1e6 / Math.sqrt(3), bits }
  }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.#abort()
    await this.#confirm()
  }

  async capture(asked: CaptureAsked): Promise<Capture> {
    const range = this.#refuse(asked)
    try {
      await this.#abort()
      await this.#confirm()
      await this.#setUp(asked, range)
      const atMs = this.clock.monotonicMs()
      await this.#record(asked)
      const taken: Volts[] = []
      for (const channel of asked.channels) taken.push(await this.#fetch(channel, asked, range))
      return {
        sampleHz: asked.sampleHz, atMs, volts: taken.map(one => one.volts),
        isClipped: taken.map(one => one.isClipped), ...this.#uncertainty(range),
      }
    } catch (error) {
      // Nothing of it is used, so that it does not matter whether this still arrives.
      await this.port.write(this.profile.commands.abort, checked).catch(() => {})
      throw error
    }
  }

  #refuse({ channels, rangeV, sampleHz, samples }: CaptureAsked): Range {
    for (const channel of channels) refuseUnknown(this.name, this.channels, channel)
    if (channels.length === 0 || new Set(channels).size < channels.length) {
      throw this.#outOfRange('channels', 'one or several, each once', channels.join(', ') || 'none')
    }
    if (!this.sampleRatesHz.some(rate => isSame(rate, sampleHz))) {
      throw this.#outOfRange('rate', `${this.sampleRatesHz.join(' or ')} Hz`, `${sampleHz} Hz`)
    }
    if (!Number.isInteger(samples)) throw this.#outOfRange('samples', 'a whole number', String(samples))
    this.inRange('samples', samples, 1, this.samplesMost, 'samples')
    return this.#rangeFor(rangeV)
  }

  #rangeFor(rangeV: number): Range {
    this.inRange('range', rangeV, Number.MIN_VALUE, this.rangesV.at(-1)!, 'V')
    return this.profile.ranges.find(range => range.rangeV >= rangeV)!
  }

  #outOfRange(what: string, expected: string, got: string): BenchError {
    return new BenchError('OUT_OF_RANGE', what, { instrument: this.name, expected, got })
  }

  // ---- set-up ----

  /** Whatever it held or was about to take is gone afterwards. */
  async #abort(): Promise<void> {
    const { abort } = this.profile.commands
    await this.port.write(abort, checked)
    const state = await this.#state()
    if (state !== 'idle') throw this.notTaken(abort, 'no record and none under way', state)
  }

  async #confirm(): Promise<void> {
    for (const { query, answer } of this.profile.commands.confirm) {
      const got = await this.port.query(query)
      if (got.toUpperCase() !== answer.toUpperCase()) throw this.notTaken(query, answer, got)
    }
  }

  async #setUp({ channels, sampleHz, samples }: CaptureAsked, { rangeV }: Range): Promise<void> {
    const { setRange, askRange, enable, askEnabled, setRate, askRate, setSamples, askSamples } =
      this.profile.commands
    for (const channel of enable && askEnabled ? this.channels : []) {
      const line = enable!.replace('{channel}', String(channel))
      const ask = fill(askEnabled!, { channel: String(channel) })
      const wanted = channels.includes(channel)
      if (await this.askSwitch(ask) !== wanted) await this.setSwitch(line, wanted, ask)
    }
    for (const channel of channels) {
      const line = setRange.replace('{channel}', String(channel))
      await this.#ensure(line, fill(askRange, { channel: String(channel) }), rangeV, 'V')
    }
    await this.#ensure(setRate, askRate, sampleHz, 'Hz')
    await this.#ensure(setSamples, askSamples, samples, '')
  }

  /** Asked each time, since after a power failure it is not what it was told; sent where it differs. */
  async #ensure(line: string, ask: string, value: number, unit: string): Promise<void> {
    if (isSame(value, await this.askNumber(ask, unit))) return
    await this.setNumber(line, formatNumber(value), ask, value * sameShare, unit)
  }

  // ---- one record ----

  async #record({ samples, sampleHz }: CaptureAsked): Promise<void> {
    const { commands: { arm, trigger, askState }, armMs, pollMs, link } = this.profile
    await this.port.write(arm, checked)
    if (trigger !== undefined) await this.port.write(trigger, checked)
    const fromMs = this.clock.monotonicMs()
    const takesMs = samples / sampleHz * 1000
    const mostMs = armMs + 1.05 * takesMs + link.deadlineMs
    // Nothing can be there any sooner.
    await sleep(this.clock, takesMs)
    for (;;) {
      const state = await this.#state()
      if (state === 'done') return
      if (state === 'idle') throw this.notTaken(arm, 'a record, or one under way', 'neither')
      const elapsedMs = this.clock.monotonicMs() - fromMs
      if (elapsedMs > mostMs) {
        throw new BenchError('NO_READING', 'no record came', {
          instrument: this.name, command: askState, expected: `${this.profile.state.done.join(' or ')}`,
          got: this.profile.state.busy.join(' or '), elapsedMs,
        })
      }
      await sleep(this.clock, pollMs)
    }
  }

  async #state(): Promise<State> {
    const { commands: { askState }, state } = this.profile
    const got = (await this.port.query(askState)).toUpperCase()
    const names = ['idle', 'busy', 'done'] as const
    const found = names.find(name => state[name].some(word => word.toUpperCase() === got))
    if (found) return found
    throw new BenchError('ANSWER_FORM', 'the answer makes no sense', {
      instrument: this.name, command: askState, got: got === '' ? 'an empty line' : got.slice(0, 80),
      expected: names.flatMap(name => state[name]).join(' or '),
    })
  }

  async #fetch(channel: number, asked: CaptureAsked, { rangeV }: Range): Promise<Volts> {
    const { askClipped } = this.profile.commands
    const at = { channel: String(channel) }
    const wentBeyond = askClipped !== undefined && await this.askSwitch(fill(askClipped, at))
    const scaling = await this.#scaling(channel, asked)
    const numbers = new Float64Array(asked.samples)
    for (let first = 0; first < asked.samples; first += this.#pieceMost) {
      const count = Math.min(this.#pieceMost, asked.samples - first)
      numbers.set(await this.#piece(channel, first, count), first)
    }
    const { volts, isClipped } = toVolts(numbers, scaling, rangeV, this.profile.clipping)
    return { volts, isClipped: isClipped || wentBeyond }
  }

  async #piece(channel: number, first: number, count: number): Promise<Float64Array> {
    const { data, commands: { fetch, firstIs }, fetchBytesPerS, link } = this.profile
    const sampleBytes = data.kind === 'ascii' ? data.sampleBytesMax : bytesOfWord[data.word]
    const command = fill(fetch, {
      channel: String(channel), first: String(first + firstIs), count: String(count),
    })
    const deadlineMs = Math.ceil(link.deadlineMs + count * sampleBytes / fetchBytesPerS * 1000)
    const piece = data.kind === 'block' ? await this.port.queryBlock!(command, { deadlineMs })
      : await this.port.query(command, { deadlineMs })
    return numbersOf(data, piece, count)
  }

  async #scaling(channel: number, asked: CaptureAsked): Promise<Scaling> {
    const { scaling } = this.profile
    const at = { channel: String(channel) }
    switch (scaling.by) {
      case 'volts': return { scaleV: 1, offsetV: 0 }
      case 'query': return {
        scaleV: await this.askNumber(fill(scaling.askScale, at), 'V'),
        offsetV: scaling.askOffset === undefined ? 0 : await this.askNumber(fill(scaling.askOffset, at), 'V'),
      }
      case 'preamble': return this.#byPreamble(fill(scaling.ask, at), scaling.format, asked)
    }
  }

  /** It says once more how many samples there are and how far apart: of another record it would differ. */
  async #byPreamble(query: string, format: number | undefined, asked: CaptureAsked): Promise<Scaling> {
    const told = parsePreamble(await this.port.query(query))
    const wrong = told.points !== asked.samples ? [`${asked.samples} samples`, String(told.points)]
      : !isSame(1 / asked.sampleHz, told.xIncrementS) ? [`${1 / asked.sampleHz} s`, `${told.xIncrementS} s`]
      : format !== undefined && told.format !== format ? [`format ${format}`, String(told.format)] : null
    if (wrong) throw this.notTaken(query, wrong[0]!, wrong[1]!)
    return { scaleV: told.yIncrementV, offsetV: told.yOriginV - told.yReference * told.yIncrementV }
  }

  #uncertainty({ rangeV, accuracy: { readingPct, rangePct, counts } }: Range) {
    const stepV = 2 * rangeV / 2 ** this.profile.bits
    return {
      gainU: readingPct / 100 / Math.sqrt(3),
      offsetUV: Math.hypot((rangePct / 100 * rangeV + counts * stepV) / Math.sqrt(3), stepV / Math.sqrt(12)),
    }
  }
}

const isSame = (one: number, other: number): boolean => Math.abs(other - one) <= sameShare * Math.abs(one)
