/**
 * A tray behind a scanner on real roles. The contacts of the scanner move while nothing is led to them, and
 * one channel is closed at a time; what it carries stays within what jig and scanner bear, whatever a method
 * asks for. Parts go through the same jig as those that are put in by hand, with what the path adds counted.
 */
import { sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { JigSpec, TraySpec } from '../schema/bench.ts'
import type { ScannerPath } from '../schema/instrument-classes.ts'
import type { Charge, Charged, Jig, JigReach, Pair, Point, Residuals } from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'
import type { OhmMeter, Scanner } from '../schema/roles.ts'
import type { Tray } from '../schema/tray.ts'
import { BenchJig, type JigDeps } from './jig.ts'

export interface TrayDeps extends JigDeps { readonly spec: JigSpec & { readonly tray: TraySpec } }

const root3 = Math.sqrt(3)

export class ScannedTray implements Tray {
  readonly positions: readonly string[]
  readonly path: ScannerPath
  readonly reach: JigReach
  readonly #deps: TrayDeps
  readonly #scanner: Scanner
  readonly #jig: BenchJig
  readonly #through: PathJig
  readonly #unknown: Residuals
  readonly #known = new Map<string, Residuals>()

  /** `deps.residuals`: of a position of which nothing is known. REFUSED without a scanner or its figures. */
  constructor(deps: TrayDeps) {
    const { roles: { scanner, 'ohm-meter': meter }, spec } = deps
    if (!scanner?.path) {
      throw new BenchError('REFUSED', 'no tray can be used', {
        expected: 'a scanner whose profile has a `path`', got: scanner ? `${scanner.name}, without` : 'none',
      })
    }
    this.#deps = deps
    this.#scanner = scanner
    this.path = scanner.path
    this.positions = spec.tray.positions.map(({ name }) => name)
    this.#unknown = deps.residuals
    this.#jig = new BenchJig({ ...deps, spec: narrowed(spec, scanner.path), onwards: spec.tray.join })
    this.#through = new PathJig(this.#jig, scanner.path, meter)
    this.reach = this.#through.reach
  }

  async close(position: string | null): Promise<Jig> {
    const channel = position === null ? null : this.#channelOf(position)
    if (this.#jig.mayHoldV > 0) {
      throw new BenchError('TRIPPED', 'what lies in the tray was not seen to discharge', {
        expected: 'harmless volts before a contact moves', got: `up to ${this.#jig.mayHoldV} V`,
      })
    }
    await this.#jig.clear()
    await this.#scanner.select(channel)
    await sleep(this.#deps.clock, this.#scanner.settleMs, this.#deps.signal)
    this.#jig.residuals = (position === null ? null : this.#known.get(position)) ?? this.#unknown
    return this.#through
  }

  compensate(position: string, residuals: Residuals | null): void {
    if (residuals) this.#known.set(position, residuals)
    else this.#known.delete(position)
  }

  ohmsU(ohm: number, mostOhm: number): number { return this.#through.ohmsU(ohm, mostOhm) }

  /** What lies in the position that was closed last may hold so much, V. */
  get mayHoldV(): number { return this.#jig.mayHoldV }

  /** Every channel is open, and the tray is off the terminals. */
  async leave(): Promise<void> { await this.close(null) }

  #channelOf(position: string): number {
    const found = this.#deps.spec.tray.positions.find(({ name }) => name === position)
    if (found) return found.channel
    throw new BenchError(
      'USAGE', 'a position of the tray', { expected: this.positions.join(', '), got: position })
  }
}

/** Two terminals, no more than the scanner bears, and nothing behind a cover. */
function narrowed(spec: JigSpec, { voltageMaxV, carryA }: ScannerPath): JigSpec {
  const { leads } = spec
  const { 'second-source': _, ...first } = leads ?? {}
  return {
    terminals: 2, voltageMaxV: Math.min(spec.voltageMaxV, voltageMaxV),
    currentMaxA: Math.min(spec.currentMaxA, carryA),
    ...leads ? { leads: first } : {},
    ...spec.thermometer === undefined ? {} : { thermometer: spec.thermometer },
  }
}

/** The jig, seen through one channel. */
class PathJig implements Jig {
  readonly reach: JigReach
  readonly #inner: BenchJig
  readonly #path: ScannerPath
  readonly #meter: OhmMeter | undefined
  /** What the ohm-meter put through the part in its last reading, A. */
  #stimulusA = NaN

  constructor(inner: BenchJig, path: ScannerPath, meter: OhmMeter | undefined) {
    this.#inner = inner
    this.#path = path
    this.#meter = meter
    const { ohms } = inner.reach
    // Two poles: sense leads of four wires would meet at the scanner, and see its contacts as two do.
    this.reach = { ...inner.reach, secondSource: null, ohms: ohms?.wires.includes(2) ? { wires: [2] } : null }
  }

  get residuals(): Jig['residuals'] {
    const { residuals } = this.#inner
    return {
      impedanceU: (reading, pair) => residuals.impedanceU(reading, pair),
      leadsU: pair => residuals.leadsU(pair),
      ohmsU: ohm => this.#ohmsU(ohm, this.#stimulusA), pointU: point => this.#pointU(point),
    }
  }

  impedance(...asked: Parameters<Jig['impedance']>): ReturnType<Jig['impedance']> {
    return this.#inner.impedance(...asked)
  }

  async resistance(pair: Pair, setup: { mostOhm: number | 'any'; wires: 2 | 4 }): Promise<Measured> {
    const read = await this.#inner.resistance(pair, setup)
    const rangeOhm = setup.mostOhm === 'any' ? Math.abs(read.value) : setup.mostOhm
    this.#stimulusA = read.quality === 'good' ? this.#stimulusOf(rangeOhm) : NaN
    return read
  }

  force(...asked: Parameters<Jig['force']>): Promise<Point> { return this.#inner.force(...asked) }

  drive(): never { throw new BenchError('REFUSED', 'no second source reaches the tray') }

  /** Nobody asks of these whether they lie still: what the path leaves open is counted at once. */
  async charge(pair: Pair, charge: Charge): Promise<Charged> {
    const { points, recovered, ...rest } = await this.#inner.charge(pair, charge)
    const counted = (point: Point): Point => {
      const { voltageV, currentA } = this.#pointU(point)
      return {
        ...point, voltage: { ...point.voltage, u: Math.hypot(point.voltage.u, voltageV) },
        current: { ...point.current, u: Math.hypot(point.current.u, currentA) },
      }
    }
    return { ...rest, points: points.map(counted), recovered: recovered && counted(recovered) }
  }

  stillThere(...asked: Parameters<Jig['stillThere']>): Promise<boolean> {
    return this.#inner.stillThere(...asked)
  }

  underCover(): never { throw new BenchError('REFUSED', 'no cover lies over the tray') }
  celsius(): Promise<Measured | null> { return this.#inner.celsius() }
  rest(ms: number): Promise<void> { return this.#inner.rest(ms) }

  ohmsU(ohm: number, mostOhm: number): number { return this.#ohmsU(ohm, this.#stimulusOf(mostOhm)) }

  #stimulusOf(rangeOhm: number): number {
    try {
      return this.#meter!.stimulus(rangeOhm).currentA
    } catch { return NaN }
  }

  /**
   * Thermal volts over the stimulus, once in the reading and once in the wire that was taken off; what flows
   * beside the part. NaN where the profile does not say, or nobody knows the stimulus.
   */
  #ohmsU(ohm: number, stimulusA: number): number {
    const { emfV = NaN, leakageOhm = NaN } = this.#path
    return Math.hypot(Math.SQRT2 * emfV / stimulusA, ohm * ohm / leakageOhm) / root3
  }

  #pointU({ voltage, current }: Point): { voltageV: number; currentA: number } {
    const { emfV = NaN, leakageOhm = NaN, seriesOhm } = this.#path
    return {
      voltageV: Math.hypot(emfV, seriesOhm * current.value) / root3,
      currentA: Math.abs(voltage.value) / leakageOhm / root3,
    }
  }
}
