/**
 * Simulated DC supplies: two dialects of docs/instrument-dialects.md over one core. The 60 V class speaks the
 * second.
 */
import type { Command } from '../scpi-device/command-tree.ts'
import { fixed, scientific } from '../scpi-device/format.ts'
import type { Parameter } from '../scpi-device/parameters.ts'
import { refuse } from '../scpi-device/status.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { supplyRatings } from './specifications.ts'
import { SupplyCore } from './supply-core.ts'
import type { SupplyTerminals } from './terminals.ts'

export type SupplyProfile = keyof typeof supplyRatings

export class DcSupply extends SimInstrument {
  readonly core: SupplyCore

  constructor(profile: SupplyProfile, setup: InstrumentSetup, terminals: SupplyTerminals) {
    const late: { core?: SupplyCore } = {}
    const core = (): SupplyCore => late.core!
    super(profile, setup, (profile === 'dc-supply-600v-a' ? dialectA : dialectB)(core))
    this.core = new SupplyCore(
      this.clock, supplyRatings[profile], terminals, this.random, this.device.faults, setup.errors)
    late.core = this.core
    this.core.overVoltageOn = this.core.overCurrentOn = profile !== 'dc-supply-600v-a'
    this.core.onOutput = on => this.effect('output', on ? 1 : 0)
    this.device.onFault = () => this.core.drive()
  }
}

type Core = () => SupplyCore

const number: readonly Parameter[] = [{ kind: 'number' }]
const flag = (on: boolean): string => on ? '1' : '0'

function dialectA(core: Core): OwnOptions {
  return {
    terminator: '\r\n', errorQueue: 'plus', remoteFirst: true, processMs: 4, inputBytesMax: 100,
    onReset: () => { core().reset(); core().overVoltageOn = core().overCurrentOn = false },
    onLine: () => core().heard(),
    commands: [...settingsA(core), ...protectionA(core), ...watchdogA(core)],
  }
}

const volts: readonly Parameter[] = [{ kind: 'number', unit: 'V' }]
const amperes: readonly Parameter[] = [{ kind: 'number', unit: 'A' }]
const onOff: readonly Parameter[] = [{ kind: 'boolean', forms: 'word' }]

function settingsA(core: Core): Command[] {
  return [
    {
      pattern: '[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]', parameters: volts,
      run: ([v]) => core().setVoltage(Number(v)),
    },
    {
      pattern: '[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]?',
      run: () => scientific(core().voltageBackV, 5),
    },
    {
      pattern: '[SOURce:]CURRent[:LEVel][:IMMediate][:AMPLitude]', parameters: amperes,
      run: ([a]) => core().setCurrent(Number(a)),
    },
    {
      pattern: '[SOURce:]CURRent[:LEVel][:IMMediate][:AMPLitude]?',
      run: () => scientific(core().currentLimitA, 5),
    },
    { pattern: 'OUTPut[:STATe]', parameters: onOff, run: ([on]) => core().setOutput(on === 1) },
    { pattern: 'OUTPut[:STATe]?', run: () => flag(core().on) },
    {
      pattern: 'MEASure[:SCALar]:VOLTage[:DC]?',
      run: () => ({ waitMs: 20, finish: () => scientific(core().readVoltage(), 5) }),
    },
    {
      pattern: 'MEASure[:SCALar]:CURRent[:DC]?',
      run: () => ({ waitMs: 20, finish: () => scientific(core().readCurrent(), 5) }),
    },
    { pattern: 'STATus:QUEStionable:CONDition?', run: () => String(conditionA(core())) },
  ]
}

function conditionA(core: SupplyCore): number {
  core.look()
  const { tripped, mode } = core
  return (mode === 'cc' ? 1 : 0) | (mode === 'cv' ? 2 : 0) | (tripped.overVoltage ? 512 : 0)
    | (tripped.overCurrent ? 1024 : 0) | (tripped.watchdog ? 2048 : 0)
}

function protectionA(core: Core): Command[] {
  const source = '[SOURce:]'
  return [
    {
      pattern: `${source}VOLTage:PROTection[:LEVel]`, parameters: volts,
      run: ([v]) => core().setOverVoltage(Number(v)),
    },
    { pattern: `${source}VOLTage:PROTection[:LEVel]?`, run: () => scientific(core().overVoltageV, 5) },
    {
      pattern: `${source}VOLTage:PROTection:STATe`, parameters: onOff,
      run: ([on]) => { core().overVoltageOn = on === 1 },
    },
    { pattern: `${source}VOLTage:PROTection:STATe?`, run: () => flag(core().overVoltageOn) },
    {
      pattern: `${source}VOLTage:PROTection:TRIPped?`,
      run: () => { core().look(); return flag(core().tripped.overVoltage) },
    },
    { pattern: `${source}VOLTage:PROTection:CLEar`, run: () => core().clearTrips(['overVoltage'], true) },
    {
      pattern: `${source}CURRent:PROTection[:LEVel]`, parameters: amperes,
      run: ([a]) => core().setOverCurrent(Number(a)),
    },
    { pattern: `${source}CURRent:PROTection[:LEVel]?`, run: () => scientific(core().overCurrentA, 5) },
    {
      pattern: `${source}CURRent:PROTection:STATe`, parameters: onOff,
      run: ([on]) => { core().overCurrentOn = on === 1 },
    },
    { pattern: `${source}CURRent:PROTection:STATe?`, run: () => flag(core().overCurrentOn) },
    {
      pattern: `${source}CURRent:PROTection:TRIPped?`,
      run: () => { core().look(); return flag(core().tripped.overCurrent) },
    },
    { pattern: `${source}CURRent:PROTection:CLEar`, run: () => core().clearTrips(['overCurrent'], true) },
  ]
}

function watchdogA(core: Core): Command[] {
  const setTime = (seconds: number): void => {
    if (!(seconds >= 1 && seconds <= 3600)) refuse(-222)
    core().watchdogS = Math.round(seconds)
  }
  return [
    {
      pattern: 'SYSTem:WATChdog:TIME', parameters: [{ kind: 'number', unit: 'S' }],
      run: ([s]) => setTime(Number(s)),
    },
    { pattern: 'SYSTem:WATChdog:TIME?', run: () => String(core().watchdogS) },
    { pattern: 'SYSTem:WATChdog:STATe', parameters: onOff, run: ([on]) => core().setWatchdog(on === 1) },
    { pattern: 'SYSTem:WATChdog:STATe?', run: () => flag(core().watchdogOn) },
  ]
}

/** Between commands it wants 20 ms: a line that comes sooner waits in the 48-byte buffer. */
function dialectB(core: Core): OwnOptions {
  return {
    terminator: '\n', errorQueue: 'plain', processMs: 20, inputBytesMax: 48,
    errorCodes: { [-113]: 101, [-222]: 120 },
    onReset: () => core().reset(),
    commands: [...settingsB(core), ...protectionB(core)],
  }
}

function settingsB(core: Core): Command[] {
  const digit: readonly Parameter[] = [{ kind: 'boolean', forms: 'digit' }]
  return [
    { pattern: 'SOURce:VOLTage', parameters: number, run: ([v]) => core().setVoltage(Number(v)) },
    { pattern: 'SOURce:VOLTage?', run: () => fixed(core().voltageBackV, 2) },
    { pattern: 'SOURce:CURRent', parameters: number, run: ([a]) => core().setCurrent(Number(a)) },
    { pattern: 'SOURce:CURRent?', run: () => fixed(core().currentLimitA, 4) },
    { pattern: 'OUTPut:STATe', parameters: digit, run: ([on]) => core().setOutput(on === 1) },
    { pattern: 'OUTPut:STATe?', run: () => flag(core().on) },
    {
      pattern: 'MEASure:VOLTage?',
      run: () => ({ waitMs: 40, finish: () => `${fixed(core().readVoltage(), 2)} V` }),
    },
    {
      pattern: 'MEASure:CURRent?',
      run: () => ({ waitMs: 40, finish: () => `${fixed(core().readCurrent(), 4)} A` }),
    },
    {
      pattern: 'STATus:OPERation:CONDition?',
      run: () => String({ off: 0, cv: 256, cc: 1024 }[core().mode]),
    },
  ]
}

function protectionB(core: Core): Command[] {
  const condition = (): string => {
    core().look()
    const { tripped } = core()
    return String((tripped.overVoltage ? 1 : 0) | (tripped.overCurrent ? 2 : 0))
  }
  return [
    {
      pattern: 'SOURce:VOLTage:PROTection:LEVel', parameters: number,
      run: ([v]) => core().setOverVoltage(Number(v)),
    },
    { pattern: 'SOURce:VOLTage:PROTection:LEVel?', run: () => fixed(core().overVoltageV, 1) },
    {
      pattern: 'SOURce:CURRent:PROTection:LEVel', parameters: number,
      run: ([a]) => core().setOverCurrent(Number(a)),
    },
    { pattern: 'SOURce:CURRent:PROTection:LEVel?', run: () => fixed(core().overCurrentA, 3) },
    { pattern: 'STATus:QUEStionable:CONDition?', run: condition },
    {
      pattern: 'OUTPut:PROTection:CLEar',
      run: () => core().clearTrips(['overVoltage', 'overCurrent'], false),
    },
  ]
}
