/** Draws the truth of sound units by kind. Ranges are ours (docs/simulated-bench.md gives the table). */
import type { SeededRandom } from '../../src/base/random.ts'
import { plainOutput, plainPower, plainRail } from './plain.ts'
import type {
  Arrangement, ChannelTruth, GainStage, OutputNetwork, OutputTransformer, PowerStage, RailTruth, SupplyTruth,
  ThermalTruth, UnitTruth,
} from './truth.ts'

/** What a kind of unit is built for. */
export interface Design {
  readonly channels: readonly string[]
  readonly arrangement: Arrangement
  readonly ratedW: number
  readonly loadOhm: number
  /** EMF of the source that gives the rated watts, V. */
  readonly sensitivityV: number
  /** Rails at the devices, loaded, V: what is left for the ratio of the output. */
  readonly railV: number
  readonly outputKind: OutputNetwork['kind']
  readonly isValve: boolean
  readonly hasTransformer: boolean
  readonly inputOhm: number
  readonly isPhono: boolean
}

const logUniform = (random: SeededRandom, low: number, high: number): number =>
  low * (high / low) ** random.next()

export function drawUnit(name: string, design: Design, random: SeededRandom): UnitTruth {
  const channels = design.channels.map(channel => drawChannel(channel, design, random.fork(channel)))
  const supply = drawSupply(design, channels, random.fork('supply'))
  return { name, channels, supply, thermal: drawThermal(design, random.fork('thermal')) }
}

function drawChannel(name: string, design: Design, random: SeededRandom): ChannelTruth {
  const { loadOhm, isValve, inputOhm } = design
  const peakV = Math.sqrt(2 * design.ratedW * loadOhm)
  const power = drawPower(name, design, peakV, random)
  const output = drawOutput(design, peakV, random)
  const gain = peakV / Math.SQRT2 / design.sensitivityV * (loadOhm + output.sourceOhm) / loadOhm
  return {
    name, inputOhm: inputOhm * random.uniform(0.9, 1.1), power, output, isShorted: false,
    inputF: 1 / (2 * Math.PI * inputOhm * random.uniform(1.5, 6)), stages: drawStages(gain, isValve, random),
    equalisation: design.isPhono ? drawEqualisation(random) : null,
    noise: {
      inputVRootHz: logUniform(random, 5e-9, 30e-9), cornerHz: logUniform(random, 20, 400),
      outputVRootHz: logUniform(random, 20e-9, 100e-9),
    },
    hum: {
      lines: [1, 3].map(order => ({
        order, inputV: logUniform(random, 1e-6, 1e-5) * design.sensitivityV / order,
        phaseRad: random.uniform(0, 6),
      })),
      ripple: logUniform(random, 3e-5, 3e-4), openV: 1e-3 * design.sensitivityV,
    },
    offset: {
      at25V: random.uniform(-15e-3, 15e-3), perK: random.uniform(-2e-4, 2e-4), leakV: 0, leakDoublesK: 10,
    },
    crosstalk: {
      share: logUniform(random, 5e-5, 6e-4), cornerHz: logUniform(random, 1000, 5000),
      railShare: logUniform(random, 1e-5, 1e-4),
    },
    blocking: {
      depth: random.uniform(0.1, 0.4), chargeS: random.uniform(5e-3, 20e-3),
      recoverS: random.uniform(5e-3, 30e-3),
    },
    intermittent: null, oscillation: null,
  }
}

/** Half of the gain in each of two stages, the first of which may be direct. */
function drawStages(gain: number, isValve: boolean, random: SeededRandom): GainStage[] {
  const first = gain ** random.uniform(0.3, 0.7) * random.uniform(0.97, 1.03)
  const stage = (part: number, lowHz: number): GainStage => ({
    gain: part, lowHz, square: 0, cube: 0,
    highHz: isValve ? random.uniform(40e3, 90e3) : random.uniform(70e3, 250e3),
  })
  return [stage(first, random.uniform(1, 4)), stage(gain / first, isValve ? random.uniform(1, 4) : 0)]
}

function drawPower(name: string, design: Design, peakV: number, random: SeededRandom): PowerStage {
  const { isValve, arrangement, railV, loadOhm } = design
  const headroom = Math.sqrt(random.uniform(1.3, 1.6))
  const saturationV = isValve ? railV * random.uniform(0.1, 0.18) : railV > 20 ? random.uniform(1.5, 3) : 1
  const saturationOhm = loadOhm * random.uniform(0.01, 0.05) * (isValve ? 3 : 1)
  const swing = (arrangement === 'half' ? railV / 2 : railV) - saturationV
  const isMatched = design.hasTransformer || design.outputKind === 'bridged'
  const loopGain = isValve ? random.uniform(6, 15) : logUniform(random, 40, 200)
  return plainPower({
    arrangement, plusRail: arrangement === 'split' ? 'plus' : 'supply',
    minusRail: arrangement === 'split' ? 'minus' : null,
    ratio: isMatched ? peakV * headroom * (1 + saturationOhm / loadOhm) / swing : 1,
    kneeV: isValve ? random.uniform(3, 8) : 0.026,
    loopGain, loopHz: isValve ? random.uniform(8e3, 20e3) : logUniform(random, 3e3, 15e3),
    square: random.uniform(-0.12, 0.12) / peakV, cube: -random.uniform(0.02, 0.15) / peakV ** 2,
    saturationV, saturationOhm, hardness: isValve ? random.uniform(6, 12) : random.uniform(24, 80),
    slewVPerS: 2 * Math.PI * peakV * random.uniform(60e3, 200e3),
    idleA: isValve ? random.uniform(0.025, 0.04) : random.uniform(0.015, 0.04),
    idlePerK: random.uniform(1e-3, 8e-3), idleName: `idle-${name}`, idleOverOhm: isValve ? 10 : 0.33,
    junctionKPerW: isValve ? 0 : random.uniform(0.6, 1.2),
    junctionMaxC: isValve ? 350 : 175,
  })
}

function drawOutput(design: Design, peakV: number, random: SeededRandom): OutputNetwork {
  const { loadOhm, isValve, hasTransformer, arrangement } = design
  const damping = isValve ? random.uniform(5, 14)
    : hasTransformer ? random.uniform(9, 20) : logUniform(random, 25, 150)
  const transformer: OutputTransformer | null = hasTransformer ? {
    magnetisingH: loadOhm / (damping + 1) / (2 * Math.PI * random.uniform(4, 9)),
    leakageH: loadOhm / (2 * Math.PI * random.uniform(28e3, 60e3)),
    fluxVs: peakV / (2 * Math.PI * random.uniform(22, 34)), hardness: random.uniform(6, 10),
  } : null
  return plainOutput({
    kind: design.outputKind, isValve, sourceOhm: loadOhm / damping, transformer,
    capacitorF: arrangement === 'half' ? 1 / (2 * Math.PI * loadOhm * random.uniform(6, 11)) : null,
    capacitorOhm: arrangement === 'half' ? random.uniform(0.02, 0.06) : 0,
    ratedOhm: loadOhm, ratedW: design.ratedW, arcV: isValve ? 0.85 * peakV : Infinity,
  })
}

/** Parts of 1 %, as makers sort them. */
const drawEqualisation = (random: SeededRandom): ChannelTruth['equalisation'] => ({
  slowS: 3180e-6 * random.uniform(0.98, 1.02), middleS: 318e-6 * random.uniform(0.98, 1.02),
  fastS: 75e-6 * random.uniform(0.98, 1.02), rumbleS: null,
})

function drawSupply(design: Design, channels: readonly ChannelTruth[], random: SeededRandom): SupplyTruth {
  const { railV, arrangement, ratedW, loadOhm, isValve } = design
  const amps = channels.reduce((sum, { power }) =>
    sum + Math.sqrt(2 * ratedW / loadOhm) * power.ratio / Math.PI * (arrangement === 'push-pull' ? 2 : 1), 0)
  const sides = arrangement === 'push-pull' ? 2 : 1
  const idle = channels.reduce((sum, { power }) => sum + power.idleA * sides, 0)
  const sourceOhm = random.uniform(0.05, 0.11) * railV / (amps + idle)
  const openV = railV + sourceOhm * (amps + idle)
  const rail = (name: string, side: number): RailTruth => plainRail(name, side * openV, {
    sourceOhm: sourceOhm * random.uniform(0.97, 1.03), loadS: 2e-3 * amps / railV,
    reservoirF: (amps + idle) / (100 * railV * random.uniform(0.02, 0.05)),
    bleederOhm: logUniform(random, 20, 45) * railV * (isValve ? 12 : 1),
  })
  const fullW = 1.3 * amps * railV * (arrangement === 'split' ? 2 : 1)
  const heaterW = isValve ? 14 * channels.length : 0
  const fuseA = 2.2 * (fullW + heaterW + 10) / 230 * 1.5
  return {
    mainsV: 230, mainsHz: 50,
    rails: arrangement === 'split' ? [rail('plus', 1), rail('minus', -1)] : [rail('supply', 1)],
    coreW: random.uniform(0.02, 0.04) * fullW + 1,
    magnetisingA: random.uniform(0.02, 0.04) + fullW / 230 * 0.06,
    heaterW, harmonicShare: random.uniform(1, 1.3), surgeA: 8 + fullW / 230 * random.uniform(4, 10),
    surgeS: random.uniform(0.03, 0.08), fuseA, fuseI2t: 15 * fuseA ** 2 + 60, shortOhm: Infinity,
  }
}

function drawThermal(design: Design, random: SeededRandom): ThermalTruth {
  const { ratedW, channels, isValve, railV, arrangement } = design
  const acrossV = arrangement === 'half' ? railV : 2 * railV
  const heatW = channels.length * (isValve ? 0.035 * acrossV : 0.4 * ratedW + 0.03 * acrossV)
  const sinkKPerW = random.uniform(28, 38) / heatW
  const coreKPerW = random.uniform(25, 40) / (0.35 * heatW + 6)
  const [sinkS, coreS] = [random.uniform(700, 1500), random.uniform(1200, 2400)]
  return {
    nodes: [
      { name: 'heatsink', jPerK: sinkS / sinkKPerW, to: [{ node: null, kPerW: sinkKPerW }] },
      { name: 'winding', jPerK: 150 / coreKPerW, to: [{ node: 'core', kPerW: 0.3 * coreKPerW }] },
      { name: 'core', jPerK: coreS / coreKPerW, to: [{ node: null, kPerW: coreKPerW }] },
      { name: 'chassis', jPerK: 4000, to: [{ node: null, kPerW: 0.4 }] },
    ],
    places: [
      { name: 'heatsink', node: 'heatsink', share: random.uniform(0.93, 1) },
      { name: 'transformer', node: 'core', share: random.uniform(0.9, 1) },
    ],
    windingNode: 'winding', coreNode: 'core', chassisNode: 'chassis',
  }
}
