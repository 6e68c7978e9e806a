/** Goal: one exchange at a time, every failure named, and nothing sent that may be late or out of step. */
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { Session } from '../../src/scpi/session.ts'
import { bench } from './bench.ts'
import { TestDevice } from './device.ts'

describe('a session on a good link', () => {
  it('connects, learns the identity and answers queries', async () => {
    const { session, run, device } = bench()
    await run(session.connect())
    expect(session.state).toBe('ready')
    expect(session.identity).toBe(device.identity)
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('drains the error queue after a write and takes a clean one for success', async () => {
    const { session, run, device, connected } = bench()
    await connected()
    await run(session.write('VOLT 5'))
    expect(device.received).toEqual(['VOLT 5', 'SYST:ERR?'])
    device.received = []
    await run(session.write('VOLT 6', { check: false }))
    expect(device.received).toEqual(['VOLT 6'])
  })

  it('fails the write that caused an instrument error, and not the next one', async () => {
    const { session, run, failure, connected } = bench()
    await connected()
    const error = await failure(session.write('VOLT 99'))
    expect(error.code).toBe('INSTRUMENT_ERROR')
    expect(error.message).toMatch(/psu `VOLT 99`: .*expected no error, got -222 "Data out of range" \(VOLT\) after \d+ ms/)
    await run(session.write('VOLT 9'))
    expect(await run(session.query('VOLT?'))).toBe('9.000')
  })

  it('runs callers first come first served, the error check of a write before the next caller', async () => {
    const { session, run, device, connected } = bench()
    await connected()
    await run(Promise.all([session.write('VOLT 1'), session.query('VOLT?'), session.write('VOLT 2')]))
    expect(device.received).toEqual(['VOLT 1', 'SYST:ERR?', 'VOLT?', 'VOLT 2', 'SYST:ERR?'])
  })

  it('stops draining an error queue that never ends', async () => {
    const { session, device, failure, connected } = bench()
    await connected()
    device.handler = (line, reply) => line === 'SYST:ERR?' && (reply('-350,"Queue overflow"\n'), true)
    const error = await failure(session.write('VOLT 1'))
    expect(error.code).toBe('INSTRUMENT_ERROR')
    expect(device.received.length).toBe(1 + 64)
  })

  it('takes a positive error code for an error', async () => {
    const { session, device, failure, connected } = bench()
    await connected()
    device.handler = (line, reply) => line === 'SYST:ERR?' && (reply('101,"syntax"\n'), true)
    expect((await failure(session.write('VOLT 1'))).message).toContain('101 "syntax"')
  })

  it('reads a block with line ends in it, and the link is in step afterwards', async () => {
    const { session, device, run, connected } = bench()
    await connected()
    device.handler = (line, reply) => line === 'DATA?' && (reply('#3005he\nlo\r\n'), true)
    expect(Buffer.from(await run(session.queryBlock('DATA?'))).toString()).toBe('he\nlo')
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('reads an indefinite block up to the silence after it', async () => {
    const { session, device, run, connected } = bench()
    await connected()
    device.handler = (line, reply) => line === 'DATA?' && (reply('#0he\n'), reply('lo\n'), true)
    expect(Buffer.from(await run(session.queryBlock('DATA?'))).toString()).toBe('he\nlo')
  })

  it('keeps the pace the instrument needs', async () => {
    const { session, device, run, clock, connected } = bench({ pacingMs: 300 })
    await connected()
    const at: number[] = []
    device.handler = () => { at.push(clock.monotonicMs()) }
    await run(Promise.all([session.write('VOLT 1'), session.query('VOLT?')]))
    expect(at.length).toBe(3)
    expect(at[1]! - at[0]!).toBeGreaterThanOrEqual(300)
    expect(at[2]! - at[1]!).toBeGreaterThanOrEqual(300)
  })

  it('holds the clock from the first byte to the last and no longer', async () => {
    class HeldClock extends VirtualClock {
      held = 0
      override hold() { this.held++; return () => { this.held-- } }
    }
    const clock = new HeldClock()
    const link = memoryLink(clock, new TestDevice(), { latencyMs: 1 })
    const session = new Session(link.open, { name: 'psu', clock, deadlineMs: 500, frameBytesMax: 99, errorQueue: null })
    await clock.run(session.connect())
    expect(clock.held).toBe(0)
    const asked = session.query('VOLT?')
    expect(clock.held).toBe(1)
    await clock.run(asked)
    expect(clock.held).toBe(0)
  })
})

describe('a session and bad manners', () => {
  it('passes over an echo it was told of', async () => {
    const { session, device, run } = bench({ echo: true })
    device.handler = (line, reply) => { reply(`${line}\r\n`) }
    await run(session.connect())
    await run(session.write('VOLT 7'))
    expect(await run(session.query('VOLT?'))).toBe('7.000')
  })

  it('passes over the echo of a query it was not told of', async () => {
    const { session, device, run, connected } = bench()
    await connected()
    device.handler = (line, reply) => { reply(`${line}\r\n`) }
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('takes prompts, with and without line ends, for no answer', async () => {
    const { session, device, run } = bench({ prompts: ['=>', 'ok> '] })
    device.handler = (line, reply, self) => {
      const answer = self.answer(line)
      reply(`${answer === null ? '' : `${answer}\r\n`}=>\r\nok> `)
      return true
    }
    await run(session.connect())
    await run(session.write('VOLT 3'))
    expect(await run(session.query('VOLT?'))).toBe('3.000')
  })

  it('takes a remark nobody asked for neither for an answer nor for a fault', async () => {
    const { session, device, run, connected, notices } = bench({ ignoreLines: [/^\*\*/] })
    await connected()
    device.handler = (_, reply) => { reply('**ERROR: -222,"Data out of range"\r\n\n\0\0') }
    expect(await run(session.query('VOLT?'))).toBe('0.000')
    expect(notices.map(n => n.what)).toEqual(['up'])
  })

  it('reads an answer that comes in pieces', async () => {
    const { session, device, run, clock, connected } = bench()
    await connected()
    device.handler = (line, reply) => {
      if (line !== 'VOLT?') return false
      ;[...'+1.25\r\n'].forEach((c, i) => clock.after(i * 10, () => reply(c)))
      return true
    }
    expect(await run(session.query('VOLT?'))).toBe('+1.25')
  })

  it('refuses two answers to one question and gets back in step before anything else', async () => {
    const { session, device, run, failure, connected, notices } = bench()
    await connected()
    let twice = true
    device.handler = (line, reply) => line === 'VOLT?' && twice && (twice = false, reply('1\n2\n'), true)
    const error = await failure(session.query('VOLT?'))
    expect([error.code, error.context.got]).toEqual(['ANSWER_FORM', '1 and 2'])
    expect(await run(session.query('VOLT?'))).toBe('0.000')
    expect(device.received).toContain('*ESE?')
    expect(notices.at(-1)!.what).toBe('resynchronised')
  })

  it('gets back in step when something arrives that nobody asked for', async () => {
    const { session, device, run, connected, clock } = bench()
    await connected()
    device.handler = (line, reply) => { if (line === 'VOLT 1') clock.after(5, () => reply('stale\n')) }
    await run(session.write('VOLT 1', { check: false }))
    await clock.advance(20)
    device.received = []
    expect(await run(session.query('VOLT?'))).toBe('1.000')
    expect(device.received.indexOf('*ESE?')).toBeLessThan(device.received.indexOf('VOLT?'))
  })

  it('keeps nobody waiting for ever when half a line follows the last answer of a recovery', async () => {
    const { session, device, run, failure, connected } = bench()
    await connected()
    device.handler = (line, reply) => {
      if (line === 'SYST:ERR?') { reply('0,"No error"\n#'); return true }
      if (line === 'CURR?') { reply('1\n2\n'); return true }
      return undefined
    }
    expect((await failure(session.query('CURR?'))).code).toBe('ANSWER_FORM')
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('closes the link of an instrument that babbles', async () => {
    const { session, device, failure, connected } = bench()
    await connected()
    device.handler = (_, reply) => { reply('x'.repeat(5000)); return true }
    expect((await failure(session.query('VOLT?'))).code).toBe('LINK_OVERFLOW')
    expect(session.state).toBe('down')
  })

  it('says the kind of answer it wanted when a line comes for a block', async () => {
    const { session, failure, run, connected } = bench()
    await connected()
    expect((await failure(session.queryBlock('VOLT?'))).message).toContain('expected a block of data, got 0.000')
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('works with an instrument that has no error queue, or an event register for one', async () => {
    const plain = bench({ errorQueue: null })
    await plain.connected()
    await plain.run(plain.session.write('VOLT 99'))
    expect(plain.device.received).toEqual(['VOLT 99'])
    const register = bench({ errorQueue: { kind: 'event-register', query: '*ESR?', errorMask: 0x3c } })
    let esr = 0
    register.device.handler = (line, reply) => line === '*ESR?' && (reply(`${esr}\n`), true)
    await register.connected()
    esr = 1
    await register.run(register.session.write('VOLT 1'))
    esr = 16
    expect((await register.failure(register.session.write('VOLT 99'))).message).toContain('execution error')
  })
})

describe('a session after a time-out', () => {
  it('names instrument, command and time, and resynchronises before the next caller', async () => {
    const { session, device, run, failure, clock, connected } = bench()
    await connected()
    let first = true
    device.handler = (line, reply) => {
      if (line !== 'VOLT?' || !first) return false
      first = false
      clock.after(520, () => reply('77.000\n'))
      return true
    }
    const [slow, next] = [session.query('VOLT?'), session.query('VOLT?')]
    const error = await failure(slow)
    expect(error.message).toMatch(/psu `VOLT\?`: no answer: expected one line, got nothing after 500 ms/)
    expect(await run(next)).toBe('0.000')
  })

  it('never gives an answer that comes late to another question, however late', async () => {
    for (let lateMs = 501; lateMs < 2000; lateMs += 37) {
      const { session, device, run, failure, clock, connected } = bench({ quietMs: 20 })
      await connected()
      let first = true
      device.handler = (line, reply) => {
        if (line !== 'TEMP?') return false
        if (first) clock.after(lateMs, () => reply('late\n'))
        else reply('right\n')
        first = false
        return true
      }
      await failure(session.query('TEMP?'))
      const got = await run(session.query('TEMP?', { deadlineMs: 5000 }).catch((e: BenchError) => e.code))
      expect(got, `${lateMs} ms`).toBe('right')
    }
  })

  it('closes the link and fails everyone waiting when the instrument stays silent', async () => {
    const { session, device, failure, connected, notices } = bench()
    await connected()
    device.silent = true
    const slow = session.query('VOLT?')
    const waiting = session.write('VOLT 5', { deadlineMs: 60_000 }).catch((e: BenchError) => e)
    await failure(slow)
    const error = await failure(waiting.then(e => { throw e as BenchError }))
    expect(error.code).toBe('LINK_DOWN')
    expect(session.state).toBe('down')
    expect(notices.at(-1)!.what).toBe('down')
    device.silent = false
    device.received = []
    expect((await failure(session.write('VOLT 6'))).code).toBe('LINK_DOWN')
    expect(device.received).toEqual([])
  })

  it('does not send a command that waited too long for its turn', async () => {
    const { session, device, failure, connected } = bench({ writeWaitMs: 100 })
    await connected()
    let first = true
    device.handler = line => line === 'VOLT?' && first && (first = false, true)
    const slow = session.query('VOLT?')
    const late = session.write('VOLT 25', { deadlineMs: 100 }).catch((e: BenchError) => e)
    await failure(slow)
    const error = await failure(late.then(e => { throw e as BenchError }))
    expect(error.message).toContain('not sent')
    expect(device.received).not.toContain('VOLT 25')
  })

  it.each(['break', 'device-clear'] as const)('uses %s where the link has it', async clear => {
    const { session, device, run, failure, connected } = bench({ clear })
    await connected()
    let first = true
    device.handler = line => line === 'VOLT?' && first && (first = false, true)
    await failure(session.query('VOLT?'))
    await run(session.query('VOLT?'))
    expect(device.clears).toBe(1)
  })

  it('falls back on the identity where the nonce is not known', async () => {
    const { session, device, run, failure, connected } = bench()
    device.handler = line => line.startsWith('*ESE') || line === '*CLS'
    await connected()
    let first = true
    device.handler = line => line.startsWith('*ESE') || (line === 'VOLT?' && first && (first = false, true))
    await failure(session.query('VOLT?'))
    expect(await run(session.query('VOLT?', { deadlineMs: 3000 }))).toBe('0.000')
  })
})

describe('a session and its link', () => {
  it('rejects at once what is asked of a link that is down, and sends none of it later', async () => {
    const { session, device, failure, run } = bench()
    expect((await failure(session.write('VOLT 5'))).code).toBe('LINK_DOWN')
    await run(session.connect())
    expect(device.received).not.toContain('VOLT 5')
  })

  it('fails what is in flight and what waits when the cable is pulled', async () => {
    const { session, device, link, failure, connected, notices } = bench()
    await connected()
    device.silent = true
    const [a, b] = [session.query('VOLT?'), session.write('VOLT 5')].map(p => p.catch((e: BenchError) => e))
    link.unplug()
    for (const call of [a, b]) {
      const error = await failure(call!.then(e => { throw e as BenchError }))
      expect(error.code).toBe('LINK_DOWN')
    }
    expect(notices.at(-1)).toMatchObject({ what: 'down', error: { code: 'LINK_DOWN' } })
    expect(device.received).toEqual(['VOLT?'])
  })

  it('opens a new link on the next connect and binds the first identity', async () => {
    const { session, device, link, run, failure, connected } = bench()
    await connected()
    link.unplug()
    await run(session.connect())
    expect(await run(session.query('VOLT?'))).toBe('0.000')
    link.unplug()
    device.identity = 'Fictive,dc-supply,0043,1.7'
    const error = await failure(session.connect())
    expect([error.code, error.context.got]).toEqual(['IDENTITY', device.identity])
    expect(session.state).toBe('down')
  })

  it('finds an exchanged instrument when asked to verify', async () => {
    const { session, device, run, failure, connected } = bench()
    await connected()
    expect(await run(session.verifyIdentity())).toBe(device.identity)
    device.identity = 'Fictive,lcr-bridge,1,1'
    expect((await failure(session.verifyIdentity())).code).toBe('IDENTITY')
  })

  it('refuses the wrong instrument on the first connect', async () => {
    const { session, failure } = bench({ identity: { query: '*IDN?', expected: 'Fictive,dc-supply,0001,1.7' } })
    expect((await failure(session.connect())).code).toBe('IDENTITY')
    const loose = bench({ identity: { query: '*IDN?', expected: /^Fictive,dc-supply,/ } })
    await loose.run(loose.session.connect())
  })

  it('says LINK_OPEN and LINK_BUSY as the transport does', async () => {
    const { session, link, clock, failure } = bench()
    link.refuse = true
    expect((await failure(session.connect())).code).toBe('LINK_OPEN')
    link.refuse = false
    await clock.run(link.open().open())
    expect((await failure(session.connect())).code).toBe('LINK_BUSY')
  })

  it('ends half a line that an earlier user left, and throws a greeting away', async () => {
    const { session, device, run } = bench()
    device.held = 'VOLT 12'
    device.greeting = 'Fictive,dc-supply,old greeting\r\n'
    await run(session.connect())
    expect(device.received[0]).toBe('VOLT 12')
    expect(session.identity).toBe('Fictive,dc-supply,0042,1.7')
  })

  it('refuses more waiting callers than it was allowed', async () => {
    const { session, failure, run, connected } = bench({ waitingMax: 2 })
    await connected()
    const taken = [session.query('VOLT?'), session.query('VOLT?'), session.query('VOLT?')]
    expect((await failure(session.query('VOLT?'))).code).toBe('LINK_BUSY')
    expect(await run(Promise.all(taken))).toHaveLength(3)
  })

  it('leaves no timer behind after close', async () => {
    const { session, clock, run, connected, failure } = bench()
    await connected()
    await run(session.query('VOLT?'))
    await run(session.close())
    await expect(clock.run(new Promise(() => {}))).rejects.toThrow('nothing is scheduled')
    expect(clock.monotonicMs()).toBeLessThan(400)
    expect((await failure(session.query('VOLT?'))).code).toBe('LINK_DOWN')
  })
})
