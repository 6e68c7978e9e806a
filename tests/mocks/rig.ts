/** One simulated instrument on a virtual clock, spoken to in text. */
import { VirtualClock } from '../../src/base/clock.ts'
import type { Instrument, InstrumentSetup } from '../../mocks/instruments/instrument.ts'

export interface Rig<T> {
  clock: VirtualClock
  instrument: T
  /** Sends one line, lets `waitMs` pass, and returns what came back in that time without line ends at the sides. */
  ask(line: string, waitMs?: number): Promise<string>
}

export function rig<T extends Instrument>(make: (setup: InstrumentSetup) => T, over: Partial<InstrumentSetup> = {}): Rig<T> {
  const clock = new VirtualClock()
  const instrument = make({ name: 'dut', clock, seed: 1, ...over })
  const ask = async (line: string, waitMs = 700): Promise<string> => {
    let answer = ''
    instrument.receive(Buffer.from(`${line}\n`), bytes => { answer += Buffer.from(bytes).toString('latin1') })
    await clock.advance(waitMs)
    return answer.trim()
  }
  return { clock, instrument, ask }
}

/** A supply's terminals with a resistor across them. */
export class ResistorLoad {
  ohm = 100e3
  setting = { voltageV: 0, currentLimitA: 0, on: false }
  apply(setting: { voltageV: number; currentLimitA: number; on: boolean }): void { this.setting = setting }
  outputV(): number {
    const { voltageV, currentLimitA, on } = this.setting
    return on ? Math.min(voltageV, currentLimitA * this.ohm) : 0
  }
  currentA(): number { return this.outputV() / this.ohm }
  mode(): 'cv' | 'cc' { return this.setting.currentLimitA * this.ohm < this.setting.voltageV ? 'cc' : 'cv' }
}
