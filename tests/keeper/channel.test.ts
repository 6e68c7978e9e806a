/** Goal: whatever is cut or spoilt on the pipe leads to a message or to safe-off, and to nothing else. */
import { spawn } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Duplex } from 'node:stream'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { builtEntry } from '../../src/base/paths.ts'
import { LineSplitter, openChannel } from '../../src/keeper/channel.ts'
import { FakeInstrument } from './fake-instrument.ts'

const anyLine = fc.string({ unit: 'grapheme-ascii' })

describe('lines over a pipe', () => {
  it('are the same however the bytes are cut', () => {
    fc.assert(fc.property(fc.array(anyLine), fc.array(fc.integer({ min: 1, max: 9 })), (lines, cuts) => {
      const bytes = Buffer.from(lines.map(line => `${line}\n`).join(''))
      const got: string[] = []
      const splitter = new LineSplitter(10_000, line => got.push(line))
      let from = 0
      for (const cut of [...cuts, bytes.length]) {
        expect(splitter.push(bytes.subarray(from, from + cut))).toBe(true)
        from += cut
      }
      expect(got).toEqual(lines)
    }))
  })

  it('may be exactly as long as the limit, in any chunks', () => {
    for (const [bytes, fits] of [[8, true], [9, false]] as const) {
      for (const chunk of [1, 3, 20]) {
        const got: string[] = []
        const splitter = new LineSplitter(8, line => got.push(line))
        const all = Buffer.from(`${'x'.repeat(bytes)}\n`)
        let held = true
        for (let at = 0; at < all.length && held; at += chunk) {
          held = splitter.push(all.subarray(at, at + chunk))
        }
        expect([held, got.length]).toEqual([fits, fits ? 1 : 0])
      }
    }
  })
})

/** Both ends of a pipe in this process. */
function pipe() {
  const events: unknown[] = []
  let sent = ''
  const write = (chunk: Buffer, _encoding: string, done: () => void): void => {
    sent += chunk.toString('latin1')
    done()
  }
  const far = new Duplex({ read() {}, write })
  const channel = openChannel(far, {
    message: message => events.push(message), malformed: what => events.push(`malformed: ${what}`),
    gone: () => events.push('gone'),
  })
  return { events, channel, sent: () => sent, come: (text: string) => far.push(text), end: () => far.push(null) }
}
const turn = (): Promise<void> => new Promise(resolve => { setImmediate(resolve) })

describe('a channel', () => {
  it('hands on messages in order, and hears nothing after one that is none', async () => {
    const { events, come } = pipe()
    come('["b",1]\n{"do":"res')
    come('et","id":4}\n')
    come('[1,\n["b",1]\n')
    await turn()
    expect(events).toEqual([['b', 1], { do: 'reset', id: 4 }, 'malformed: a line that is no JSON'])
  })

  it('carries every text across as it was', async () => {
    const anyText = fc.oneof(fc.string({ unit: 'binary' }), fc.string({ unit: 'grapheme' }))
    await fc.assert(fc.asyncProperty(fc.array(anyText), async texts => {
      const near = pipe()
      const far = pipe()
      for (const text of texts) near.channel.send([text])
      far.come(near.sent())
      await turn()
      expect(near.sent()).toMatch(/^[\x20-\x7e\n]*$/)
      expect(far.events).toEqual(texts.map(text => [text]))
    }))
  })

  it('says when the other side is gone', async () => {
    const { events, end } = pipe()
    end()
    await turn()
    expect(events[0]).toBe('gone')
  })
})

describe('the keeper\'s process at the end of its pipe', () => {
  let folder: string
  let instrument: FakeInstrument
  beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'channel-')); instrument = new FakeInstrument() })
  afterEach(() => { instrument.close(); rmSync(folder, { recursive: true, force: true }) })

  async function started() {
    const child = spawn(process.execPath, [builtEntry('src/keeper/main')], {
      stdio: ['ignore', 'ignore', 'ignore', 'overlapped'],
    })
    const channel = child.stdio[3] as Duplex
    const settings = { deadlineMs: 1000, frameBytesMax: 4096, errorQueue: null, quietMs: 5 }
    const step = { commands: ['OUTP OFF'], verify: { query: 'OUTP?', safe: [0] } }
    const table = { phases: [{ gapMs: 0, steps: [{ link: 'psu', step }] }], refreshes: [], energising: [] }
    channel.on('error', () => {})
    const ended = new Promise<number | null>(resolve => child.once('exit', resolve))
    const say = (message: object): void => { channel.write(`${JSON.stringify(message)}\n`) }
    const answered = new Promise<void>(resolve => {
      channel.on('data', chunk => { if (String(chunk).includes('"a",2')) resolve() })
    })
    const links = [{ name: 'psu', url: await instrument.url(), settings }]
    say({ do: 'start', links, dataFolder: folder, clock: { kind: 'real' } })
    await new Promise<void>(resolve => channel.once('data', () => resolve()))
    say({ do: 'configure', id: 1, table, firstSafeOff: false })
    say(['q', 2, 'psu', 'MEAS:VOLT?', 0])
    await answered
    expect(instrument.lines).not.toContain('OUTP OFF')
    return { child, channel, ended }
  }
  const reason = (): string => readFileSync(join(folder, 'keeper.log'), 'utf8').split('\n')
    .filter(line => line.includes('"safe-off"'))
    .map(line => (JSON.parse(line) as { reason: string }).reason).join()

  it('makes the bench safe when a line is no JSON, and when it is gone', async () => {
    const { channel, ended } = await started()
    channel.write('["w",3,"psu","OUTP ON"\n')
    await instrument.heard('OUTP OFF')
    channel.destroy()
    expect(await ended).toBe(0)
    expect(reason()).toContain('malformed message: a line that is no JSON')
  })

  it('makes the bench safe when its daemon\'s end closes', async () => {
    const { channel, ended } = await started()
    channel.destroy()
    await instrument.heard('OUTP OFF')
    expect(await ended).toBe(0)
    expect(reason()).toBe('the daemon is gone')
  })

  it('does not start without a pipe', async () => {
    const child = spawn(process.execPath, [builtEntry('src/keeper/main')], { stdio: 'ignore' })
    expect(await new Promise(resolve => child.once('exit', resolve))).toBe(2)
  })
})
