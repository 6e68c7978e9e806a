/** The contract of multimeters as volt- and ohm-meters, and of source-measure units on a resistor. */
import { expect } from 'vitest'
import { Multimeter, type MeterProfile } from '../../mocks/instruments/multimeter.ts'
import { SourceMeasure, type SourceProfile } from '../../mocks/instruments/source-measure.ts'
import { ohmFigures, type OhmRange } from '../../mocks/instruments/specifications.ts'
import type { VirtualClock } from '../../src/base/clock.ts'
import { contract, type Rig } from './contract.ts'

const setupOf = (name: string, clock: VirtualClock) => ({ name, clock, seed: `contract ${name}` })

function meterRig(profile: MeterProfile, clock: VirtualClock): Rig<'bus-meter'> {
  let volts = 0
  const instrument = new Multimeter(profile, setupOf(profile, clock), { volts: () => volts })
  return {
    instrument,
    async setAndSee(meter) {
      await meter.configure({ rangeV: 20, nplc: 1 })
      expect(instrument.core.autorange).toBe(false)
      expect(instrument.core.rangeV).toBeGreaterThanOrEqual(20)
      expect(instrument.core.nplc).toBe(1)
      expect(meter.readingMs).toBe(instrument.core.readingMs)
      expect(meter.inputOhm).toBe(instrument.core.figures.inputOhm)
      await meter.configure({ rangeV: 'auto', nplc: 10 })
      expect([instrument.core.autorange, instrument.core.nplc]).toEqual([true, 10])
    },
    change: meter => meter.configure({ rangeV: 20, nplc: 1 }),
    outOfRange: meter => [
      () => meter.configure({ rangeV: 1001, nplc: 1 }), () => meter.configure({ rangeV: 10, nplc: 1000 }),
      () => meter.configure({ rangeV: 10, nplc: 0 }), () => meter.configure({ rangeV: -1, nplc: 1 }),
    ],
    async readings(meter) {
      const seen = []
      for (const rangeV of ['auto', 1000] as const) {
        for (const nplc of [0.1, 1, 10]) {
          await meter.configure({ rangeV, nplc })
          for (volts of [0, 0.0123, -4.5, 27.3, 450]) seen.push(
            { measured: await meter.readVoltage(), truth: volts }
          )
        }
      }
      return seen
    },
    async unmeasurable(meter) {
      await meter.configure({ rangeV: 10, nplc: 1 })
      volts = 400
      return meter.readVoltage()
    },
  }
}

for (const profile of ['multimeter-6d-a', 'multimeter-5d-b'] as const) {
  contract({ role: 'bus-meter', profile, class: 'multimeter', rig: clock => meterRig(profile, clock) })
  contract({ role: 'sense-meter', profile, class: 'multimeter', rig: clock => meterRig(profile, clock) })
}

/** A resistor behind leads of 0.2 ohm, which two wires measure with it. */
function ohmRig(profile: MeterProfile, clock: VirtualClock): Rig<'ohm-meter'> {
  let ohm = 1000
  const leadsOhm = 0.2
  const seen = { currentA: 0, openV: 0 }
  const instrument = new Multimeter(profile, setupOf(profile, clock), {
    volts: () => 0.5,
    push(currentA, openV, wires) {
      Object.assign(seen, { currentA, openV })
      return Math.min(openV, currentA * (ohm + (wires === 2 ? leadsOhm : 0)))
    },
  })
  const last: OhmRange = ohmFigures[profile].ranges.at(-1)!
  return {
    instrument,
    async setAndSee(meter) {
      for (const wires of meter.wires) {
        const core = wires === 2 ? instrument.ohms : instrument.fourWireOhms
        await meter.configure({ rangeOhm: 2000, wires, nplc: 1 })
        expect(instrument.active).toBe(wires === 2 ? 'RES' : 'FRES')
        expect(core.autorange).toBe(false)
        expect([core.rangeOhm >= 2000, core.nplc]).toEqual([true, 1])
        expect(meter.readingMs).toBe(core.readingMs)
        await meter.readResistance()
        expect(meter.stimulus(2000)).toEqual(seen)
        await meter.configure({ rangeOhm: 'auto', wires, nplc: 10 })
        expect([core.autorange, core.nplc]).toEqual([true, 10])
      }
    },
    change: meter => meter.configure({ rangeOhm: 2000, wires: 2, nplc: 1 }),
    outOfRange: meter => [
      () => meter.configure({ rangeOhm: last.rangeOhm * 1.01, wires: 2, nplc: 1 }),
      () => meter.configure({ rangeOhm: 10, wires: 2, nplc: 1000 }),
      () => meter.configure({ rangeOhm: -1, wires: 2, nplc: 1 }),
      () => meter.configure({ rangeOhm: NaN, wires: 2, nplc: 1 }),
      ...meter.wires.includes(4) ? [] : [() => meter.configure({ rangeOhm: 10, wires: 4, nplc: 1 })],
      async () => meter.stimulus(last.rangeOhm * 1.01),
    ],
    async readings(meter) {
      const seen = []
      for (const wires of meter.wires) {
        for (const rangeOhm of ['auto', last.rangeOhm] as const) {
          for (const nplc of [1, 10]) {
            await meter.configure({ rangeOhm, wires, nplc })
            for (ohm of [0, 4.7, 220, 4.7e3, 330e3, 1e6, 22e6]) {
              seen.push({ measured: await meter.readResistance(), truth: ohm + (wires === 2 ? leadsOhm : 0) })
            }
          }
        }
      }
      return seen
    },
    async unmeasurable(meter) {
      await meter.configure({ rangeOhm: 'auto', wires: 2, nplc: 1 })
      ohm = Infinity
      return meter.readResistance()
    },
  }
}

for (const profile of ['multimeter-6d-a', 'multimeter-5d-b'] as const) {
  contract({ role: 'ohm-meter', profile, class: 'multimeter', rig: clock => ohmRig(profile, clock) })
}

/** A source on a resistor: it holds what it forces until the other quantity reaches its limit. */
function sourceRig(profile: SourceProfile, clock: VirtualClock): Rig<'source'> {
  let ohm = 1000
  let set = { mode: 'voltage', value: 0, limit: 0, on: false }
  const clamp = (value: number, limit: number): number => Math.max(-limit, Math.min(limit, value))
  const amps = (): number => {
    if (!set.on) return 0
    return set.mode === 'voltage' ? clamp(set.value / ohm, set.limit) : clamp(set.value * ohm, set.limit) / ohm
  }
  const volts = (): number => amps() * ohm
  const forced = (): number => set.mode === 'voltage' ? volts() : amps()
  const instrument = new SourceMeasure(profile, setupOf(profile, clock), {
    operate: setting => { set = { ...setting } }, volts, amps,
    limited: () => set.on && Math.abs(forced()) < Math.abs(set.value) * (1 - 1e-9),
  })
  return {
    instrument,
    async setAndSee(source) {
      await source.configure({ wires: 4, nplc: 10 })
      expect([instrument.core.fourWire, source.readingMs]).toEqual([true, instrument.core.readingMs])
      await source.forceVoltage(-2, 0.005)
      expect(volts()).toBe(0)
      await source.setOutput(true)
      expect(volts()).toBeCloseTo(-2, 2)
      expect((await source.measure()).limited).toBe(false)
      await source.forceVoltage(2, 0.001)
      expect(amps()).toBeCloseTo(0.001, 5)
      expect((await source.measure()).limited).toBe(true)
      await source.forceCurrent(-0.0015, 5)
      expect(amps()).toBeCloseTo(-0.0015, 5)
      expect((await source.measure()).limited).toBe(false)
      await source.forceCurrent(0.002, 1)
      expect(volts()).toBeCloseTo(1, 2)
      expect((await source.measure()).limited).toBe(true)
      await source.setOutput(false)
      expect(volts()).toBe(0)
    },
    change: source => source.forceVoltage(1, 0.002),
    outOfRange(source) {
      const { voltageMaxV, currentMaxA } = source.ratings
      return [
        () => source.forceVoltage(voltageMaxV * 1.001, 0.001), () => source.forceVoltage(-voltageMaxV * 1.001, 0.001),
        () => source.forceVoltage(NaN, 0.001), () => source.forceVoltage(1, currentMaxA * 1.001),
        () => source.forceVoltage(1, 0), () => source.forceVoltage(1, -0.001), () => source.forceVoltage(1, NaN),
        () => source.forceCurrent(currentMaxA * 1.001, 1), () => source.forceCurrent(0.001, voltageMaxV * 1.001),
        () => source.forceCurrent(0.001, -1), () => source.configure({ wires: 2, nplc: 1000 }),
      ]
    },
    async readings(source) {
      const seen = []
      await source.setOutput(true)
      for (const nplc of [0.1, 1, 10]) {
        await source.configure({ wires: 2, nplc })
        for (ohm of [100, 10e3, 1e6, 1e9]) {
          await source.forceVoltage(3.3, 0.01)
          const { voltage, current } = await source.measure()
          seen.push({ measured: voltage, truth: volts() }, { measured: current, truth: amps() })
        }
      }
      return seen
    },
    async unmeasurable(source) {
      await source.setOutput(false)
      return (await source.measure()).current
    },
    async energise(source) {
      await source.forceVoltage(5, 0.05)
      await source.setOutput(true)
    },
    isSafe: () => volts() === 0,
  }
}

for (const profile of ['source-measure-a', 'source-measure-b'] as const) {
  for (const role of ['source', 'second-source'] as const) {
    contract({ role, profile, class: 'source-measure', rig: clock => sourceRig(profile, clock) as Rig<typeof role> })
  }
}
