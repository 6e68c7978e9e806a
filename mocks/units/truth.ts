/**
 * Everything hidden about one simulated unit: what it is made of and what is wrong with it. SI units; levels
 * are at the output terminals unless a name says otherwise. docs/simulated-bench.md gives the equations.
 */

/** A stage of voltage gain: coupling in, bandwidth, and a curve on its own output volts. */
export interface GainStage {
  gain: number
  /** Corner of the coupling before it, Hz; 0 where it is direct. */
  lowHz: number
  highHz: number
  /** y = x + square·x² + cube·x³, per volt and per volt². */
  square: number
  cube: number
}

/** Time constants of a phono input, s: 3180, 318, 75 µs and, with the IEC amendment, 7950 µs. */
export interface Equalisation { slowS: number; middleS: number; fastS: number; rumbleS: number | null }

/** How a power stage draws from its rails. `half`: one rail, through a capacitor. `push-pull`: one rail. */
export type Arrangement = 'split' | 'half' | 'push-pull'

export interface PowerStage {
  arrangement: Arrangement
  plusRail: string
  /** The other rail of a `split` stage. */
  minusRail: string | null
  /** Output volts for one volt at the devices: a transformer's ratio, else 1. */
  ratio: number
  /** Scale of the exponential law of the devices, V: kT/q for transistors. */
  kneeV: number
  /** Feedback divides errors by this at low frequencies, 1 where there is none … */
  loopGain: number
  /** … and less above this corner of the open loop, Hz. */
  loopHz: number
  /** Errors before feedback on the output volts: square·u² + cube·u³. */
  square: number
  cube: number
  /** Lost between rail and output, V at the devices, and Ω at the output. */
  saturationV: number
  saturationOhm: number
  /** Exponent of the knee at the rails; Infinity clips like a knife. */
  hardness: number
  slewVPerS: number
  /** Idle current at 25 °C, its rise a kelvin as a share, and the resistor over which it is read. */
  idleA: number
  idlePerK: number
  idleName: string
  idleOverOhm: number
  /** Node of the thermal network that the devices sit on, and from there into them. */
  sinkNode: string
  junctionKPerW: number
  junctionMaxC: number
}

export interface OutputTransformer {
  /** Seen from the output, H. */
  magnetisingH: number
  leakageH: number
  /** Most flux in volt seconds at the output, and how sharply it ends. */
  fluxVs: number
  hardness: number
}

export interface OutputNetwork {
  kind: 'earthed' | 'bridged' | 'floating' | 'line-transformer'
  isValve: boolean
  sourceOhm: number
  /** In line with the load; null where there is none. */
  capacitorF: number | null
  capacitorOhm: number
  transformer: OutputTransformer | null
  ratedOhm: number
  ratedW: number
  /** Peak volts at which the transformer of a valve stage arcs over. */
  arcV: number
}

export interface NoiseTruth {
  /** At the input, V/√Hz, with this corner of 1/f noise, Hz; and of the output stage alone. */
  inputVRootHz: number
  cornerHz: number
  outputVRootHz: number
}

export interface HumTruth {
  /** At the input, peak volts by multiple of the mains frequency. */
  lines: { order: number; inputV: number; phaseRad: number }[]
  /** Share of the ripple of the rail that reaches the output. */
  ripple: number
  /** Further peak volts at the input, at mains frequency, while nothing is connected to it. */
  openV: number
}

export interface OffsetTruth {
  at25V: number
  perK: number
  /** A coupling capacitor that leaks: volts at 25 °C, doubling with every so many kelvins. */
  leakV: number
  leakDoublesK: number
}

/** From the other channels: share·(1 + j·f/corner) of their output, and a share of its absolute value. */
export interface CrosstalkTruth { share: number; cornerHz: number; railShare: number }

/** While the stage clips its coupling charges, and gain is lost until that has gone. */
export interface BlockingTruth { depth: number; chargeS: number; recoverS: number }

export interface IntermittentTruth { meanGoodS: number; meanBadS: number; aboveC: number }
export interface OscillationTruth { hz: number; peakV: number; belowC: number; watts: number }

export interface ChannelTruth {
  name: string
  inputOhm: number
  /** In line with the input; Infinity where it is direct. */
  inputF: number
  stages: GainStage[]
  equalisation: Equalisation | null
  power: PowerStage
  output: OutputNetwork
  noise: NoiseTruth
  hum: HumTruth
  offset: OffsetTruth
  crosstalk: CrosstalkTruth
  blocking: BlockingTruth
  intermittent: IntermittentTruth | null
  oscillation: OscillationTruth | null
  /** An output device that conducts for good. */
  isShorted: boolean
}

export interface RailTruth {
  name: string
  /** At nominal mains without load, V with its sign. */
  openV: number
  /** Winding and rectifier with its angle of flow, as one resistance. */
  sourceOhm: number
  reservoirF: number
  /** Infinity where it is open. */
  bleederOhm: number
  /** Siemens of what else hangs on it while its volts are above a third of nominal. */
  loadS: number
  isFuseOpen: boolean
}

export interface SupplyTruth {
  mainsV: number
  mainsHz: number
  rails: RailTruth[]
  /** Core loss, W, and magnetising current, A, at nominal mains. */
  coreW: number
  magnetisingA: number
  /** Heaters and lamps straight from the transformer, W at nominal mains. */
  heaterW: number
  /** Harmonics of the rectifier's current over its power current. */
  harmonicShare: number
  /** Peak of the surge into the core at the worst instant, A, and its decay. */
  surgeA: number
  surgeS: number
  fuseA: number
  /** What melts it, A²s. */
  fuseI2t: number
  /** Across the primary; Infinity when sound. */
  shortOhm: number
}

export interface ThermalNode {
  name: string
  jPerK: number
  to: { node: string | null; kPerW: number }[]
}
/** A sensor shows this share of the rise of its node over the air. */
export interface Place { name: string; node: string; share: number }

export interface ThermalTruth {
  nodes: ThermalNode[]
  places: Place[]
  /** Where copper loss, core loss, and all else is turned to heat. */
  windingNode: string
  coreNode: string
  chassisNode: string
}

export interface UnitTruth {
  name: string
  channels: ChannelTruth[]
  supply: SupplyTruth
  thermal: ThermalTruth
}

/** What was done to the unit that nobody may do, or what came of what was wrong with it. */
export interface Harm {
  readonly kind: 'arced' | 'output device failed' | 'fuse blown' | 'output shorted through an earth'
  readonly atS: number
  /** Channel, where it is of one. */
  readonly channel: number | null
}
