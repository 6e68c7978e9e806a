/** Rails, mains and heat of a simulated unit against closed forms, and energy that is never lost. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SimulatedUnit } from '../../../mocks/units/amplifier.ts'
import { plainChannel, plainOutput, plainPower, plainRail, plainSupply, plainThermal } from '../../../mocks/units/plain.ts'
import type { SupplyTruth } from '../../../mocks/units/truth.ts'
import { meanSquare, running, sine, truthWith } from './rig.ts'

const on = { rmsV: 230, frequencyHz: 50, seriesOhm: 0 }
const supplyWith = (over: Partial<SupplyTruth>): SupplyTruth =>
  plainSupply([plainRail('plus', 40), plainRail('minus', -40)], over)

describe('rails', () => {
  it('fall by their own bleeders: 63 V to 10 V through 1 kΩ from 10 mF in 18.4055 s', () => {
    // audio-burnin-check-values.json C85.
    const rail = { bleederOhm: 1000, reservoirF: 10e-3 }
    const supply = plainSupply([plainRail('plus', 63, rail), plainRail('minus', -63, rail)])
    const power = { idleA: 1e-12 }
    const unit = running(truthWith({ power, unit: { supply } }))
    unit.setMains(null)
    unit.advance(18.405496)
    // The bleeder takes 63 mA through 1 mΩ, and the circuits of the right channel 1 µA while they are on.
    for (const name of ['plus', 'minus']) expect(Math.abs(unit.rail(name))).toBeCloseTo(10, 3)
    unit.advance(18.405496)
    expect(unit.rail('minus')).toBeCloseTo(-100 / 63, 3)
  })
  it('stand with an open bleeder, and only that one', () => {
    const rail = { bleederOhm: 1000 }
    const supply = plainSupply([plainRail('plus', 40, { bleederOhm: Infinity }), plainRail('minus', -40, rail)])
    const unit = running(truthWith({ power: { idleA: 0.05 }, unit: { supply } }))
    unit.setMains(null)
    unit.advance(600)
    // What idles takes it down to a third, where it lets go.
    expect(unit.rail('plus')).toBeGreaterThan(40 / 3 - 0.5)
    expect(unit.rail('minus')).toBeGreaterThan(-0.01)
  })
  it('sag by their source resistance times the mean of a half wave', () => {
    const supply = plainSupply([plainRail('plus', 40, { sourceOhm: 1 }), plainRail('minus', -40, { sourceOhm: 1 })])
    const unit = running(truthWith({ unit: { supply } }))
    unit.drive(0, [sine(1000, 1)], 0)
    unit.advance(2)
    expect(unit.rail('plus')).toBeCloseTo(40 - 20 / 8 / Math.PI, 3)
  })
  it('follow the mains they get, and stand still below where the circuits wake', () => {
    const unit = running(truthWith({ power: { idleA: 0.1 } }))
    expect(unit.idle('idle-left')).toBeCloseTo(0.1 * 0.22, 6)
    unit.setMains({ ...on, rmsV: 46 })
    unit.advance(10_000)
    expect(unit.rail('plus')).toBeCloseTo(8, 3)
    expect(unit.idle('idle-left')).toBe(0)
  })
})

describe('mains', () => {
  it('of an ideal class B stage is what the closed form says, and so is the heat in it', () => {
    // C79: Pd/Pmax = (4/π)·√x − x.
    for (const [x, share] of [[1 / 8, 0.32515816], [1 / 3, 0.40177186], [0.40528, 0.40528473], [1, 0.27323954]] as const) {
      const unit = running(truthWith())
      unit.drive(0, [sine(1000, 2 * Math.sqrt(x) * 0.9999)], 0)
      unit.advance(1)
      const { mainsW, outputW } = unit.balance()
      expect((mainsW - outputW) / 100).toBeCloseTo(share, 3)
      expect(unit.mainsNow().watts).toBeCloseTo(mainsW, 9)
    }
  })
  it('adds loss in phase, magnetising across and harmonics of the rectifier by their squares', () => {
    const supply = supplyWith({ coreW: 8, magnetisingA: 0.1, harmonicShare: 1.2, heaterW: 10 })
    const unit = running(truthWith({ power: { idleA: 0.25 }, unit: { supply } }))
    const { rmsA, watts, rmsV } = unit.mainsNow()
    expect(watts).toBeCloseTo(20 + 8 + 10, 1)
    expect(rmsA).toBeCloseTo(Math.hypot(watts / 230, 0.1, 1.2 * 20 / 230), 3)
    expect(watts / (rmsV * rmsA)).toBeLessThan(0.85)
  })
  it('through a resistance falls by what flows, down to nothing across a short', () => {
    const supply = supplyWith({ coreW: 8, magnetisingA: 0.1, harmonicShare: 1 })
    const unit = new SimulatedUnit(truthWith({ power: { idleA: 0.1 }, unit: { supply } }), 1)
    unit.setMains({ ...on, seriesOhm: 150 })
    unit.advance(5)
    const { rmsV, rmsA } = unit.mainsNow()
    expect(rmsV + 150 * rmsA).toBeCloseTo(230, 6)
    expect(rmsV).toBeLessThan(225)
    const short = new SimulatedUnit(truthWith({ unit: { supply: supplyWith({ shortOhm: 0.5, fuseA: 1, fuseI2t: 5 }) } }), 1)
    short.setMains({ ...on, seriesOhm: 250 })
    short.advance(5)
    expect(short.mainsNow().rmsA).toBeCloseTo(230 / 250.5, 2)
    expect(short.harms).toEqual([])
    short.setMains(on)
    short.advance(0.1)
    expect(short.harms.map(({ kind }) => kind)).toEqual(['fuse blown'])
    expect(short.mainsNow().rmsA).toBe(0)
  })
  it('surges as it is switched on, by the instant, and charges the reservoirs', () => {
    const rails = [plainRail('plus', 40, { sourceOhm: 1 }), plainRail('minus', -40, { sourceOhm: 1 })]
    const unit = new SimulatedUnit(truthWith({ unit: { supply: plainSupply(rails, { magnetisingA: 0.1, surgeA: 20 }) } }), 4)
    unit.setMains(on)
    const first = unit.mainsNow().rmsA
    // 40 V into both rails through 1 Ω each: 3200 W.
    expect(first).toBeGreaterThan(3200 / 230)
    unit.advance(0.02)
    expect(unit.mainsNow().rmsA).toBeLessThan(first)
    unit.advance(2)
    expect(unit.mainsNow().rmsA).toBeCloseTo(0.1, 3)
    const again = new SimulatedUnit(unit.truth, 4)
    again.setMains(on)
    expect(again.mainsNow().rmsA).toBe(first)
  })
})

describe('heat', () => {
  /** One heatsink with a power that follows its temperature: P = P0 + g·(T − 25 °C), from ±40 V. */
  function idling(p0W: number, gWPerK: number, kPerW: number, tauS: number): SimulatedUnit {
    const thermal = plainThermal()
    const nodes = [{ name: 'heatsink', jPerK: tauS / kPerW, to: [{ node: null, kPerW }] }, ...thermal.nodes.slice(1)]
    const power = { idleA: p0W / 80, idlePerK: gWPerK / p0W, junctionKPerW: 0, junctionMaxC: 1e9 }
    const truth = truthWith({ power, unit: { thermal: { ...thermal, nodes } } })
    // Rails as stiff as the closed form takes them.
    for (const rail of truth.supply.rails) rail.sourceOhm = 1e-9
    const unit = new SimulatedUnit(truth, 1, 25)
    unit.setMains(on)
    return unit
  }
  it('settles where the loop gain is below 1 (H09)', () => {
    const unit = idling(20, 0.02, 1.2, 800)
    unit.advance(819.67213)
    expect(unit.temperature('heatsink') - 25).toBeCloseTo(24.590164 * (1 - Math.exp(-1)), 3)
    unit.advance(20_000)
    expect(unit.temperature('heatsink') - 25).toBeCloseTo(24.590164, 3)
  })
  it('runs away where it is above 1 (H10): 110 °C after 2123.7239 s, ever faster', () => {
    const unit = idling(18, 0.75, 1.5, 800)
    unit.advance(60)
    expect(unit.temperature('heatsink') - 25).toBeCloseTo(2.025, 1)
    unit.advance(2123.7239 - 60)
    expect(unit.temperature('heatsink')).toBeCloseTo(110, 2)
  })
  it('makes readings whose steps grow where it runs away, and shrink where it settles (H12)', () => {
    for (const [gWPerK, sign] of [[0.75, 1], [0.02, -1]] as const) {
      const unit = idling(18, gWPerK, 1.5, 800)
      const read = Array.from({ length: 12 }, () => { unit.advance(60); return unit.temperature('heatsink') })
      for (let i = 2; i < read.length; i++) {
        expect(sign * (read[i]! - 2 * read[i - 1]! + read[i - 2]!)).toBeGreaterThan(0)
      }
    }
  })
  it('comes to rest as criteria of thermal steady state expect (H05)', () => {
    const unit = idling(55, 0, 1, 1500)
    const at = [3449.3421, 3825.5077, 5625.5077].map((tS, i, all) => {
      unit.advance(tS - (all[i - 1] ?? 0))
      return unit.temperature('heatsink')
    })
    // 3 K in the 30 min between the last two; 1.29304 K left then.
    expect(at[2]! - at[1]!).toBeCloseTo(3, 3)
    expect(80 - at[2]!).toBeCloseTo(1.29304, 3)
  })
  it('takes a device beyond what it bears, which then shorts', () => {
    const rails = [plainRail('plus', 40, { sourceOhm: 1 }), plainRail('minus', -40, { sourceOhm: 1 })]
    const supply = plainSupply(rails, { fuseA: 1, fuseI2t: 10 })
    const unit = running(truthWith({ power: { idleA: 0.3, idlePerK: 0.06, junctionMaxC: 150 }, unit: { supply } }))
    unit.advance(2000)
    expect(unit.harms).toEqual([])
    unit.advance(1000)
    expect(unit.harms.map(({ kind, channel }) => [kind, channel]))
      .toEqual([['output device failed', 0], ['fuse blown', null]])
  })
  it('shows a sensor that sits badly less than there is', () => {
    const thermal = plainThermal()
    const places = [{ name: 'heatsink', node: 'heatsink', share: 0.6 }]
    const unit = running(truthWith({ power: { idleA: 0.3 }, unit: { thermal: { ...thermal, places } } }))
    unit.advance(7200)
    const [node] = unit.thermal.celsius
    expect(unit.temperature('heatsink')).toBeCloseTo(22 + 0.6 * (node! - 22), 9)
    expect(node! - 22).toBeGreaterThan(20)
  })
})

describe('energy', () => {
  const part = fc.double({ min: 0, max: 1, noNaN: true })
  it('from the mains is heat and output, at once and in the end', () => {
    fc.assert(fc.property(part, part, part, part, fc.constantFrom(0, 120), (a, b, c, d, seriesOhm) => {
      const rails = [plainRail('plus', 40, { sourceOhm: 0.5 + a, loadS: 1e-3 }), plainRail('minus', -40, { sourceOhm: 0.7, bleederOhm: 2200 })]
      const supply = plainSupply(rails, { coreW: 10 * b, magnetisingA: 0.1, heaterW: 5, harmonicShare: 1 })
      const power = { idleA: 0.01 + 0.1 * c, idlePerK: 0.002, kneeV: 0.026, saturationV: 2, hardness: 40 }
      const unit = running(truthWith({ power, output: { sourceOhm: 0.3 }, unit: { supply } }))
      unit.setMains({ ...on, seriesOhm })
      unit.drive(0, [sine(1000, 2.4 * d)], 0)
      unit.drive(1, [sine(700, 1)], 0)
      unit.advance(60)
      const { mainsW, heatW, outputW } = unit.balance()
      expect(Math.abs(heatW + outputW - mainsW)).toBeLessThan(0.01 + 1e-3 * mainsW)
      // What the load gets, from the volts at the terminals alone; a clipped wave is summed over few points.
      const heard = [0, 1].map(i => meanSquare(unit.output(i, 65_536, 65_536)) / 8)
      expect(Math.abs(heard[0]! + heard[1]! - outputW)).toBeLessThan(1e-3 + 5e-3 * outputW)
      // Behind a resistance rails may rest half awake, in steps of 2 ms: too many to wait for the end.
      if (seriesOhm > 0) return
      unit.advance(40_000)
      const end = unit.balance()
      expect(Math.abs(end.lossW + end.outputW - end.mainsW)).toBeLessThan(0.02 + 2e-3 * end.mainsW)
    }), { numRuns: 8, examples: [[1, 1, 1, 0.7, 120], [0.5, 1, 1, 1, 120], [0, 0, 0, 0.74, 120]] })
  })
  it('stored in a rail and burnt while it charges adds up', () => {
    const unit = new SimulatedUnit(truthWith({ unit: { supply: plainSupply([plainRail('plus', 40, { sourceOhm: 2 }), plainRail('minus', -40)]) } }), 1)
    unit.setMains(on)
    let [taken, burnt] = [0, 0]
    for (let i = 0; i < 4000; i++) {
      unit.advance(1e-4)
      taken += unit.supply.flow.mains.watts * 1e-4
      burnt += (unit.supply.flow.copperW + unit.supply.flow.chassisW) * 1e-4
    }
    // Half of what a source gives to charge a capacitor through a resistance is burnt, whatever the resistance.
    const stored = [0, 1].reduce((sum, i) => sum + 10e-3 * unit.supply.volts[i]! ** 2 / 2, 0)
    expect(Math.abs(taken - 2 * stored) / taken).toBeLessThan(0.01)
    expect(burnt).toBeGreaterThan(0.25 * taken)
  })
})

describe('valve output stages', () => {
  it('rise without a load, and arc over when driven so', () => {
    const output = plainOutput({ isValve: true, sourceOhm: 4, arcV: 25 })
    const left = plainChannel('left', { output, power: plainPower({ idleName: 'idle-left', saturationOhm: 6 }) })
    const unit = running(truthWith({ channel: left }))
    unit.drive(0, [sine(1000, 1.5)], 0)
    unit.advance(1)
    const peak = (): number => unit.output(0, 48_000, 480).reduce((most, v) => Math.max(most, v), 0)
    const loaded = peak()
    expect(unit.harms).toEqual([])
    unit.setLoad(0, null)
    expect(unit.harms.map(({ kind, channel }) => [kind, channel])).toEqual([['arced', 0]])
    unit.setLoad(0, 8)
    expect(peak()).toBeCloseTo(0.3 * loaded, 6)
  })
  it('do not arc without drive, nor without mains, nor where they have a load', () => {
    const output = plainOutput({ isValve: true, sourceOhm: 4, arcV: 25 })
    const unit = running(truthWith({ output }))
    unit.setLoad(0, null)
    unit.setLoad(0, 8)
    unit.drive(0, [sine(1000, 1.5)], 0)
    unit.setMains(null)
    unit.advance(3600)
    unit.setLoad(0, null)
    expect(unit.harms).toEqual([])
  })
})

describe('a bridged output', () => {
  it('is shorted by an instrument with an earthed return; another output is not', () => {
    const bridged = running(truthWith({ output: { kind: 'bridged' } }))
    bridged.earthReturn(1, true)
    expect(bridged.harms).toEqual([])
    bridged.earthReturn(0, true)
    expect(bridged.harms.map(({ kind }) => kind)).toEqual(['output shorted through an earth'])
  })
})
