/** What instruments are screwed to. The bench maps these on its wiring; tests map them on a resistor. */

export interface SupplyTerminals {
  /** Sets what the supply does to its terminals from now on. */
  apply(setting: { voltageV: number; currentLimitA: number; on: boolean }): void
  outputV(): number
  currentA(): number
  mode(): 'cv' | 'cc'
}

export interface MeterTerminals {
  /** Volts between the input terminals, V. */
  volts(): number
  /**
   * Volts that stand while the resistance function pushes `currentA` through what hangs on the terminals, at
   * most `openV`. With four wires the leads are left out. Without it the terminals are open.
   */
  push?(currentA: number, openV: number, wires: 2 | 4): number
  /** RMS of the alternating part of the volts, V; none without it. */
  rmsVolts?(): number
}

/** What a source-measure unit is screwed to: two terminals of some circuit. */
export interface SourceTerminals {
  /** Does this to the circuit from now on; `limit` of the quantity that is not forced, both signs. */
  operate(setting: { mode: 'voltage' | 'current'; value: number; limit: number; on: boolean }): void
  volts(): number
  /** Out of the high terminal, A. */
  amps(): number
  /** The limit holds it. */
  limited(): boolean
}

export interface BridgeTerminals {
  /** Impedance between the terminals at `hertz`, ohm; Infinity when open. */
  impedance(hertz: number): { re: number; im: number }
}

export interface ScannerTerminals {
  /** The channels that are really closed now. */
  closed(channels: readonly number[]): void
}

export interface RelayTerminals {
  /** One contact changed over. */
  contact(relay: number, held: boolean): void
  /** Input contact 1 to 8. */
  input(number: number): boolean
}

export interface ContactorTerminals { contact(closed: boolean): void }

export interface TemperatureTerminals { celsius(channel: number): number }

/** Cover contact and presence key: read by the interlock reader, and in the contactor's coil circuit. */
export class BenchSwitches {
  #coverClosed = true
  #present = false
  #listeners: (() => void)[] = []

  get coverClosed(): boolean { return this.#coverClosed }
  set coverClosed(closed: boolean) {
    if (closed === this.#coverClosed) return
    this.#coverClosed = closed
    for (const listener of this.#listeners) listener()
  }
  get present(): boolean { return this.#present }
  set present(present: boolean) { this.#present = present }
  onCover(listener: () => void): void { this.#listeners.push(listener) }
}
