/** What instruments send: bytes into frames, frames into values, sessions, and every driver of every profile. */
import { readdirSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { BenchError } from '../../src/base/errors.ts'
import { packageFile } from '../../src/base/paths.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import { energisingPart } from '../../src/keeper/table.ts'
import { classesOfRole, instrumentProfile, lacksFor, type InstrumentProfile } from '../../src/schema/instrument-profile.ts'
import { loadFile } from '../../src/schema/read-file.ts'
import type { Measured } from '../../src/schema/reading.ts'
import { roleNames, type Energising, type RoleName } from '../../src/schema/roles.ts'
import { blockNumbers, parsePreamble } from '../../src/scpi/blocks.ts'
import { parseErrorEntry, readErrorAnswer } from '../../src/scpi/error-queue.ts'
import { Framer, type Frame } from '../../src/scpi/framing.ts'
import { parseChannelList, splitFields, splitResponses } from '../../src/scpi/lists.ts'
import type { ScpiPort } from '../../src/scpi/port.ts'
import { Session } from '../../src/scpi/session.ts'
import { parseBoolean, parseIdentity, parseNumber, parseReading, parseString } from '../../src/scpi/values.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { benchErrorOr, holds, settledWell } from './holds.ts'
import { answers, wireBytes } from './texts.ts'

const framesOf = (chunks: readonly Uint8Array[], mode: 'line' | 'block'): Frame[] | Error => benchErrorOr(() => {
  const framer = new Framer({ bytesMax: 2000 })
  framer.expect(mode)
  const frames: Frame[] = []
  for (const chunk of chunks) framer.push(chunk, frame => frames.push(frame))
  return frames
})
const plain = (found: Frame[] | Error): unknown => found instanceof Error ? found.message
  : found.map(frame => frame.kind === 'line' ? frame.text : [frame.head, [...frame.bytes], frame.tail])

describe('what comes over a wire', () => {
  it('gives the same frames however it is cut, or one error', async () => {
    const inputs = fc.record({ bytes: wireBytes, cuts: fc.array(fc.nat(200), { maxLength: 8 }), mode: fc.constantFrom('line' as const, 'block' as const) })
    await holds('framing', inputs, ({ bytes, cuts, mode }) => {
      const at = [...new Set([0, ...cuts.map(cut => cut % (bytes.length + 1)), bytes.length])].sort((a, b) => a - b)
      const chunks = at.slice(1).map((end, i) => bytes.subarray(at[i], end))
      expect(plain(framesOf(chunks, mode))).toEqual(plain(framesOf([bytes], mode)))
    })
  })

  it('gives values, or an error that says what was expected', async () => {
    await holds('values', answers, text => {
      for (const parse of [
        parseNumber, parseReading, parseBoolean, parseString, parseIdentity, parseChannelList, splitFields, parseErrorEntry, parsePreamble,
        (given: string) => splitResponses(given, 2), (given: string) => readErrorAnswer({ query: 'SYST:ERR?', none: 'code-zero', max: 10 }, given),
        (given: string) => readErrorAnswer({ kind: 'event-register', query: '*ESR?', errorMask: 60 }, given),
        (given: string) => blockNumbers(Buffer.from(given, 'latin1'), 'real32', 'normal'),
      ]) benchErrorOr(() => parse(text))
      const number = benchErrorOr(() => parseNumber(text))
      if (!(number instanceof Error)) expect(Number.isNaN(number.value)).toBe(false)
      const reading = benchErrorOr(() => parseReading(text))
      if (!(reading instanceof Error) && reading.quality === 'good') expect(Math.abs(reading.value)).toBeLessThan(9.9e37)
    })
  })

  it('leaves no caller of a session waiting, and the session can be closed', async () => {
    const inputs = fc.record({
      replies: fc.array(fc.record({ bytes: wireBytes, late: fc.nat(800) }), { minLength: 1, maxLength: 10 }),
      calls: fc.array(fc.constantFrom('query', 'write', 'block', 'safe-off', 'resynchronise', 'unplug'), { maxLength: 5 }),
      identity: fc.boolean(),
    })
    await holds('session', inputs, async ({ replies, calls, identity }) => {
      const clock = new VirtualClock()
      let at = 0
      const link = memoryLink(clock, { onBytes: (_, reply) => {
        const { bytes, late } = replies[at++ % replies.length]!
        clock.after(late, () => reply(bytes))
      } }, { latencyMs: 1 })
      const session = new Session(link.open, {
        name: 'psu', clock, deadlineMs: 500, frameBytesMax: 1024, errorQueue: { query: 'SYST:ERR?', none: 'code-zero', max: 16 },
        ...(identity ? { identity: { query: '*IDN?' } } : {}),
      })
      const act: Record<(typeof calls)[number], () => Promise<unknown>> = {
        query: () => session.query('VOLT?'), write: () => session.write('VOLT 1'), block: () => session.queryBlock('CURV?'),
        'safe-off': () => session.safeOff(['OUTP OFF']), resynchronise: () => session.resynchronise(), unplug: async () => link.unplug(),
      }
      await clock.run((async () => {
        await settledWell(session.connect())
        for (const call of calls) await settledWell(act[call]())
        await session.close()
      })())
      expect(session.state).toBe('down')
    })
  })
})

const profiles = readdirSync(packageFile('profiles', 'instruments'))
  .map(name => loadFile(packageFile('profiles', 'instruments', name), instrumentProfile) as InstrumentProfile)
const subjects = profiles.flatMap(profile =>
  roleNames.filter(role => classesOfRole[role].includes(profile.class) && lacksFor(role, profile) === null).map(role => ({ profile, role })))

/** Calls that must energise nothing, whatever is answered; by name, with what they are given. */
const calls: Readonly<Record<string, readonly unknown[]>> = {
  identify: [], prepare: [], settings: [], readVoltage: [], readCurrent: [], protect: [20, 0.1], protectionTripped: [], clearProtection: [],
  armWatchdog: [5], disarmWatchdog: [], setVoltage: [5], setCurrentLimit: [0.01], setOutput: [false], configure: [{ rangeV: 10, rangeOhm: 1000, wires: 2, nplc: 1 }],
  measure: [{ frequencyHz: 100, levelV: 0.5 }], readTemperature: [101], select: [101], release: [[1]], releaseAll: [], held: [[1, 2]],
  readPower: [], closedWay: [], setTones: [1, [{ frequencyHz: 1000, levelV: 0.1 }]], muteAll: [], connect: [1, 8], connected: [1],
  capture: [{ channels: [1], rangeV: 1, sampleHz: 48e3, samples: 64 }],
  readResistance: [], forceVoltage: [1, 1e-3], forceCurrent: [1e-3, 2], open: [], isClosed: [], read: [], show: ['live'],
}

function babblingPort(said: readonly string[], refuses: number) {
  const sent: string[] = []
  const turn = (): void => { if (sent.length > 2000) throw new Error('it asks without end') }
  const port: ScpiPort = {
    name: 'thing',
    async query(command) { sent.push(command); turn(); return said[sent.length % said.length]! },
    async queryBlock(command) { sent.push(command); turn(); return Buffer.from(said[sent.length % said.length]!, 'latin1') },
    async write(command) {
      sent.push(command)
      turn()
      if (refuses > 0 && sent.length % refuses === 0) throw new BenchError('INSTRUMENT_ERROR', 'refused', { instrument: 'thing', command })
    },
  }
  return { port, sent }
}

describe('every driver of every profile', () => {
  it('gives readings or errors and energises nothing, whatever the instrument answers', async () => {
    const inputs = fc.record({
      subject: fc.constantFrom(...subjects), said: fc.array(answers, { minLength: 1, maxLength: 6 }), refuses: fc.nat(5),
      asked: fc.shuffledSubarray(Object.keys(calls), { minLength: 1, maxLength: 5 }),
    })
    await holds('drivers', inputs, async ({ subject: { profile, role }, said, refuses, asked }) => {
      const clock = new VirtualClock()
      const { port, sent } = babblingPort(said, refuses)
      const relay = profile.class === 'relay-board' && role !== 'positions' ? { relay: 1 } : {}
      const driver = createDriver(role as RoleName, profile, port, clock, relay) as unknown as Record<string, unknown>
      for (const name of asked.filter(call => typeof driver[call] === 'function')) {
        const call = (driver[name] as (...given: readonly unknown[]) => Promise<unknown>).bind(driver)
        const result = await clock.run(settledWell(call(...calls[name]!)))
        if (isMeasured(result) && result.quality === 'good') {
          expect(Number.isFinite(result.value)).toBe(true)
          expect(result.u).toBeGreaterThanOrEqual(0)
        }
      }
      const energising = (driver['energising'] ?? []) as Energising[]
      const table = { phases: [], refreshes: [], energising: energising.map(entry => ({ ...entry, link: 'thing' })) }
      expect(sent.filter(line => energisingPart(table, 'thing', line) !== null)).toEqual([])
    })
  })

  it('has sessions that its profile can make', () => {
    for (const profile of profiles) expect(() => sessionOptionsOf(profile)).not.toThrow()
  })
})

const isMeasured = (value: unknown): value is Measured =>
  typeof value === 'object' && value !== null && 'quality' in value && 'u' in value
