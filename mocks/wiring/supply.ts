/**
 * A bench DC supply as seen from its terminals: it holds its set voltage or its current limit, carries an
 * output capacitor, and cannot sink. Turned off or turned down, only its own bleeder and the load empty that
 * capacitor.
 */
export interface SupplyModel { outputF: number; bleederOhm: number }
export interface SupplySetting { voltageV: number; currentLimitA: number; on: boolean }

export const usualSupply: SupplyModel = { outputF: 1e-6, bleederOhm: 100e3 }

export class Supply {
  readonly model: SupplyModel
  voltageV = 0
  currentLimitA = 0
  on = false
  /** Volts at the output terminals, V. */
  outputV = 0

  constructor(model: Partial<SupplyModel> = {}) { this.model = { ...usualSupply, ...model } }

  set(setting: Partial<SupplySetting>): void {
    if (setting.voltageV !== undefined) this.voltageV = setting.voltageV
    if (setting.currentLimitA !== undefined) this.currentLimitA = setting.currentLimitA
    if (setting.on !== undefined) this.on = setting.on
  }

  get targetV(): number { return this.on ? this.voltageV : 0 }
  /** Pushing its limit into an output that is below the set voltage. */
  get pushes(): boolean { return this.on && this.outputV < this.voltageV }

  /** Output volts `hS` later while nothing is connected. */
  aloneV(hS: number): number {
    if (this.pushes) {
      return Math.min(this.voltageV, this.outputV + hS * this.currentLimitA / this.model.outputF)
    }
    const decayed = this.outputV * Math.exp(-hS / (this.model.bleederOhm * this.model.outputF))
    return Math.max(this.targetV, decayed)
  }
}
