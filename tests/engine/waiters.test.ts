import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { Waiters } from '../../src/engine/waiters.ts'
import type { Channel, Quality, Reading } from '../../src/schema/reading.ts'

const channel: Channel = { index: 0, name: 'P01.current', quantity: 'current', unit: 'A', position: 'P01' }
const reading = (atMs: number, quality: Quality = 'good'): Reading => ({ channel, value: 1e-3, u: 1e-6, quality, atMs })
const forever = new AbortController().signal

describe('waiting for a reading', () => {
  it('gives the first good reading taken after the time asked for', async () => {
    const clock = new VirtualClock()
    const waiters = new Waiters(clock)
    const got = waiters.next(channel, { afterMs: 100, withinMs: 1000, signal: forever })
    waiters.deliver(reading(100))
    waiters.deliver(reading(150, 'over-range'))
    waiters.deliver(reading(200))
    waiters.deliver(reading(300))
    expect((await got)?.atMs).toBe(200)
  })

  it('ends with nothing where only bad readings come, and leaves no timer and no waiter behind', async () => {
    const clock = new VirtualClock()
    const waiters = new Waiters(clock)
    const got = await clock.run((async () => {
      const waiting = waiters.next(channel, { afterMs: 0, withinMs: 500, signal: forever })
      for (let i = 1; i <= 4; i++) clock.after(100 * i, () => waiters.deliver(reading(100 * i, 'over-range')))
      return await waiting
    })())
    expect(got).toBe(null)
    expect(clock.monotonicMs()).toBe(500)
  })

  it('rejects those under a signal that aborts, and no others', async () => {
    const clock = new VirtualClock()
    const waiters = new Waiters(clock)
    const ending = new AbortController()
    const under = waiters.next(channel, { afterMs: 0, withinMs: 1e6, signal: ending.signal })
    const other = waiters.next(channel, { afterMs: 0, withinMs: 1e6, signal: forever })
    ending.abort(new Error('ended'))
    waiters.rejectUnder(ending.signal)
    await expect(under).rejects.toThrow('ended')
    waiters.deliver(reading(1))
    expect((await other)?.atMs).toBe(1)
    await expect(waiters.next(channel, { afterMs: 0, withinMs: 1, signal: ending.signal })).rejects.toThrow('ended')
  })
})
