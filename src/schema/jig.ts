/**
 * The jig as a method sees it: terminals that hold one part, and what may be put on them. Every verb ends
 * with the terminals unpowered, keeps under the jig's own limits whatever is asked, and rejects with a
 * BenchError. SI units.
 */
import type { Measured } from './reading.ts'

export type Terminal = 1 | 2 | 3 | 4
/** Two terminals in order: current is counted into `high` and out of `low`. */
export interface Pair {
  readonly high: Terminal
  readonly low: Terminal
}
export const swapped = ({ high, low }: Pair): Pair => ({ high: low, low: high })

/** A series impedance: what the jig is known to add is taken off; `u` is that of the bridge alone. */
export interface ImpedanceReading {
  readonly rOhm: Measured
  readonly xOhm: Measured
  readonly frequencyHz: number
  readonly levelV: number
}

/** What leads and terminals add by themselves, taken off as far as it is known, and what that leaves open. */
export interface Residuals {
  impedance(reading: ImpedanceReading, pair: Pair): ImpedanceReading
  resistance(reading: Measured, pair: Pair, wires: 2 | 4): Measured
  /** Standard uncertainties beside that of the bridge, Ω, where the corrected reading is this. */
  impedanceU(reading: ImpedanceReading, pair: Pair): { readonly rOhm: number; readonly xOhm: number }
  /** Of two wires, beside that of the meter, Ω; four see no leads. */
  leadsU(pair: Pair): number
  /** What a scanner on the way leaves open of ohms that were read just now; left out where there is none. */
  ohmsU?(ohm: number): number
  /** The same of a point. */
  pointU?(point: Point): { readonly voltageV: number; readonly currentA: number }
}

/** One point of a characteristic. */
export interface Point {
  readonly voltage: Measured
  readonly current: Measured
  /** The limit and not the set value decided. */
  readonly limited: boolean
}

/** Whoever closes the cover and presses the button. */
export interface HandsAtCover {
  say(text: string): void
  /** Nobody is to press any more: a person has ended the session. */
  isOver?(): boolean
}

/** A part that is to be put under volts behind the cover. */
export interface ToCover {
  readonly pair: Pair
  readonly volts: number
  /** As the bridge read it with the cover open. */
  readonly seen: ImpedanceReading
}

/** What a source is to force between two terminals. */
export type Force =
  | { readonly voltageV: number; readonly limitA: number }
  | { readonly currentA: number; readonly limitV: number }

/** What a part that holds charge is put through. */
export interface Charge {
  /** Against the low terminal, of either sign. */
  readonly voltageV: number
  /** Charges, and empties it again. */
  readonly limitA: number
  /** Given up where the volts are not up by then. */
  readonly upWithinMs: number
  /** When what flows is read, after the volts came up, in order; with the last one the volts go. */
  readonly readAtMs: readonly number[]
  /** Then shorted for so long, left open for so long, and its volts read. */
  readonly recovery?: { readonly shortMs: number; readonly openMs: number }
}

export interface Charged {
  /** The volts came up; where they did not, `points` holds what was read when it was given up. */
  readonly isUp: boolean
  readonly points: readonly Point[]
  readonly recovered: Point | null
  /** What it still stood at, open, before the terminals were given back, V: shown to be harmless. */
  readonly leftV: number
}

export interface JigReach {
  readonly terminals: 2 | 3 | 4
  readonly bridge: {
    readonly frequenciesHz: readonly number[] | { readonly minHz: number; readonly maxHz: number }
    /** Left out: it is not known. */
    readonly levelsV?: { readonly minV: number; readonly maxV: number }
  } | null
  /** A wire that relays join with any two terminals; left out where there is none. */
  readonly joint?: boolean
  /** `wires` that resistance can be read with. */
  readonly ohms: { readonly wires: readonly (2 | 4)[] } | null
  readonly source: SourceReach | null
  readonly secondSource: SourceReach | null
}
/** Most volts and amperes, the jig's limits taken into account. */
export interface SourceReach {
  /** With the jig open to hands. */
  readonly voltageMaxV: number
  /** Behind the locked cover; left out where the jig has none, or nothing more is given there. */
  readonly coveredMaxV?: number
  readonly currentMaxA: number
}

export interface Jig {
  readonly reach: JigReach
  readonly residuals: Pick<Residuals, 'impedanceU' | 'leadsU' | 'ohmsU' | 'pointU'>
  /** `joined`: two terminals that a wire joins meanwhile; REFUSED where the jig has none. */
  impedance(
    pair: Pair, setup: { frequencyHz: number; levelV: number }, joined?: Pair,
  ): Promise<ImpedanceReading>
  /** Temperature beside the jig, °C; null where no sensor is. */
  celsius(): Promise<Measured | null>
  /**
   * `mostOhm`: what is expected at most; a smaller part is read on the same range, and a larger one is
   * `over-range`. With `any` the meter finds its range.
   */
  resistance(pair: Pair, setup: { mostOhm: number | 'any'; wires: 2 | 4 }): Promise<Measured>
  /** Forces one thing between two terminals for `holdMs`, reads both quantities at its end, and lets go. */
  force(pair: Pair, force: Force, holdMs?: number): Promise<Point>
  /** The same while a second source works from `control` against the same low terminal. */
  drive(
    pair: Pair,
    force: Force,
    control: Terminal,
    controlForce: Force,
    holdMs?: number,
  ): Promise<{
    main: Point
    control: Point
  }>
  /**
   * Charges a part under a current limit, reads what it takes, and empties it through the source. Rejects
   * TRIPPED where it cannot be shown to stand at harmless volts; nothing but a source is led to it then.
   * A zero that was read while it lay elsewhere shows nothing of it: it counts as emptied once `stillThere`.
   */
  charge(pair: Pair, charge: Charge): Promise<Charged>
  /** Whether the bridge sees what it saw before the part was charged: then that is on record as emptied. */
  stillThere(pair: Pair, seen: ImpedanceReading): Promise<boolean>
  /**
   * Asks for the cover and a press of the button, locks, lets `work` use up to the part's volts, and frees
   * the cover once the part was shown to be there yet, and empty. Rejects REFUSED, with nothing energised,
   * where nobody pressed or another part lies there; TRIPPED, with the cover left locked, where what lies
   * there was not shown to be harmless.
   */
  underCover<T>(what: ToCover, hands: HandsAtCover, work: () => Promise<T>): Promise<T>
  /** Waits, or rejects when the session ends. */
  rest(ms: number): Promise<void>
}

/** Finding out what a part is stays below this: reverse base-emitter breakdown spoils gain. */
export const probing = { voltageV: 4, currentA: 1e-3 } as const
