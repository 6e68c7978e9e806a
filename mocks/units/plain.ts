/** Units without noise, bends or faults: where hand-made ones start, in tests and in `make-unit`. */
import type {
  ChannelTruth, OutputNetwork, PowerStage, RailTruth, SupplyTruth, ThermalTruth, UnitTruth,
} from './truth.ts'

export function plainPower(over: Partial<PowerStage> = {}): PowerStage {
  return {
    arrangement: 'split', plusRail: 'plus', minusRail: 'minus', ratio: 1, kneeV: 0, loopGain: 1, loopHz: 1e9,
    square: 0, cube: 0, saturationV: 0, saturationOhm: 0, hardness: Infinity, slewVPerS: Infinity,
    idleA: 1e-6, idlePerK: 0, idleName: 'idle', idleOverOhm: 0.22, sinkNode: 'heatsink', junctionKPerW: 1,
    junctionMaxC: 200, ...over,
  }
}

export function plainOutput(over: Partial<OutputNetwork> = {}): OutputNetwork {
  return {
    kind: 'earthed', isValve: false, sourceOhm: 0, capacitorF: null, capacitorOhm: 0, transformer: null,
    ratedOhm: 8, ratedW: 50, arcV: Infinity, ...over,
  }
}

/** Gain 20 from an input of 47 kΩ, flat from DC to 1 GHz. */
export function plainChannel(name: string, over: Partial<ChannelTruth> = {}): ChannelTruth {
  return {
    name, inputOhm: 47e3, inputF: Infinity, equalisation: null, isShorted: false,
    stages: [{ gain: 20, lowHz: 0, highHz: 1e9, square: 0, cube: 0 }],
    power: plainPower({ idleName: `idle-${name}` }), output: plainOutput(),
    noise: { inputVRootHz: 0, cornerHz: 0, outputVRootHz: 0 },
    hum: { lines: [], ripple: 0, openV: 0 },
    offset: { at25V: 0, perK: 0, leakV: 0, leakDoublesK: 10 },
    crosstalk: { share: 0, cornerHz: 1000, railShare: 0 },
    blocking: { depth: 0, chargeS: 0.05, recoverS: 0.1 },
    intermittent: null, oscillation: null, ...over,
  }
}

export const plainRail = (name: string, openV: number, over: Partial<RailTruth> = {}): RailTruth => ({
  name, openV, sourceOhm: 1e-3, reservoirF: 10e-3, bleederOhm: 1e6, loadS: 0, isFuseOpen: false, ...over,
})

export const plainSupply = (rails: RailTruth[], over: Partial<SupplyTruth> = {}): SupplyTruth => ({
  mainsV: 230, mainsHz: 50, rails, coreW: 0, magnetisingA: 0, heaterW: 0, harmonicShare: 0, surgeA: 0,
  surgeS: 0.06, fuseA: 100, fuseI2t: 1e6, shortOhm: Infinity, ...over,
})

/** One heatsink for all, 1 K/W and 1500 s; a transformer of winding and core. */
export function plainThermal(over: Partial<ThermalTruth> = {}): ThermalTruth {
  return {
    nodes: [
      { name: 'heatsink', jPerK: 1500, to: [{ node: null, kPerW: 1 }] },
      { name: 'winding', jPerK: 300, to: [{ node: 'core', kPerW: 0.5 }] },
      { name: 'core', jPerK: 1200, to: [{ node: null, kPerW: 1.5 }] },
      { name: 'chassis', jPerK: 3000, to: [{ node: null, kPerW: 0.5 }] },
    ],
    places: [
      { name: 'heatsink', node: 'heatsink', share: 1 }, { name: 'transformer', node: 'winding', share: 1 },
    ],
    windingNode: 'winding', coreNode: 'core', chassisNode: 'chassis', ...over,
  }
}

/** Two channels that share rails of ±40 V. */
export function plainUnit(over: Partial<UnitTruth> = {}): UnitTruth {
  return {
    name: 'plain', channels: [plainChannel('left'), plainChannel('right')],
    supply: plainSupply([plainRail('plus', 40), plainRail('minus', -40)]), thermal: plainThermal(), ...over,
  }
}
