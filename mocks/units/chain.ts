/**
 * From the source to the output terminals of one channel, at fixed rails, idle current and offset:
 * small signals by transfer functions, any signal in its steady state on a torus.
 */
import { bent, limited, untouchedShare } from './curves.ts'
import type { Lattice } from './lattice.ts'
import { Phasor } from './phasor.ts'
import { Torus } from './torus.ts'
import type { ChannelTruth, Equalisation } from './truth.ts'

/** What a channel stands at while a record is made. */
export interface Operating {
  /** Of what drives the input, Ω; Infinity where nothing does. */
  readonly sourceOhm: number
  /** Infinity where the output is open. */
  readonly loadOhm: number
  /** What the devices can swing up and down to, V, 0 or more. */
  readonly plusV: number
  readonly minusV: number
  readonly idleA: number
  /** DC before the rails limit it. */
  readonly offsetV: number
}

/** Leads, meters and leakage load an open output by this, Ω. */
export const openOhm = 1e6
const kilohertz = 1000
const tau = 2 * Math.PI
/** Grids double until what folds over is below this share, or at this many points. */
const grids = {
  one: { first: 256, most: 16_384, edge: 1e-8 }, two: { first: 64, most: 512, edge: 1e-7 },
}

export class Chain {
  readonly truth: ChannelTruth
  readonly at: Operating
  readonly loadOhm: number
  /** Largest and smallest EMF that the devices give. */
  readonly topV: number
  readonly bottomV: number
  readonly #errorSlope: number

  constructor(truth: ChannelTruth, at: Operating) {
    this.truth = truth
    this.at = at
    this.loadOhm = Math.min(at.loadOhm, openOhm)
    const { ratio, kneeV, saturationV, saturationOhm } = truth.power
    const reach = (v: number): number =>
      Math.max(0, v - saturationV) * ratio / (1 + saturationOhm / this.loadOhm)
    this.topV = reach(at.plusV)
    this.bottomV = reach(at.minusV)
    this.#errorSlope = ratio * ratio * kneeV / (2 * at.idleA * this.loadOhm)
  }

  /** From the EMF of the source to the EMF asked of the power stage; of stages `from` to `to` alone. */
  early(hz: number, through: Phasor, from = 0, to = this.truth.stages.length): Phasor {
    if (from === 0) this.#enter(hz, through)
    for (let i = from; i < to; i++) {
      const { gain, lowHz, highHz } = this.truth.stages[i]!
      through.scale(gain).highPass(hz, lowHz).lowPass(hz, highHz)
    }
    return through
  }

  #enter(hz: number, through: Phasor): void {
    const { inputOhm, inputF, equalisation } = this.truth
    const { sourceOhm } = this.at
    if (sourceOhm === Infinity) { through.scale(0); return }
    const total = inputOhm + sourceOhm
    through.scale(inputOhm / total)
    if (inputF !== Infinity) through.highPass(hz, 1 / (tau * total * inputF))
    if (equalisation) equalise(equalisation, hz, through)
  }

  /** What feedback leaves of an error of the power stage. */
  residue(hz: number, through: Phasor): Phasor {
    const { loopGain, loopHz } = this.truth.power
    return through.times(1, hz / loopHz).over(loopGain, hz / loopHz)
  }

  /** From the EMF of the power stage to the terminals. */
  late(hz: number, through: Phasor): Phasor {
    const { sourceOhm, capacitorF, capacitorOhm, transformer } = this.truth.output
    const w = tau * hz
    const load = this.loadOhm
    if (hz === 0) return through.scale(capacitorF !== null || transformer ? 0 : load / (load + sourceOhm))
    const coil = transformer ? w * transformer.magnetisingH : Infinity
    // Load beside the magnetising inductance: R·jX/(R + jX) = (R·X² + j·R²·X)/(R² + X²).
    const share = coil === Infinity ? 1 : coil * coil / (load * load + coil * coil)
    const zr = load * share
    const zi = coil === Infinity ? 0 : load * load * coil / (load * load + coil * coil)
    const lineR = sourceOhm + (capacitorF === null ? 0 : capacitorOhm)
    const lineX = (capacitorF === null ? 0 : -1 / (w * capacitorF)) + w * (transformer?.leakageH ?? 0)
    return through.times(zr, zi).over(zr + lineR, zi + lineX)
  }

  /** From the EMF of the source to the terminals, for signals so small that nothing bends. */
  small(hz: number, through = new Phasor()): Phasor {
    return this.#smallLate(hz, this.early(hz, through))
  }

  /** The same from the input itself, whatever drives it: for noise and hum that arise there. */
  node(hz: number, through = new Phasor()): Phasor {
    const { inputOhm, inputF, equalisation, stages } = this.truth
    if (inputF !== Infinity) through.highPass(hz, 1 / (tau * inputOhm * inputF))
    if (equalisation) equalise(equalisation, hz, through)
    for (const { gain, lowHz, highHz } of stages) through.scale(gain).highPass(hz, lowHz).lowPass(hz, highHz)
    return this.#smallLate(hz, through)
  }

  #smallLate(hz: number, through: Phasor): Phasor {
    this.late(hz, through)
    const error = this.residue(hz, new Phasor()).scale(this.#errorSlope)
    return through.times(1 - error.re, -error.im)
  }

  /** The ideal EMF of a drive, and the volts at the terminals that come of it. */
  wave(lattice: Lattice): { asked: Torus; out: Torus } {
    const { first, most, edge } = lattice.basisHz.length > 1 ? grids.two : grids.one
    for (let points = lattice.basisHz.length === 0 ? 2 : first; ; points *= 2) {
      const { asked, emf } = this.emfOf(lattice, points)
      if (points >= most || emf.edge < edge) return { asked, out: this.#delivered(emf) }
    }
  }

  /** The same on a grid of so many points a base, without a look at what folds: for power and heat. */
  coarse(lattice: Lattice, points: number): { asked: Torus; out: Torus } {
    const { asked, emf } = this.emfOf(lattice, points)
    return { asked, out: this.#delivered(emf) }
  }

  emfOf(lattice: Lattice, points: number): { asked: Torus; emf: Torus } {
    const wave = Torus.of(lattice, lattice.basisHz.length > 1 ? [points, points] : [points, 1])
    this.#amplify(wave)
    const asked = wave.copy()
    const { power } = this.truth
    wave.minus(asked.copy().curve(this.#errors()).pass((hz, z) => this.residue(hz, z)))
    slewLimited(wave, power.slewVPerS)
    this.#clip(wave)
    return { asked, emf: wave }
  }

  #clip(wave: Torus): void {
    const { topV, bottomV, at: { offsetV } } = this
    const { hardness } = this.truth.power
    if (wave.bound() + Math.abs(offsetV) < untouchedShare(hardness) * Math.min(topV, bottomV)) {
      wave.lift(offsetV)
      return
    }
    wave.curve(u => {
      const v = u + offsetV
      return v >= 0 ? limited(v, topV, hardness) : limited(v, bottomV, hardness)
    })
  }

  #amplify(wave: Torus): void {
    let from = 0
    this.truth.stages.forEach(({ square, cube }, i) => {
      if (square === 0 && cube === 0) return
      const first = from
      wave.pass((hz, z) => this.early(hz, z, first, i + 1)).curve(bent(square, cube))
      from = i + 1
    })
    wave.pass((hz, z) => this.early(hz, z, from))
  }

  /** Errors of the power stage before feedback: bends, and the volts that its devices take to conduct. */
  #errors(): (u: number) => number {
    const { square, cube, kneeV, ratio } = this.truth.power
    const bend = bent(square, cube)
    const perVolt = ratio / (2 * this.at.idleA * this.loadOhm)
    const knee = ratio * kneeV
    return u => bend(u) - u + knee * Math.asinh(u * perVolt)
  }

  #delivered(wave: Torus): Torus {
    const { transformer } = this.truth.output
    if (transformer) {
      const { fluxVs, hardness } = transformer
      if (wave.bound(hz => hz === 0 ? 0 : 1 / (tau * hz)) > untouchedShare(hardness) * fluxVs) {
        const flux = wave.copy().pass(integrated)
        wave.become(flux.curve(x => limited(x, fluxVs, hardness)).pass(differentiated))
      }
    }
    return wave.pass((hz, z) => this.late(hz, z))
  }
}

const integrated = (hz: number, z: Phasor): Phasor => hz === 0 ? z.scale(0) : z.over(0, tau * hz)
const differentiated = (hz: number, z: Phasor): Phasor => z.times(0, tau * hz)

const slewHardness = 4

/** The slope that the stage is asked for ends at what its current can charge. */
function slewLimited(wave: Torus, slewVPerS: number): void {
  if (slewVPerS === Infinity) return
  if (wave.bound(hz => tau * hz) < untouchedShare(slewHardness) * slewVPerS) return
  const { mean } = wave
  const slope = wave.copy().pass(differentiated).curve(x => limited(x, slewVPerS, slewHardness))
  wave.become(slope.pass(integrated).lift(mean))
}

export function largest(values: Float64Array): number {
  let most = 0
  for (const value of values) most = Math.max(most, Math.abs(value))
  return most
}

function equalise({ slowS, middleS, fastS, rumbleS }: Equalisation, hz: number, through: Phasor): void {
  const plain = (f: number, z: Phasor): Phasor => {
    const w = tau * f
    z.times(1, w * middleS).over(1, w * slowS).over(1, w * fastS)
    return rumbleS === null ? z : z.times(0, w * rumbleS).over(1, w * rumbleS)
  }
  plain(hz, through).scale(1 / plain(kilohertz, new Phasor()).size)
}
