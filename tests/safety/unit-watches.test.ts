import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { inrushMachine, type InrushInput } from '../../src/safety/inrush.ts'
import { pairMachine, railsMachine, temperaturesMachine, type PairInput } from '../../src/safety/pair.ts'
import { heatingMachine } from '../../src/safety/rise.ts'
import { followsMachine, type FollowsInput } from '../../src/safety/sensor-follows.ts'
import type { Machine } from '../../src/safety/watch.ts'

function told<S, I>(machine: Machine<S, I>, inputs: Iterable<I>): string | null {
  let state = machine.fresh
  for (const input of inputs) {
    state = machine.step(state, input)
    const says = machine.says(state)
    if (says !== null) return says
  }
  return null
}

const both = (atMs: number, first: number, second: number): PairInput[] =>
  [{ of: 'first', atMs, value: first }, { of: 'second', atMs: atMs + 200, value: second }]

describe('two sensors of one heat sink', () => {
  const machine = temperaturesMachine({ names: ['left', 'right'], lowK: -6, highK: 6, apartMostMs: 5000 })
  const pairs = (difference: (i: number) => number, n = 60): PairInput[] =>
    Array.from({ length: n }, (_, i) => both(1000 * i, 40 + difference(i), 40)).flat()
  it('pass while they agree, with noise, and trip when one is off, whichever it is', () => {
    const random = new SeededRandom('sinks')
    expect(told(machine, pairs(() => 4 + 0.3 * random.normal(), 5000))).toBeNull()
    fc.assert(fc.property(fc.double({ min: 6.5, max: 300, noNaN: true }), fc.boolean(), (off, isLow) => {
      expect(told(machine, pairs(i => i < 20 ? 0 : isLow ? -off : off))).toMatch(isLow ? /left is .* K colder than right/ : /warmer than right/)
    }))
  })
  it('forgive one wild reading, which makes two comparisons, and never NaN for long', () => {
    expect(told(machine, pairs(i => i === 20 ? 100 : 0))).toBeNull()
    expect(told(machine, pairs(i => i >= 20 ? NaN : 0))).not.toBeNull()
  })
  it('are not compared with a reading that is old', () => {
    expect(told(machine, [...both(0, 40, 40), ...Array.from({ length: 50 }, (_, i): PairInput => ({ of: 'first', atMs: 10_000 + 1000 * i, value: 90 }))])).toBeNull()
  })
  it('show a heat sink that reads colder than the room', () => {
    const against = temperaturesMachine({ names: ['heat sink', 'room'], lowK: -2, highK: 100, apartMostMs: 5000 })
    expect(told(against, Array.from({ length: 9 }, (_, i) => both(1000 * i, 12, 24)).flat())).toContain('colder than room')
    expect(told(against, Array.from({ length: 9 }, (_, i) => both(1000 * i, 60, 24)).flat())).toBeNull()
  })
})

describe('rails that mirror one another', () => {
  const machine = railsMachine({ names: ['plus', 'minus'], asymmetryMax: 0.05, floorV: 5, apartMostMs: 2000 })
  it('pass while they come up together and sag together, of any sign', () => {
    const random = new SeededRandom('rails')
    expect(told(machine, Array.from({ length: 2000 }, (_, i) => {
      const volts = 42 * Math.min(1, i / 50) * (i > 1000 ? 0.85 : 1)
      return both(500 * i, volts * (1 + 0.005 * random.normal()), -volts * (1.02 + 0.005 * random.normal()))
    }).flat())).toBeNull()
  })
  it('trip on one that is lost or stays behind, at the share of the larger', () => {
    fc.assert(fc.property(fc.double({ min: 0, max: 0.949, noNaN: true }), fc.boolean(), (share, isFirst) => {
      const lost = Array.from({ length: 20 }, (_, i) => both(500 * i, isFirst ? 40 * share : 40, isFirst ? -40 : -40 * share)).flat()
      expect(told(machine, lost)).toMatch(isFirst ? /plus is .* % smaller than minus/ : /plus is .* % larger than minus/)
    }))
    expect(told(machine, both(0, 40, -38.1))).toBeNull()
  })
  it('say nothing of two rails that are both nearly down', () => {
    expect(told(machine, Array.from({ length: 20 }, (_, i) => both(500 * i, 4, -0.1)).flat())).toBeNull()
  })
  it('can be held by any comparison', () => {
    const ratio = pairMachine({ compare: (a, b) => b === 0 ? null : a / b, low: 0.9, high: 1.1, samples: 1, of: 1, apartMostMs: 1000, says: r => `ratio ${r}` })
    expect(told(ratio, both(0, 1.2, 1))).toBe('ratio 1.2')
    expect(told(ratio, both(0, 1, 0))).toBeNull()
  })
})

describe('mains current with an inrush', () => {
  const rules = { mostA: 1, inrushMs: 500, inrushMostA: 20, openMostA: 0.02, openAfterMs: 1000, samples: 2 }
  const machine = inrushMachine(rules)
  const unit = (ampsAt: (ms: number) => number, closedMs = 1000, openMs = Infinity, untilMs = 10_000): InrushInput[] =>
    Array.from({ length: untilMs / 50 }, (_, i): InrushInput[] => [
      ...(50 * i === closedMs ? [{ atMs: 50 * i, isClosed: true }] : []), ...(50 * i === openMs ? [{ atMs: 50 * i, isClosed: false }] : []),
      { atMs: 50 * i, amps: ampsAt(50 * i) },
    ]).flat()
  const normal = (ms: number): number => ms < 1000 ? 0 : 0.4 + 12 * Math.exp(-(ms - 1000) / 100)
  it('lets the inrush through, at every closing, and nothing above it', () => {
    expect(told(machine, unit(normal))).toBeNull()
    expect(told(machine, unit(ms => ms < 5000 ? normal(ms) : 0, 1000, 5000))).toBeNull()
    fc.assert(fc.property(fc.double({ min: 20, max: 1000, noNaN: true }), amps => {
      expect(told(machine, unit(ms => ms < 1000 ? 0 : amps))).toContain('while its inrush may last')
    }))
  })
  it('trips once the inrush should be over and is not, at the bound itself', () => {
    expect(told(machine, unit(ms => ms < 1000 ? 0 : 1))).toMatch(/takes 1.000 A, 1.000 A at most once its inrush is over/)
    expect(told(machine, unit(ms => ms < 1000 ? 0 : ms < 1500 ? 19 : 0.999))).toBeNull()
    expect(told(machine, unit(ms => ms === 3000 ? 5 : normal(ms)))).toBeNull()
  })
  it('finds current that flows on with the mains open, and bears a meter that sees it a little later', () => {
    expect(told(machine, unit(ms => ms < 5900 ? normal(ms) : 0, 1000, 5000))).toBeNull()
    expect(told(machine, unit(normal, 1000, 5000))).toContain('with the mains open')
    expect(told(machine, unit(() => 0.5, Infinity))).toContain('with the mains open')
  })
  it('takes what is no number for too much', () => {
    expect(told(machine, unit(ms => ms < 3000 ? normal(ms) : NaN))).toContain('cannot be read')
  })
})

describe('a sensor that must follow its heat', () => {
  const rules = { leastKPerW: 0.6, mostKPerW: 1.6, fastestMs: 600_000, slowestMs: 2400_000, mustShowK: 5, samples: 3 }
  const machine = followsMachine(rules)
  /** Two hours of a place that takes 1 K/W with 25 min, read every ten seconds; the room drifts by some kelvin. */
  const night = (watts: (s: number) => number, read: (trueC: number, airC: number) => number, startK = 0): FollowsInput[] => {
    let rise = startK
    return Array.from({ length: 6 * 360 }, (_, i): FollowsInput[] => {
      const s = 10 * i
      const airC = 24 - 4 * s / 21_600
      rise += 10 * (watts(s) - rise) / 1500
      return [{ atMs: 1000 * s, watts: watts(s) }, { atMs: 1000 * s, celsius: read(airC + rise, airC), airC }]
    }).flat()
  }
  const steps = (s: number): number => s < 600 ? 0 : s < 9000 ? 30 : s < 15_000 ? 5 : 40
  const random = new SeededRandom('follows')
  it('passes where it follows up and down, from cold and from warm, with noise', () => {
    expect(told(machine, night(steps, t => t + 0.1 * random.normal()))).toBeNull()
    expect(told(machine, night(steps, t => t + 0.1 * random.normal(), 40))).toBeNull()
    expect(told(machine, night(() => 0, t => t + 0.1 * random.normal(), 40))).toBeNull()
  })
  it('passes in music, whose heat comes and goes', () => {
    const music = (s: number): number => 15 + 15 * Math.sin(s / 7)
    expect(told(machine, night(music, t => t + 0.1 * random.normal()))).toBeNull()
  })
  it('finds one that reads the room, stands still, or came half off', () => {
    expect(told(machine, night(steps, (_, air) => air + 0.1 * random.normal()))).toMatch(/is .* K over the air, where the heat beneath it explains .* open, or off its place/)
    expect(told(machine, night(steps, () => 24))).not.toBeNull()
    expect(told(machine, night(steps, (t, air) => air + 0.2 * (t - air)))).not.toBeNull()
  })
  it('finds one that stands still while the heat goes away', () => {
    expect(told(machine, night(s => s < 3600 ? 40 : 0, t => t, 40))).toBeNull()
    let held = NaN
    const inputs = night(s => s < 3600 ? 40 : 0, t => t, 40).map((input): FollowsInput => {
      if (!('celsius' in input)) return input
      if (input.atMs < 3600_000) { held = input.celsius; return input }
      return { ...input, celsius: held }
    })
    expect(told(machine, inputs)).not.toBeNull()
  })
  it('says nothing of a unit that is never driven', () => {
    expect(told(machine, night(() => 0, (_, air) => air))).toBeNull()
  })
})

describe('rate of rise of a temperature', () => {
  const reading = (kPerMin: number, noiseK: number, random: SeededRandom, n = 3600) =>
    Array.from({ length: n }, (_, i) => ({ atMs: 1000 * i, celsius: 25 + Math.max(0, i - 300) * kPerMin / 60 + noiseK * random.normal() }))
  it.each([0.01, 0.05, 0.2])('passes a warm-up below it with noise of %d K, and trips at twice the rate', noiseK => {
    const machine = heatingMachine({ riseMaxKPerMin: 4, noiseK, everyMs: 1000 })
    const random = new SeededRandom(noiseK * 1000)
    expect(told(machine, reading(2.8, noiseK, random))).toBeNull()
    expect(told(machine, reading(8, noiseK, random))).toMatch(/rose .* K within .* s/)
  })
  it('never trips on noise alone in a night', () => {
    expect(told(heatingMachine({ riseMaxKPerMin: 2, noiseK: 0.2, everyMs: 1000 }), reading(0, 0.2, new SeededRandom('night'), 40_000))).toBeNull()
  })
  it('passes any fall', () => {
    expect(told(heatingMachine({ riseMaxKPerMin: 2, noiseK: 0.05, everyMs: 1000 }), reading(-20, 0.05, new SeededRandom('fall')))).toBeNull()
  })
})
