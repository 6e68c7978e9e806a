/** Goal: whatever the link is doing, the off commands go out now, the time is bounded, and nothing is ever thrown. */
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import type { SessionOptions } from '../../src/scpi/session.ts'
import { Session } from '../../src/scpi/session.ts'
import { TestDevice } from './device.ts'

const off = ['OUTP 0', 'VOLT 0']

function bench(options: Partial<SessionOptions> = {}) {
  const clock = new VirtualClock()
  const device = new TestDevice()
  const link = memoryLink(clock, device, { latencyMs: 1 })
  const session = new Session(link.open, {
    name: 'psu', clock, deadlineMs: 500, frameBytesMax: 4096, identity: { query: '*IDN?' },
    errorQueue: { query: 'SYST:ERR?', none: 'code-zero', max: 64 }, ...options,
  })
  const run = <T>(work: Promise<T>): Promise<T> => clock.run(work)
  const codeOf = (work: Promise<unknown>): Promise<string> => work.then(() => 'fine', (e: BenchError) => e.code)
  return { clock, device, link, session, run, codeOf }
}

describe('safe-off', () => {
  it('sends before it returns, ahead of everything that waits, and abandons that', async () => {
    const { session, device, run, codeOf, clock } = bench()
    await run(session.connect())
    device.silent = true
    const calls = [session.query('VOLT?'), session.write('VOLT 20'), session.write('VOLT 21')].map(codeOf)
    device.silent = false
    device.received = []
    const nowMs = clock.monotonicMs()
    const report = session.safeOff(off)
    expect(device.received).toEqual(off)
    expect(await run(Promise.all(calls))).toEqual(['ABANDONED', 'ABANDONED', 'ABANDONED'])
    expect(await run(report)).toEqual({ sentAtMs: nowMs, freshLink: false, resynchronised: true, error: null })
    expect(device.received).not.toContain('VOLT 20')
  })

  it('ends half a line first, and sends again once the link is in step', async () => {
    const { session, device, run } = bench()
    await run(session.connect())
    device.received = []
    device.held = 'VOLT 2'
    await run(session.safeOff(off))
    expect(device.received.slice(0, 3)).toEqual(['VOLT 2', ...off])
    expect(device.received.slice(-3)).toEqual(['SYST:ERR?', ...off])
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('opens a fresh link when there is none, and leaves it in step for reading back', async () => {
    const { session, device, link, run } = bench()
    await run(session.connect())
    device.level = 25
    link.unplug()
    device.received = []
    const report = await run(session.safeOff(off))
    expect(report).toMatchObject({ freshLink: true, resynchronised: true, error: null })
    expect(report.sentAtMs).not.toBeNull()
    expect(device.received.slice(0, 2)).toEqual(off)
    expect(await run(session.query('VOLT?'))).toBe('0.000')
  })

  it('works on a session that was never connected', async () => {
    const { session, device, run } = bench()
    expect((await run(session.safeOff(off))).resynchronised).toBe(true)
    expect(device.received.slice(0, 2)).toEqual(off)
  })

  it('sends blind on the old link and on a fresh one to an instrument that does not answer', async () => {
    const { session, device, run, clock } = bench()
    await run(session.connect())
    device.silent = true
    device.received = []
    const startMs = clock.monotonicMs()
    const report = await run(session.safeOff(off))
    expect(report).toMatchObject({ sentAtMs: startMs, freshLink: true, resynchronised: false })
    expect(report.error?.code).toBe('LINK_TIMEOUT')
    expect(device.received.filter(line => line === 'OUTP 0').length).toBe(2)
    expect(clock.monotonicMs() - startMs).toBeLessThanOrEqual(5000)
    expect(session.state).toBe('down')
  })

  it('reports what it could not do and keeps to its limit when nothing can be opened', async () => {
    const { session, link, run, clock } = bench({ safeOffMs: 900 })
    await run(session.connect())
    link.refuse = true
    link.unplug()
    expect(await run(session.safeOff(off))).toMatchObject({ sentAtMs: null, error: { code: 'LINK_OPEN' } })
    const hanging = new Session(() => Object.assign(link.open(), { open: () => new Promise<void>(() => {}) }), {
      name: 'psu', clock, deadlineMs: 500, frameBytesMax: 99, errorQueue: null, safeOffMs: 900,
    })
    const startMs = clock.monotonicMs()
    expect(await run(hanging.safeOff(off))).toMatchObject({ sentAtMs: null, error: { code: 'LINK_TIMEOUT' } })
    expect(clock.monotonicMs() - startMs).toBeCloseTo(900, 3)
  })

  it('cuts a connect and a recovery short', async () => {
    const { session, device, run, codeOf, clock } = bench()
    const connecting = codeOf(session.connect())
    await clock.advance(60)
    expect(session.state).toBe('connecting')
    expect((await run(session.safeOff(off))).resynchronised).toBe(true)
    expect(await run(connecting)).toBe('ABANDONED')
    let first = true
    device.handler = line => line === 'VOLT?' && first && (first = false, true)
    expect(await run(codeOf(session.query('VOLT?')))).toBe('LINK_TIMEOUT')
    expect(session.state).toBe('recovering')
    const waiting = codeOf(session.write('VOLT 22'))
    await clock.advance(60)
    device.received = []
    const report = session.safeOff(off)
    expect(device.received).toEqual(off)
    expect(await run(waiting)).toBe('ABANDONED')
    expect((await run(report))).toMatchObject({ resynchronised: true, freshLink: false })
    expect(session.state).toBe('ready')
  })

  it('takes two at once: both are sent at once, both are reported, and the link is kept', async () => {
    const { session, device, run } = bench()
    await run(session.connect())
    device.received = []
    const both = [session.safeOff(['OUTP 0']), session.safeOff(['VOLT 0'])]
    expect(device.received).toEqual(['OUTP 0', 'VOLT 0'])
    const reports = await run(Promise.all(both))
    expect(reports.map(r => [r.resynchronised, r.freshLink])).toEqual([[true, false], [true, false]])
    expect(session.state).toBe('ready')
  })

  it('refuses what is asked meanwhile, and none of it is sent later', async () => {
    const { session, device, run, codeOf } = bench()
    await run(session.connect())
    const report = session.safeOff(off)
    expect(await run(codeOf(session.write('VOLT 23')))).toBe('ABANDONED')
    await run(report)
    await run(session.query('VOLT?'))
    expect(device.received).not.toContain('VOLT 23')
  })

  it('always sends first, never throws and keeps to its limit, whatever happened before', async () => {
    for (let seed = 0; seed < 300; seed++) {
      const random = new SeededRandom(seed)
      const { session, device, link, run, clock } = bench({ pacingMs: random.pick([0, 0, 20]), echo: random.next() < 0.2 })
      device.handler = (_line, reply) => {
        if (random.next() < 0.1) reply(random.pick(['1\n2\n', 'noise', '\0\xff\n', '"open', '#9999', '\n']))
        return random.next() < 0.15
      }
      const work: Promise<unknown>[] = [session.connect().catch(() => {})]
      for (let i = 0; i < 12; i++) {
        await clock.advance(random.uniform(0, 300))
        if (random.next() < 0.1) link.unplug()
        if (session.state === 'down') work.push(session.connect().catch(() => {}))
        work.push(session.query('VOLT?').catch(() => {}), session.write('VOLT 5').catch(() => {}))
      }
      device.received = []
      const before = session.state
      const startMs = clock.monotonicMs()
      const running = session.safeOff(off)
      const live = before === 'ready' || before === 'recovering'
      if (live) expect(device.received.slice(-2), `seed ${seed}`).toEqual(off)
      const report = await run(running)
      expect(clock.monotonicMs() - startMs, `seed ${seed}`).toBeLessThanOrEqual(5001)
      expect(report.resynchronised, `seed ${seed}`).toBe(report.error === null)
      expect(report.sentAtMs, `seed ${seed}`).not.toBeNull()
      expect(report.error === null || report.error.code !== 'HOST', `seed ${seed} ${report.error}`).toBe(true)
      const lastOff = device.received.lastIndexOf('VOLT 0')
      expect(device.received.slice(lastOff).includes('VOLT 5'), `seed ${seed}`).toBe(false)
      await run(Promise.all(work))
    }
  })
})
