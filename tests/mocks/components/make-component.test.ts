import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { componentKinds, defects, defectsOf, mistakenFor, usualRatings, type ComponentKind, type Defect } from '../../../mocks/components/kinds.ts'
import { makeComponent } from '../../../mocks/components/make-component.ts'

const made = (kind: ComponentKind, seed: number, defect?: Defect) => makeComponent(kind, usualRatings[kind], seed, defect ? { defect } : {})
const seeds = Array.from({ length: 40 }, (_, i) => i)
const pairs = componentKinds.flatMap(kind => defectsOf[kind].map(defect => ({ kind, defect })))

describe('a drawn part', () => {
  test('is the same for the same seed and another for another', () => {
    for (const { kind, defect } of pairs) {
      expect(made(kind, 3, defect).truth).toEqual(made(kind, 3, defect).truth)
      expect(made(kind, 3, defect).truth).not.toEqual(made(kind, 4, defect).truth)
    }
  })

  test('has a defect that leaves all else of it as it was', () => {
    for (const { kind, defect } of pairs.filter(({ defect }) => defect !== 'mislabelled')) {
      const [sound, spoilt] = [made(kind, 9).truth, made(kind, 9, defect).truth]
      expect(spoilt.defect).toBe(defect)
      const changed = Object.keys(sound.values).filter(name => sound.values[name] !== spoilt.values[name])
      expect(changed.length, `${kind} ${defect}`).toBeLessThanOrEqual(1)
      const others = [changed.length > 0, spoilt.pins.join() !== sound.pins.join(), !!spoilt.lead, !!spoilt.bridge]
      expect(others.filter(Boolean), `${kind} ${defect}`).toHaveLength(1)
    }
  })

  test('cannot have a defect that its kind does not know', () => {
    for (const kind of componentKinds) {
      for (const defect of defects.filter(name => !defectsOf[kind].includes(name))) expect(() => made(kind, 1, defect)).toThrow(/cannot be/)
    }
  })

  test('knows each defect in some kind, and each kind some defect', () => {
    expect(new Set(pairs.map(({ defect }) => defect))).toEqual(new Set(defects))
    for (const kind of componentKinds) expect(defectsOf[kind].length).toBeGreaterThan(1)
  })

  test('is inside its tolerance while it is sound, and outside when it drifted', () => {
    const mains: [ComponentKind, string][] = [
      ['resistor', 'ohm'], ['film-capacitor', 'farad'], ['ceramic-capacitor', 'farad'], ['mica-capacitor', 'farad'], ['class-1-capacitor', 'farad'],
      ['electrolytic-capacitor', 'farad'], ['zener', 'zenerV'],
    ]
    for (const [kind, name] of mains) {
      const { value, tolerance } = usualRatings[kind]
      for (const seed of seeds) {
        expect(Math.abs(made(kind, seed).truth.values[name]! / value - 1)).toBeLessThan(tolerance)
        expect(Math.abs(made(kind, seed, 'drifted').truth.values[name]! / value - 1)).toBeGreaterThan(tolerance)
      }
    }
  })

  test('that is mislabelled is of the other kind, with its pins', () => {
    for (const kind of componentKinds.filter(name => mistakenFor[name] !== undefined)) {
      const { truth } = made(kind, 5, 'mislabelled')
      expect([truth.marked, truth.kind]).toEqual([kind, mistakenFor[kind]])
    }
  })
})

describe('what a defect does between the terminals', () => {
  const ohms = (part: ReturnType<typeof made>, a = 0, b = 1): number => {
    const { volts, amps } = part.dc([{ high: a, low: b, mode: 'voltage', value: 0.05, limit: 0.1 }]).drives[0]!
    return Math.abs(volts / amps)
  }

  test('a short is one, an open is one, and a poor contact wanders', () => {
    for (const seed of seeds) {
      expect(ohms(made('film-capacitor', seed, 'short'))).toBeLessThan(2.1)
      expect(ohms(made('diode', seed, 'short'))).toBeLessThan(2.1)
      for (const kind of ['resistor', 'inductor', 'contact'] as const) expect(ohms(made(kind, seed, 'open'))).toBeGreaterThan(1e10)
      const tired = made('contact', seed, 'poor-contact')
      const seen = Array.from({ length: 10 }, () => { tired.move(); return ohms(tired) })
      expect(Math.max(...seen) / Math.min(...seen)).toBeGreaterThan(1.1)
    }
  })

  test('a transistor with a short has it at the collector or the drain, or through its gate', () => {
    for (const seed of seeds) {
      const shorted = made('npn', seed, 'short')
      expect(Math.min(ohms(shorted, 0, 2), ohms(shorted, 1, 2))).toBeLessThan(250)
      const gate = made('n-mosfet', seed, 'short')
      expect(Math.min(ohms(gate, 0, 1), ohms(gate, 0, 2))).toBeLessThan(10)
    }
  })

  test('a leaky part leaks far more than a sound one ever does', () => {
    const amps = (part: ReturnType<typeof made>, volts: number): number =>
      Math.abs(part.dc([{ high: 0, low: 1, mode: 'voltage', value: volts, limit: 0.1 }]).drives[0]!.amps)
    for (const [kind, volts] of [['film-capacitor', 20], ['ceramic-capacitor', 20], ['mica-capacitor', 20], ['class-1-capacitor', 20], ['diode', -20]] as const) {
      const sound = Math.max(...seeds.map(seed => amps(made(kind, seed), volts)))
      const leaky = Math.min(...seeds.map(seed => amps(made(kind, seed, 'leaky'), volts)))
      expect(leaky, kind).toBeGreaterThan(5 * sound)
    }
  })

  test('a weak transistor has a fraction of its gain, and a turned one its pins elsewhere', () => {
    for (const seed of seeds) {
      const gain = (part: ReturnType<typeof made>): number => {
        const [e, b, c] = ['emitter', 'base', 'collector'].map(pin => part.terminal(pin)) as [number, number, number]
        const drives = [
          { high: c, low: e, mode: 'voltage', value: 5, limit: 0.1 }, { high: b, low: e, mode: 'current', value: 1e-5, limit: 2 },
        ] as const
        return part.dc(drives).drives[0]!.amps / 1e-5
      }
      expect(gain(made('npn', seed, 'low-gain')) / gain(made('npn', seed))).toBeLessThan(0.21)
      const turned = made('npn', seed, 'reversed')
      expect(turned.truth.pins).not.toEqual(made('npn', seed).truth.pins)
      expect(Math.abs(gain(turned) / gain(made('npn', seed)) - 1)).toBeLessThan(1e-6)
    }
  })
})

test('ratings of any size give parts that can be measured', () => {
  fc.assert(fc.property(
    fc.constantFrom('resistor', 'film-capacitor', 'inductor'), fc.double({ min: -2, max: 2, noNaN: true }), fc.integer(),
    (kind, decades, seed) => {
      const rating = usualRatings[kind as ComponentKind]
      const part = makeComponent(kind as ComponentKind, { ...rating, value: rating.value * 10 ** decades }, seed)
      const { re, im } = part.impedance(1000)
      expect(Math.hypot(re, im)).toBeGreaterThan(0)
      expect(re).toBeGreaterThan(0)
    }), { numRuns: 200 })
})
