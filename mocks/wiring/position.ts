/** One position of the fixture: its resistors, relays, faults and whatever sits in it. */
import type { ElectrolyticPart } from '../parts/part.ts'

export interface PositionModel {
  part: ElectrolyticPart | null
  /** What sits there when `part` is null: a test resistor, or the insulation of an empty holder, ohm. */
  dummyOhm: number
  limitOhm: number
  /** Switched in parallel with `limitOhm` for the formal reading, ohm. */
  formalOhm: number
  bleedOhm: number
  /** In line with the bleeder while recovery is watched, ohm. */
  watchOhm: number
  senseOhm: number
  /** The sense resistor's clamp, either way, V. */
  senseClampV: number
  /** Fuse in the negative lead: melts when its current squared times time passes this, A²s. */
  fuseA2s: number
  /** Current the fuse carries for ever, A. */
  fuseA: number
}

export const usualPosition: PositionModel = {
  part: null, dummyOhm: 1e12, limitOhm: 100e3, formalOhm: 1000, bleedOhm: 100e3, watchOhm: 10e6,
  senseOhm: 1000, senseClampV: 10, fuseA2s: 0.05, fuseA: 0.25,
}

export type ContactFault = 'welded' | 'not-closing' | null
export interface PositionFaults {
  relay: ContactFault
  formal: ContactFault
  lead: 'open' | null
  bleeder: 'open' | null
  /** The bleeder has this many times its resistance. */
  bleederFactor: number
  /** The relay that leads to the bridge, behind the released contact of the changeover. */
  bridge: ContactFault
}

/** Where a part's + terminal leads to. */
export type Path = 'bus' | 'bleeder' | 'bridge' | 'nowhere'
/** Extremes of one position's own components. */
export interface PositionAudit {
  limitMaxW: number
  senseMaxV: number
  busClosures: number
  bridgeMaxV: number
}

export class Position {
  readonly model: PositionModel
  readonly faults: PositionFaults = {
    relay: null, formal: null, lead: null, bleeder: null, bleederFactor: 1, bridge: null,
  }
  readonly audit: PositionAudit = { limitMaxW: 0, senseMaxV: 0, busClosures: 0, bridgeMaxV: 0 }
  held = false
  formal = false
  bridged = false
  fuseBlown = false
  path: Path = 'bleeder'
  ohm = 0
  #meltedA2s = 0

  constructor(model: Partial<PositionModel>) {
    this.model = { ...usualPosition, ...model }
    this.ohm = this.model.bleedOhm
  }

  get onBus(): boolean { return this.path === 'bus' }

  /** Resistance in the + lead while on the bus, ohm. */
  busOhm(): number {
    const { limitOhm, formalOhm } = this.model
    const in1 = this.faults.formal === 'welded' || (this.formal && this.faults.formal === null)
    return in1 ? limitOhm * formalOhm / (limitOhm + formalOhm) : limitOhm
  }

  /** Works out the path from commands and faults; `bridgeOhm` is the bridge's own discharge resistor. */
  route(watching: boolean, bridgeOhm: number): void {
    const was = this.path
    this.path = this.#path()
    switch (this.path) {
      case 'bus': this.ohm = this.busOhm(); break
      case 'bleeder':
        this.ohm = this.model.bleedOhm * this.faults.bleederFactor + (watching ? this.model.watchOhm : 0)
        break
      case 'bridge': this.ohm = bridgeOhm; break
      case 'nowhere': this.ohm = Infinity; break
    }
    if (this.path === 'bus' && was !== 'bus') this.audit.busClosures++
  }

  #path(): Path {
    if (this.faults.lead === 'open' || this.fuseBlown) return 'nowhere'
    const { relay } = this.faults
    if (relay === 'welded' || (this.held && relay === null)) return 'bus'
    if (this.faults.bridge === 'welded' || (this.bridged && this.faults.bridge === null)) return 'bridge'
    return this.faults.bleeder === 'open' ? 'nowhere' : 'bleeder'
  }

  /** Current through position and sense resistor at `tS`, with the bus at `busV`; A. */
  currentA(tS: number, busV: number): number {
    const { part, dummyOhm, senseOhm } = this.model
    if (part !== null) return part.currentA(tS)
    return this.onBus ? busV / (this.ohm + dummyOhm + senseOhm) : 0
  }

  senseV(currentA: number): number {
    if (this.fuseBlown) return 0
    const v = currentA * this.model.senseOhm
    return Math.max(-this.model.senseClampV, Math.min(this.model.senseClampV, v))
  }

  /** Counts `hS` at `currentA`; true when the fuse has just melted. */
  bear(currentA: number, hS: number): boolean {
    const audit = this.audit
    const drop = Math.abs(this.senseV(currentA))
    if (drop > audit.senseMaxV) audit.senseMaxV = drop
    if (this.onBus) audit.limitMaxW = Math.max(audit.limitMaxW, currentA * currentA * this.ohm)
    if (Math.abs(currentA) <= this.model.fuseA) { this.#meltedA2s = 0; return false }
    this.#meltedA2s += currentA * currentA * hS
    if (this.fuseBlown || this.#meltedA2s <= this.model.fuseA2s) return false
    this.fuseBlown = true
    return true
  }
}
