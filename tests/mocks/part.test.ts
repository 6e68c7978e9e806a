import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { makePart, partKinds } from '../../mocks/parts/make-part.ts'
import { ElectrolyticPart } from '../../mocks/parts/part.ts'
import { areaOf, formingExponent, growthCVcm2, plainTruth } from '../../mocks/parts/truth.ts'
import type { PartTruth, Rated } from '../../mocks/parts/truth.ts'

const rated: Rated = { voltageV: 450, capacitanceF: 47e-6 }
/** No leakage at all: a plain capacitor. */
const ideal: Partial<PartTruth> = { bulkPerS: 0, weakFraction: 0 }

function part(over: Partial<PartTruth> = {}, ratings = rated): ElectrolyticPart {
  return new ElectrolyticPart('made', ratings, plainTruth(ratings, over), 1)
}

function fed(p: ElectrolyticPart, ohm: number, volts: number): ElectrolyticPart {
  p.connect(0, ohm, 0, Infinity)
  p.drive(0, volts)
  return p
}

function voltsAt(p: ElectrolyticPart, tS: number): number {
  p.ensure(tS)
  return p.terminalV(tS)
}

function currentAt(p: ElectrolyticPart, tS: number): number {
  p.ensure(tS)
  return p.currentA(tS)
}

describe('a capacitor without leakage', () => {
  it('charges through a resistor as the closed form says', () => {
    const tau = 100e3 * rated.capacitanceF
    const p = fed(part(ideal), 100e3, 450)
    for (let k = 1; k <= 100; k++) {
      const t = k * tau / 20
      expect(voltsAt(p, t) / (450 * -Math.expm1(-t / tau)) - 1).toBeCloseTo(0, 4)
      expect(Math.abs(p.currentA(t) * 100e3 / (450 * Math.exp(-t / tau)) - 1)).toBeLessThan(1e-3)
    }
  })

  it('discharges through a resistor as the closed form says, down to a thousandth', () => {
    const p = part(ideal)
    p.precharge(450)
    fed(p, 100e3, 0)
    const tau = 4.7
    for (let t = 0.1; t < 6.9 * tau; t += 0.37) {
      const error = Math.abs(voltsAt(p, t) / (450 * Math.exp(-t / tau)) - 1)
      expect(error).toBeLessThan(t < 3.6 * tau ? 1e-4 : 1e-3)
    }
  })

  it('follows a ramped source with the lag of its time constant', () => {
    const p = part(ideal)
    p.connect(0, 10e3, 0, Infinity)
    p.drive(0, 0, 2)
    const tau = 0.47
    for (const t of [0.5, 2, 20, 100]) {
      expect(Math.abs(voltsAt(p, t) - 2 * (t - tau * -Math.expm1(-t / tau)))).toBeLessThan(2e-3)
    }
  })

  it('charges faster when the sense clamp takes over above its current', () => {
    const p = part(ideal)
    p.connect(0, 1000, 1000, 10)
    p.drive(0, 450)
    expect(currentAt(p, 0)).toBeCloseTo(0.44, 6)
    // clamped: (440 V source, 1 kohm) until the current has fallen to 10 mA, then 2 kohm
    expect(Math.abs(voltsAt(p, 0.05) / (440 * -Math.expm1(-0.05 / 0.047)) - 1)).toBeLessThan(1e-4)
  })
})

describe('forming', () => {
  it('makes 1/I grow as the equations say, and tends to I·t = S·Vf/(k·eta) from any start', () => {
    const s = growthCVcm2 * 2e-3 * areaOf(rated)
    for (const formingV of [330, 380, 420]) {
      const cool = { bulkPerS: 0, thermalResistanceKW: 1e-3 }
      const p = fed(part({ formingV, weakFraction: 2e-3, growthEfficiency: 0.7, ...cool }), 1, 450)
      for (const t of [1e3, 10e3, 100e3]) {
        p.ensure(t)
        // exact for a fixed voltage: d(1/I)/dt = k·eta·V/(S·Vf²)
        const slope = formingExponent * 0.7 * 450 / (s * p.formedV(t) ** 2)
        const before = 1 / p.leakageA(t)
        p.ensure(t * 1.001)
        expect((1 / p.leakageA(t * 1.001) - before) / (t * 0.001) / slope).toBeCloseTo(1, 2)
        // the rule of thumb, Vf taken as V throughout
        const ruleC = s * p.formedV(t) / (formingExponent * 0.7)
        if (t >= 10e3) expect(Math.abs(p.leakageA(t) * t / ruleC - 1)).toBeLessThan(0.15)
      }
      const exponent = Math.log2(currentAt(p, 100e3) / currentAt(p, 200e3))
      expect(exponent).toBeGreaterThan(0.9)
      expect(exponent).toBeLessThan(1.05)
    }
  })

  it('does not happen to a part that grows nothing', () => {
    const p = fed(part({ formingV: 200, growthEfficiency: 0, thermalResistanceKW: 1e-3 }), 100e3, 450)
    expect(currentAt(p, 20e3)).toBeCloseTo(currentAt(p, 600), 8)
    expect(p.formedV(20e3)).toBeCloseTo(200, 9)
  })

  it('is lost slowly at rest', () => {
    const year = 365 * 86400
    const p = fed(part({ formingV: 500, dissolutionS: 10 * year }), Infinity, 0)
    p.ensure(year)
    expect(p.formedV(year)).toBeCloseTo(500 * Math.exp(-0.1), 1)
  })
})

describe('the balance of charge and energy', () => {
  it('holds for every kind of part through charging, forming, faults and bleeding', () => {
    fc.assert(fc.property(
      fc.constantFrom(...partKinds), fc.integer({ min: 0, max: 1e6 }),
      fc.array(fc.record({
        ohm: fc.constantFrom(1e3, 1e4, 1e5, 1e7, Infinity), volts: fc.integer({ min: 0, max: 450 }),
        forS: fc.double({ min: 1e-3, max: 4000, noNaN: true }),
      }), { minLength: 1, maxLength: 8 }),
      (kind, seed, stages) => {
        const p = makePart(kind, rated, seed)
        let t = 0
        for (const { ohm, volts, forS } of stages) {
          p.connect(t, ohm, 1000, 10)
          p.drive(t, volts)
          t += forS
          p.ensure(t)
          expect(p.energyJ(t)).toBeGreaterThanOrEqual(0)
          const looked = p.chargeInC(t)
          const { inC, storedC, leakedC } = p.ledger(t)
          expect(Math.abs(inC - storedC - leakedC)).toBeLessThan(1e-9 * (1 + Math.abs(inC)))
          expect(Math.abs(looked - inC)).toBeLessThan(1e-4 * (1e-3 + Math.abs(inC)))
          expect(Math.abs(p.terminalV(t))).toBeLessThan(450 + 1e-6)
        }
      }), { numRuns: 150 })
  })
})

describe('time steps', () => {
  it('are not disturbed by reading, however often and at whatever instants', () => {
    const alone = fed(makePart('stale', rated, 5, { depth: 0.7 }), 100e3, 450)
    const watched = fed(makePart('stale', rated, 5, { depth: 0.7 }), 100e3, 450)
    for (let t = 0; t < 7200; t += 3.7) {
      watched.ensure(t)
      watched.currentA(t); watched.dissipationW(t); watched.chargeInC(t); watched.auditAt(t)
    }
    expect(voltsAt(watched, 7200)).toBe(voltsAt(alone, 7200))
  })

  it('hardly matter: cut into tenths of a second they change no current by a tenth of a per cent', () => {
    for (const kind of ['healthy', 'stale', 'very-stale', 'overheating', 'shorting'] as const) {
      const long = fed(makePart(kind, rated, 9), 100e3, 450)
      const short = fed(makePart(kind, rated, 9), 100e3, 450)
      for (let k = 1; k <= 20000; k++) {
        short.stopAt(k / 10)
        if (k % 1000 !== 0) continue
        const t = k / 10
        expect(Math.abs(currentAt(long, t) / short.currentA(t) - 1), `${kind} at ${t} s`).toBeLessThan(1e-3)
      }
    }
  })

  it('refuse to go back', () => {
    const p = fed(part(), 1e5, 100)
    p.stopAt(10)
    expect(() => p.stopAt(5)).toThrow(/back in time/)
  })
})

describe('heat', () => {
  it('settles at power times thermal resistance above the surroundings', () => {
    const p = fed(part({ ...ideal, shuntOhm: 100e3, thermalResistanceKW: 20 }), 100e3, 450)
    p.ensure(20e3)
    const watts = 225 ** 2 / 100e3
    expect(p.dissipationW(20e3)).toBeCloseTo(watts, 6)
    expect(p.caseC(20e3)).toBeCloseTo(20 + 20 * watts, 3)
  })

  it('makes leakage double every 19.6 K', () => {
    const cold = fed(new ElectrolyticPart('made', rated, plainTruth(rated), 1, 20), 1000, 450)
    const warm = fed(new ElectrolyticPart('made', rated, plainTruth(rated), 1, 39.6), 1000, 450)
    expect(currentAt(warm, 3600) / currentAt(cold, 3600)).toBeCloseTo(2, 1)
  })
})

describe('faults', () => {
  it('a reversed part stands between 1 and 2 V and takes nearly all the resistor lets through', () => {
    for (const volts of [5, 45, 450]) {
      const p = fed(makePart('reversed', rated, 3), 100e3, volts)
      p.ensure(600)
      expect(p.terminalV(600)).toBeGreaterThan(0.7)
      expect(p.terminalV(600)).toBeLessThan(2)
    }
    expect(voltsAt(fed(makePart('healthy', rated, 3), 100e3, 5), 600)).toBeGreaterThan(4.9)
  })

  it('a shorting part fails within milliseconds, at its fraction and after its time, not before', () => {
    const p = fed(makePart('shorting', rated, 4, { atFraction: 0.6, afterS: 100, toOhm: 500 }), 100e3, 300)
    const reachS = -Math.log(1 - 270 / 300) * 100e3 * p.truth.capacitanceF
    const before = voltsAt(p, reachS * 0.9 + 100)
    expect(before).toBeGreaterThan(290)
    p.ensure(reachS * 1.3 + 110)
    expect(p.happenings.map(h => h.kind)).toEqual(['short'])
    expect(p.terminalV(reachS * 1.3 + 110)).toBeLessThan(2)
    const low = fed(makePart('shorting', rated, 4, { atFraction: 0.6, afterS: 100, toOhm: 500 }), 100e3, 260)
    expect(voltsAt(low, 50e3)).toBeGreaterThan(250)
    expect(low.happenings).toEqual([])
  })

  it('a scintillating part loses a few per cent at once, again and again, and charges back', () => {
    const p = fed(makePart('scintillating', rated, 6, { atFraction: 0.5, afterS: 60 }), 100e3, 400)
    p.ensure(7200)
    expect(p.happenings.length).toBeGreaterThan(10)
    const { atS } = p.happenings[0]!
    const q = fed(makePart('scintillating', rated, 6, { atFraction: 0.5, afterS: 60 }), 100e3, 400)
    const before = voltsAt(q, atS - 1e-3)
    const after = voltsAt(q, atS + 1e-3)
    expect(after / before).toBeLessThan(0.98)
    expect(after / before).toBeGreaterThan(0.93)
  })

  it('an overheating part rises by more than 10 K behind 100 kohm', () => {
    const p = fed(makePart('overheating', rated, 2, { atFraction: 0.5, afterS: 60 }), 100e3, 450)
    p.ensure(7200)
    expect(p.caseC(7200)).toBeGreaterThan(30)
    const sound = fed(makePart('healthy', rated, 2), 100e3, 450)
    sound.ensure(7200)
    expect(sound.caseC(7200)).toBeLessThan(20.5)
  })

  it('a part whose contact opens takes no more current and keeps its charge, unmeasured', () => {
    const p = fed(makePart('bad-contact', rated, 8, { contactAtS: 1000 }), 100e3, 300)
    expect(currentAt(p, 999)).toBeGreaterThan(0)
    expect(currentAt(p, 1001)).toBe(0)
    p.drive(1001, 0)
    expect(currentAt(p, 1100)).toBe(0)
    expect(voltsAt(p, 1100)).toBeGreaterThan(280)
    expect(p.impedance(1100, 120).im).toBe(-Infinity)
  })

  it('an intermittent contact comes and goes, the same way for the same seed', () => {
    const options = { contactAtS: 100, intermittent: true }
    const p = fed(makePart('bad-contact', rated, 8, options), 100e3, 300)
    const q = fed(makePart('bad-contact', rated, 8, options), 100e3, 300)
    for (let t = 0; t < 3600; t++) q.ensure(t)
    p.ensure(3600)
    q.ensure(3600)
    expect(p.happenings.filter(h => h.kind === 'contact-closed').length).toBeGreaterThan(5)
    expect(q.happenings).toEqual(p.happenings)
  })
})

describe('absorption', () => {
  const soak = (recoverS: number): number => {
    const p = fed(makePart('healthy', rated, 12), 1000, 450)
    p.connect(4 * 3600, 1000, 0, Infinity)
    p.drive(4 * 3600, 0)
    p.connect(4 * 3600 + 60, Infinity, 0, Infinity)
    return voltsAt(p, 4 * 3600 + 60 + recoverS)
  }

  it('brings back tens of volts at most in a quarter of an hour, after a minute of bleeding', () => {
    expect(soak(1)).toBeLessThan(2)
    expect(soak(900)).toBeGreaterThan(8)
    expect(soak(900)).toBeLessThan(68)
  })

  it('brings back nothing in a part without branches', () => {
    const p = part()
    p.precharge(450)
    fed(p, 1000, 0)
    p.connect(60, Infinity, 0, Infinity)
    expect(voltsAt(p, 960)).toBeLessThan(1e-6)
  })
})
