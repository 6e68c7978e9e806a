/**
 * The whole fixture as physics: supply, diode, cutoff, bus, and positions with their parts. Controls take
 * effect at the present instant; reads are the noise-free truth at it and never change what follows. While
 * the supply holds its voltage the bus is pinned and parts go their own ways, lazily; otherwise the bus takes
 * joint segments.
 */
import { assert } from '../../src/base/assert.ts'
import type { Complex } from '../parts/impedance.ts'
import type { ElectrolyticPart, PartAudit } from '../parts/part.ts'
import { Bus, pinnedV } from './bus.ts'
import type { BusModel } from './bus.ts'
import { Position } from './position.ts'
import type { ContactFault, PositionAudit, PositionFaults, PositionModel } from './position.ts'
import { Supply } from './supply.ts'
import type { SupplyModel, SupplySetting } from './supply.ts'

export interface WiringModel {
  positions: Partial<PositionModel>[]
  supply?: Partial<SupplyModel>
  bus?: Partial<BusModel>
  /** What the bridge puts across a part that is connected to it, ohm. */
  bridgeOhm?: number
  ambientC?: number
}

/** One position for invariants: its part's extremes (null when it holds none) and its own. */
export interface PositionRecord extends PositionAudit { part: (PartAudit & { chargeInC: number }) | null }
export interface WiringAudit { busMaxV: number; supplyMaxV: number; positions: PositionRecord[] }

/**
 * While pinned, the supply's load is looked at this often when near its limit, ten times less when far from
 * it, s.
 */
const lookUsualS = 0.1
/** No two looks are closer than this, s. */
const lookMinS = 1e-6
const deadV = 1e-6

export class Wiring {
  readonly #supply: Supply
  readonly #bus: Bus
  readonly #positions: Position[]
  readonly #bridgeOhm: number
  #nowS = 0
  #mode: 'dead' | 'pinned' | 'floating' = 'dead'
  #cutoffCommand = false
  #cutoffFault: ContactFault = null
  #watchCommand = false
  #watchFault: ContactFault = null
  #bridgeAt: number | null = null
  #ambientC: number
  #lookS = 0
  #lookedS = 0
  #busMaxV = 0
  #supplyMaxV = 0

  constructor(model: WiringModel) {
    this.#supply = new Supply(model.supply)
    this.#bus = new Bus(model.bus)
    this.#bridgeOhm = model.bridgeOhm ?? 100e3
    this.#ambientC = model.ambientC ?? 20
    this.#positions = model.positions.map(p => new Position(p))
    for (const p of this.#positions) {
      p.model.part?.ambient(0, this.#ambientC)
      this.#hang(p)
    }
    this.#bus.attach(this.#positions)
  }

  get nowS(): number { return this.#nowS }
  get positionCount(): number { return this.#positions.length }

  // ——— time ———

  /** Moves the whole bench to `tS`, s since the start. Going back is an error; standing still is not. */
  advanceTo(tS: number): void {
    assert(tS >= this.#nowS, 'the wiring cannot go back in time')
    while (this.#nowS < tS) {
      if (this.#mode === 'floating') this.#float(tS)
      else if (this.#mode === 'pinned') this.#stride(tS)
      else this.#rest(tS)
    }
  }

  // ——— controls ———

  setSupply(setting: Partial<SupplySetting>): void { this.#change(() => this.#supply.set(setting)) }
  cutoff(closed: boolean): void { this.#change(() => { this.#cutoffCommand = closed }) }
  position(index: number, to: 'bus' | 'bleeder'): void {
    this.#change(() => { this.#at(index).held = to === 'bus' })
  }
  formal(index: number, on: boolean): void { this.#change(() => { this.#at(index).formal = on }) }
  /** Held, every bleeder has its watch resistor in line. */
  bleedWatch(on: boolean): void { this.#change(() => { this.#watchCommand = on }) }
  bridgeSelect(index: number | null): void {
    if (index !== null) this.#at(index)
    this.#change(() => { this.#bridgeAt = index })
  }

  /** Breaks (or mends) something at one position. */
  fault(index: number, faults: Partial<PositionFaults>): void {
    this.#change(() => { Object.assign(this.#at(index).faults, faults) })
  }
  cutoffFault(fault: ContactFault): void { this.#change(() => { this.#cutoffFault = fault }) }
  busBleederFault(fault: 'open' | null): void {
    this.#change(() => { this.#bus.bleederOpen = fault === 'open' })
  }
  /**
   * `welded`: the watch resistors stay bridged; `not-closing` reads as the relay never letting go of them.
   */
  watchFault(fault: ContactFault): void { this.#change(() => { this.#watchFault = fault }) }

  /** Puts a part, or a plain resistor of `dummyOhm`, into a position. */
  insert(index: number, part: ElectrolyticPart | null, dummyOhm = 1e12): void {
    this.#change(() => {
      const p = this.#at(index)
      p.model.part?.connect(this.#nowS, Infinity, 0, Infinity)
      p.model.part = part
      p.model.dummyOhm = dummyOhm
      part?.ambient(this.#nowS, this.#ambientC)
      p.ohm = NaN // whatever its path, the newcomer has to be connected
    })
  }

  ambient(ambientC: number): void {
    this.#change(() => {
      this.#ambientC = ambientC
      for (const p of this.#positions) p.model.part?.ambient(this.#nowS, ambientC)
    })
  }

  // ——— reads ———

  busV(): number { return this.#bus.voltsAt(this.#nowS) }
  supplyOutputV(): number {
    return this.#mode === 'floating' ? this.#bus.supplyVoltsAt(this.#nowS) : this.#supply.outputV
  }
  /** What leaves the supply's terminals for the bus, A. */
  supplyCurrentA(): number {
    if (!this.#cutoffClosed() || this.#mode === 'dead') return 0
    if (this.#mode === 'floating' && this.#bus.blocked) return 0
    this.#ensureLoads(this.#nowS)
    return Math.max(0, this.#bus.drawAt(this.#nowS))
  }
  supplyMode(): 'cv' | 'cc' {
    return this.#supply.on && this.supplyOutputV() < this.#supply.voltageV - 1e-3 ? 'cc' : 'cv'
  }
  /** Volts across the sense resistor, negative while the part discharges. */
  senseV(index: number): number {
    const p = this.#ready(index)
    return p.senseV(p.currentA(this.#nowS, this.busV()))
  }
  /** Truth between the part's terminals. */
  partV(index: number): number {
    const p = this.#ready(index)
    if (p.model.part !== null) return p.model.part.terminalV(this.#nowS)
    return p.currentA(this.#nowS, this.busV()) * p.model.dummyOhm
  }
  caseTempC(index: number): number {
    return this.#ready(index).model.part?.caseC(this.#nowS) ?? this.#ambientC
  }
  energyJ(index: number): number { return this.#ready(index).model.part?.energyJ(this.#nowS) ?? 0 }
  dissipationW(index: number): number { return this.#ready(index).model.part?.dissipationW(this.#nowS) ?? 0 }
  /** Impedance that the bridge sees at a position; open unless its changeover really leads there. */
  bridge(index: number, hertz: number): Complex {
    const p = this.#ready(index)
    if (p.path !== 'bridge') return { re: Infinity, im: -Infinity }
    return p.model.part?.impedance(this.#nowS, hertz) ?? { re: p.model.dummyOhm, im: 0 }
  }
  /**
   * What the bridge's own line shows: every position that leads there side by side, most often one or none.
   */
  bridgeLine(hertz: number): Complex {
    const seen = this.#positions.flatMap((p, index) => p.path === 'bridge' ? [this.bridge(index, hertz)] : [])
    if (seen.length === 0) return { re: Infinity, im: -Infinity }
    if (seen.length === 1) return seen[0]!
    const sum = { re: 0, im: 0 }
    for (const { re, im } of seen) {
      const size = re * re + im * im
      sum.re += re / size
      sum.im -= im / size
    }
    const size = sum.re * sum.re + sum.im * sum.im
    return { re: sum.re / size, im: -sum.im / size }
  }
  /** Where the position's contacts really lead: faults included. */
  path(index: number): string { return this.#at(index).path }
  part(index: number): ElectrolyticPart | null { return this.#at(index).model.part }
  fuseBlown(index: number): boolean { return this.#at(index).fuseBlown }

  audit(): WiringAudit {
    return {
      busMaxV: this.#busMaxV, supplyMaxV: this.#supplyMaxV,
      positions: this.#positions.map((p, i) => {
        const part = this.#ready(i).model.part
        return {
          ...p.audit,
          part: part && { ...part.auditAt(this.#nowS), chargeInC: part.chargeInC(this.#nowS) },
        }
      }),
    }
  }

  // ——— inside ———

  #at(index: number): Position {
    const p = this.#positions[index]
    assert(p !== undefined, `there is no position ${index}`)
    return p
  }

  #ready(index: number): Position {
    const p = this.#at(index)
    p.model.part?.ensure(this.#nowS)
    return p
  }

  #ensureLoads(tS: number): void { for (const p of this.#bus.loads) p.model.part!.ensure(tS) }
  #cutoffClosed(): boolean {
    return this.#cutoffFault === 'welded' || (this.#cutoffCommand && this.#cutoffFault === null)
  }
  #watching(): boolean {
    return this.#watchFault === 'not-closing' || (this.#watchCommand && this.#watchFault === null)
  }

  /** Brings everything to this instant, lets `act` change something, and finds the new state. */
  #change(act: () => void): void {
    const supplyV = this.supplyOutputV()
    const busV = this.busV()
    if (this.#mode === 'floating') this.#stopLoads()
    this.#supply.outputV = supplyV
    this.#bus.stand(this.#nowS, busV, supplyV)
    act()
    this.#routeAll()
    this.#bus.attach(this.#positions)
    this.#settle()
  }

  #stopLoads(): void { for (const p of this.#bus.loads) p.model.part!.stopAt(this.#nowS) }

  #routeAll(): void {
    const watching = this.#watching()
    this.#positions.forEach((p, index) => {
      p.bridged = this.#bridgeAt === index
      const path = p.path
      const ohm = p.ohm
      p.route(watching, this.#bridgeOhm)
      if (p.path !== path || p.ohm !== ohm) this.#hang(p)
    })
  }

  /** Connects a position's part to wherever its contacts now lead. */
  #hang(p: Position): void {
    const { part, senseOhm, senseClampV } = p.model
    if (part === null) return
    part.connect(this.#nowS, p.ohm, senseOhm, senseClampV)
    part.drive(this.#nowS, p.onBus ? this.busV() : 0)
    if (p.path !== 'bridge') return
    p.audit.bridgeMaxV = Math.max(p.audit.bridgeMaxV, Math.abs(part.terminalV(this.#nowS)))
  }

  /** Decides how the bus goes on from this instant, everything standing. */
  #settle(): void {
    const now = this.#nowS
    const { outputV, on, voltageV, currentLimitA, targetV } = this.#supply
    const { diodeV } = this.#bus.model
    const closed = this.#cutoffClosed()
    const busV = this.busV()
    const feedsBus = closed && Math.max(outputV, targetV) > diodeV
    if (this.#bus.loads.length === 0 && Math.abs(busV) < deadV && !feedsBus) {
      this.#mode = 'dead'
      this.#bus.stand(now, 0, outputV)
      return
    }
    const pinV = voltageV - diodeV
    if (closed && on && pinV > 0 && Math.abs(outputV - voltageV) < pinnedV && busV <= pinV + pinnedV) {
      this.#supply.outputV = voltageV
      this.#pinTo(pinV)
      const drawA = this.#bus.drawAt(now)
      if (drawA >= 0 && drawA <= currentLimitA) {
        this.#mode = 'pinned'
        this.#lookedS = now
        this.#lookS = now
        return
      }
    }
    this.#stopLoads()
    this.#mode = 'floating'
    this.#bus.blocked = !closed || outputV - diodeV < busV
  }

  #pinTo(pinV: number): void {
    const moved = this.#mode !== 'pinned' || this.busV() !== pinV
    this.#bus.stand(this.#nowS, pinV, this.#supply.outputV)
    this.#busMaxV = Math.max(this.#busMaxV, pinV)
    this.#supplyMaxV = Math.max(this.#supplyMaxV, this.#supply.outputV)
    for (const p of this.#bus.loads) {
      if (moved) p.model.part!.drive(this.#nowS, pinV)
      else p.model.part!.ensure(this.#nowS)
    }
  }

  /** Dead bus: nothing on it, nothing feeds it; the supply is alone. */
  #rest(tS: number): void {
    this.#supply.outputV = this.#supply.aloneV(tS - this.#nowS)
    this.#supplyMaxV = Math.max(this.#supplyMaxV, this.#supply.outputV)
    this.#nowS = tS
    this.#bus.stand(tS, 0, this.#supply.outputV)
  }

  /** Pinned time costs nothing until the next look at the load is due. */
  #stride(tS: number): void {
    this.#nowS = Math.min(tS, this.#lookS)
    if (this.#nowS >= this.#lookS) this.#look()
  }

  /** Checks the load against the supply, counts what the positions bear, and says when to look again. */
  #look(): void {
    const now = this.#nowS
    const h = now - this.#lookedS
    let drawA = this.#bus.ohmicS * this.busV()
    let calmS = Infinity
    let melted = false
    for (const p of this.#bus.loads) {
      const part = p.model.part!
      part.ensure(now)
      const a = part.currentA(now)
      drawA += a
      if (p.bear(a, h)) melted = true
      if (part.calmUntilS === Infinity) continue
      part.ensure(now + lookMinS)
      calmS = Math.min(calmS, part.calmUntilS)
    }
    const limitA = this.#supply.currentLimitA
    this.#lookedS = now
    const usualS = (drawA < 0.8 * limitA ? 10 : 1) * lookUsualS
    this.#lookS = Math.max(now + lookMinS, Math.min(calmS, now + usualS))
    if (melted) this.#change(() => {})
    else if (drawA > limitA || drawA < 0) this.#unpin()
  }

  #unpin(): void {
    this.#stopLoads()
    this.#bus.stand(this.#nowS, this.busV(), this.#supply.outputV)
    this.#mode = 'floating'
    this.#bus.blocked = false
  }

  #float(tS: number): void {
    const bus = this.#bus
    if (this.#nowS >= bus.untilS) {
      this.#supply.outputV = bus.supplyVoltsAt(this.#nowS)
      bus.segment(this.#supply, this.#cutoffClosed())
    }
    this.#nowS = Math.min(tS, bus.untilS)
    if (this.#nowS < bus.untilS) return
    this.#endSegment()
  }

  #endSegment(): void {
    const bus = this.#bus
    const h = bus.untilS - bus.fromS
    this.#supply.outputV = bus.supplyVoltsAt(this.#nowS)
    this.#busMaxV = Math.max(this.#busMaxV, bus.untilV)
    this.#supplyMaxV = Math.max(this.#supplyMaxV, this.#supply.outputV)
    this.#stopLoads()
    let melted = false
    for (const p of bus.loads) if (p.bear(p.model.part!.currentA(this.#nowS), h)) melted = true
    if (melted) this.#change(() => {})
    else if (this.#mayEnd()) this.#settle()
  }

  /** Cheap test of whether floating may be over. */
  #mayEnd(): boolean {
    const { outputV, on, voltageV } = this.#supply
    if (on && this.#cutoffClosed() && Math.abs(outputV - voltageV) < pinnedV) return true
    return this.#bus.loads.length === 0 && Math.abs(this.busV()) < deadV
  }
}
