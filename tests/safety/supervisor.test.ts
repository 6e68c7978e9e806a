import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Channel, Quality, Reading } from '../../src/schema/reading.ts'
import { freshLimit, stepLimit } from '../../src/safety/limit.ts'
import type { Limit } from '../../src/safety/limit.ts'
import { Supervisor } from '../../src/safety/supervisor.ts'

const bus: Channel = { index: 0, name: 'bus.voltage', quantity: 'voltage', unit: 'V' }
const p1: Channel = { index: 1, name: 'P01.current', quantity: 'current', unit: 'A', position: 'P01' }
const read = (channel: Channel, value: number, atMs: number, quality: Quality = 'good'): Reading =>
  ({ channel, value, u: 0, quality, atMs })
const over: Limit = { id: 'bus.over', channel: 'bus.voltage', side: 'above', bound: 460, samples: 2, reaction: 'stop', says: 'too high' }
const short: Limit = { id: 'P01.short', channel: 'P01.current', side: 'above', bound: 1e-3, samples: 1, reaction: 'drop', position: 'P01', says: 'a short' }

function armed(): Supervisor {
  const supervisor = new Supervisor([bus, p1])
  supervisor.arm([over, short], [{ channel: 'bus.voltage', maxAgeMs: 500 }], { voltageV: 455, currentA: 0.05 }, 0)
  return supervisor
}

describe('a limit', () => {
  it('trips at the bound itself and after the stated number of readings, for any numbers', () => {
    fc.assert(fc.property(fc.double({ min: -1e3, max: 1e3, noNaN: true }), fc.integer({ min: 1, max: 5 }), (bound, samples) => {
      const limit = { ...over, bound, samples }
      let state = freshLimit
      for (let i = 1; i <= samples; i++) {
        expect(state.latched).toBe(false)
        state = stepLimit(limit, state, read(bus, bound, i))
      }
      expect(state.latched).toBe(true)
      expect(stepLimit(limit, state, read(bus, bound - 100, 99)).latched).toBe(true)
    }))
  })
  it('does not trip below the bound however long it lasts', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: 0, max: 459.999, noNaN: true }), { maxLength: 50 }), values => {
      const end = values.reduce((state, value, i) => stepLimit(over, state, read(bus, value, i)), freshLimit)
      expect(end.latched).toBe(false)
    }))
  })
  it('counts a reading that is no number, or not good, as past the bound', () => {
    for (const bad of [read(bus, NaN, 1), read(bus, 1, 1, 'over-range'), read(bus, 1, 1, 'missing')]) {
      expect(stepLimit({ ...over, samples: 1 }, freshLimit, bad).latched).toBe(true)
    }
  })
})

describe('the supervisor', () => {
  it('lets a set-point inside the envelope through and refuses one above it', () => {
    const supervisor = armed()
    expect(() => supervisor.permit(455, 0.05)).not.toThrow()
    expect(() => supervisor.permit(455.01, 0.05)).toThrow(/above the envelope/)
    expect(() => supervisor.permit(Number.NaN, 0.05)).toThrow(/above the envelope/)
  })
  it('says of a demand whether the readings behind it told anything', () => {
    expect([460, NaN].map(value => {
      const supervisor = armed()
      supervisor.judge(read(bus, 460, 1))
      return supervisor.judge(read(bus, value, 2))!.isBlind === true
    })).toEqual([false, true])
  })
  it('withholds every set-point before it is armed, and for the rest of the run after a latch', () => {
    expect(() => new Supervisor([bus, p1]).permit(1, 0.001)).toThrow(/above the envelope/)
    const supervisor = armed()
    expect(supervisor.judge(read(bus, 460, 1))).toBeNull()
    expect(supervisor.judge(read(bus, 460, 2))).toMatchObject({ reaction: 'stop', id: 'bus.over' })
    expect(() => supervisor.permit(1, 0.001)).toThrow(/withheld/)
    expect(() => supervisor.permitConnect('P01')).toThrow(/withheld/)
    supervisor.arm([], [], { voltageV: 455, currentA: 0.05 }, 3)
    expect(() => supervisor.permit(1, 0.001)).toThrow(/withheld/)
  })
  it('drops one position and goes on; the dropped one is not connected again', () => {
    const supervisor = armed()
    expect(supervisor.judge(read(p1, 2e-3, 1))).toMatchObject({ reaction: 'drop', position: 'P01' })
    supervisor.release('P01')
    expect(supervisor.latched).toBeNull()
    expect(() => supervisor.permit(400, 0.01)).not.toThrow()
    expect(() => supervisor.permitConnect('P01')).toThrow(/dropped/)
  })
  it('stops when a watched channel is as old as its age limit, and not before', () => {
    const supervisor = armed()
    supervisor.judge(read(bus, 10, 100))
    expect(supervisor.checkFreshness(599)).toBeNull()
    expect(supervisor.checkFreshness(600)).toMatchObject({ reaction: 'stop' })
    expect(() => supervisor.permit(1, 0.001)).toThrow(/withheld/)
  })
  it('trips at once when a bound is lowered below the present value', () => {
    const supervisor = armed()
    supervisor.setBound('P01.short', 1e-6)
    expect(supervisor.judge(read(p1, 1e-6, 1))).toMatchObject({ id: 'P01.short' })
  })
})

describe('an allowance', () => {
  it('holds a limit back until it ends, by its time or by word, and not a reading longer', () => {
    const supervisor = armed()
    const end = supervisor.allow('P01.short', 1000)
    expect(supervisor.judge(read(p1, 2e-3, 999))).toBe(null)
    expect(supervisor.judge(read(p1, 2e-3, 1000))).toMatchObject({ id: 'P01.short', reaction: 'drop' })
    end()
    const other = armed()
    other.allow('P01.short', 1000)()
    expect(other.judge(read(p1, 2e-3, 10))).toMatchObject({ id: 'P01.short' })
  })

  it('stands beside others: the end of one takes nothing from another', () => {
    const supervisor = armed()
    const first = supervisor.allow('P01.short', 5000)
    supervisor.allow('P01.short', 2000)
    first()
    expect(supervisor.judge(read(p1, 2e-3, 1500))).toBe(null)
    expect(supervisor.judge(read(p1, 2e-3, 2000))).toMatchObject({ id: 'P01.short' })
  })

  it('holds back no other limit, and nothing of a position that was dropped', () => {
    const supervisor = armed()
    supervisor.allow('P01.short', 1e9)
    supervisor.judge(read(bus, 461, 1))
    expect(supervisor.judge(read(bus, 461, 2))).toMatchObject({ id: 'bus.over' })
    supervisor.release('P01')
    expect(supervisor.allow('P01.short', 1e9)).toBeTypeOf('function')
  })
})
