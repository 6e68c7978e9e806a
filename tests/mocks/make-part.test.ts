import { describe, expect, it } from 'vitest'
import { makePart, partKinds } from '../../mocks/parts/make-part.ts'
import type { MakeOptions, PartKind } from '../../mocks/parts/make-part.ts'
import type { ElectrolyticPart } from '../../mocks/parts/part.ts'
import type { Rated } from '../../mocks/parts/truth.ts'

const ratings: Rated[] = [{ voltageV: 450, capacitanceF: 47e-6 }, { voltageV: 350, capacitanceF: 47e-6 }]
const seeds = [1, 2, 3, 4, 5, 6]

interface Outcome {
  /** Steps of 10 % that were passed. */
  steps: number
  hours: number
  /** Fall of the current in the last ten minutes, per cent. */
  improvingPct: number
  currentA: number
}

/**
 * Ten steps behind 100 kohm: up once at or under 0.01·C·U + 3 uA, after 15 min at least; dropped after 60
 * min.
 */
function ramp(part: ElectrolyticPart): Outcome {
  part.connect(0, 100e3, 1000, 10)
  let t = 0
  const read: number[] = []
  const outcome = (steps: number): Outcome => ({
    steps, hours: t / 3600, improvingPct: 100 * (1 - read.at(-1)! / read.at(-11)!), currentA: read.at(-1)!,
  })
  for (let step = 1; step <= 10; step++) {
    const volts = part.rated.voltageV * step / 10
    part.drive(t, volts)
    for (let minute = 1; ; minute++) {
      if (minute > 60) return outcome(step - 1)
      t += 60
      part.ensure(t)
      read.push(part.currentA(t))
      if (minute >= 15 && read.at(-1)! <= 0.01 * part.rated.capacitanceF * volts + 3e-6) break
    }
  }
  return outcome(10)
}

const outcomes = (kind: PartKind, options: MakeOptions = {}): Outcome[] =>
  ratings.flatMap(rated => seeds.map(seed => ramp(makePart(kind, rated, seed, options))))

describe('parts on a stepped ramp at 450 and 350 V, 47 uF, 100 kohm', () => {
  it('stale ones of three depths all come back within five hours, the deeper the later', () => {
    const hours = [0.1, 0.5, 1].map(depth => {
      const all = outcomes('stale', { depth })
      expect(all.map(o => o.steps)).toEqual(all.map(() => 10))
      return all.map(o => o.hours)
    })
    expect(Math.max(...hours[2]!)).toBeLessThan(5.1)
    hours[0]!.forEach((h, k) => {
      expect(hours[1]![k]!).toBeGreaterThan(h)
      expect(hours[2]![k]!).toBeGreaterThan(hours[1]![k]! + 0.5)
    })
  })

  it('a very stale one is dropped on the way, still improving', () => {
    for (const o of outcomes('very-stale')) {
      expect(o.steps).toBeLessThan(8)
      expect(o.improvingPct).toBeGreaterThan(2)
    }
  })

  it('a very stale one does better every night it is put on again, and is formed in the end', () => {
    let formingV: number | undefined
    let last: Outcome | undefined
    for (let night = 1; night <= 40; night++) {
      const truth = formingV === undefined ? {} : { formingV }
      const part = makePart('very-stale', ratings[0]!, 1, { truth })
      const outcome = ramp(part)
      if (last) expect(outcome.steps > last.steps || outcome.currentA < 0.9 * last.currentA).toBe(true)
      if (outcome.steps === 10) return expect(night).toBeGreaterThan(1)
      last = outcome
      formingV = part.formedV(outcome.hours * 3600)
    }
    expect.unreachable('never formed')
  })

  it('a hopeless one is dropped early and does not improve', () => {
    for (const o of outcomes('hopeless-leaky')) {
      expect(o.steps).toBeLessThan(4)
      expect(Math.abs(o.improvingPct)).toBeLessThan(0.5)
    }
  })

  it('healthy and dried-out ones pass at the least time with microamperes', () => {
    for (const o of [...outcomes('healthy'), ...outcomes('dried-out')]) {
      expect(o.steps).toBe(10)
      expect(o.hours).toBeCloseTo(2.5, 6)
      expect(o.currentA).toBeLessThan(20e-6)
    }
  })
})

describe('what a bridge sees', () => {
  const measured = (kind: PartKind, seed: number, hertz = 120): [number, number] => {
    const part = makePart(kind, ratings[0]!, seed)
    const { re, im } = part.impedance(0, hertz)
    return [-1 / (2 * Math.PI * hertz * im), re / -im]
  }

  it('is near the marked value with a low loss for healthy parts, and 1 kHz reads lower than 120 Hz', () => {
    for (const seed of seeds) {
      const [c, d] = measured('healthy', seed)
      expect(c / 47e-6).toBeGreaterThan(0.85)
      expect(c / 47e-6).toBeLessThan(1.2)
      expect(d).toBeLessThan(0.22)
      expect(measured('healthy', seed, 1000)[0]).toBeLessThan(c)
    }
  })

  it('is low capacitance and gross loss for dried-out parts', () => {
    for (const seed of seeds) {
      const [c, d] = measured('dried-out', seed)
      expect(c / 47e-6).toBeLessThan(0.7)
      expect(d).toBeGreaterThan(0.3)
    }
  })

  it('reads high before forming and less after', () => {
    const part = makePart('stale', ratings[0]!, 3, { depth: 1 })
    const before = part.impedance(0, 120).im
    const { hours } = ramp(part)
    expect(part.impedance(hours * 3600, 120).im).toBeLessThan(before * 1.01)
  })

  it('is series resistance plus lossless capacitance for a part without losses', () => {
    const part = makePart('healthy', ratings[0]!, 1, {
      truth: { capacitanceF: 47e-6, oxideLoss: 0, branches: [], electrolyteOhm: 3, deformedExcess: 0 },
    })
    const { re, im } = part.impedance(0, 1000)
    expect(re).toBeCloseTo(3, 12)
    expect(im).toBeCloseTo(-1 / (2 * Math.PI * 1000 * 47e-6), 9)
  })
})

describe('drawing', () => {
  it('is decided by kind, rating and seed alone', () => {
    for (const kind of partKinds) {
      expect(makePart(kind, ratings[0]!, 7).truth).toEqual(makePart(kind, ratings[0]!, 7).truth)
      expect(makePart(kind, ratings[0]!, 7).truth).not.toEqual(makePart(kind, ratings[0]!, 8).truth)
    }
  })

  it('gives 10 to 15 per cent of absorption in all', () => {
    for (let seed = 0; seed < 200; seed++) {
      const { truth } = makePart('healthy', ratings[0]!, seed)
      const share = truth.branches.reduce((sum, b) => sum + b.capacitanceF, 0) / truth.capacitanceF
      expect(share).toBeGreaterThanOrEqual(0.0999)
      expect(share).toBeLessThanOrEqual(0.1501)
    }
  })

  it('refuses a depth or a rating that means nothing', () => {
    expect(() => makePart('stale', ratings[0]!, 1, { depth: 2 })).toThrow()
    expect(() => makePart('stale', { voltageV: 0, capacitanceF: 1e-6 }, 1)).toThrow()
  })
})

describe('the can of a part', () => {
  /** Usual radial cans, diameter and height in cm; from memory. */
  const usual = [
    [450, 10e-6, 1.25, 2], [450, 47e-6, 1.6, 3.15], [400, 220e-6, 2.5, 5], [350, 100e-6, 1.8, 3.15], [50, 100e-6, 1, 1.25], [63, 2200e-6, 1.8, 3.5],
  ] as const
  it.each(usual)('%f V, %f F sheds what its surface does at 10 W/(m²K), within a third', (voltageV, capacitanceF, d, h) => {
    const { thermalResistanceKW } = makePart('healthy', { voltageV, capacitanceF }, 1).truth
    const m2 = Math.PI * (d * h + d * d / 2) / 1e4
    const ratio = thermalResistanceKW * 10 * m2
    expect(ratio).toBeGreaterThan(3 / 4)
    expect(ratio).toBeLessThan(4 / 3)
  })
})
