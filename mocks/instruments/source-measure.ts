/** Simulated source-measure units: two dialects of docs/instrument-dialects.md over one core. */
import type { Command, Deferred } from '../scpi-device/command-tree.ts'
import { fixed, scientific } from '../scpi-device/format.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { SourceCore, type Quantity } from './source-core.ts'
import { sourceFigures } from './source-specifications.ts'
import type { SourceTerminals } from './terminals.ts'

export type SourceProfile = keyof typeof sourceFigures

export class SourceMeasure extends SimInstrument {
  readonly core: SourceCore

  constructor(profile: SourceProfile, setup: InstrumentSetup, terminals: SourceTerminals) {
    const late: { core?: SourceCore } = {}
    const core = (): SourceCore => late.core!
    super(profile, setup, (profile === 'source-measure-b' ? dialectB : dialectA)(core))
    this.core = new SourceCore(sourceFigures[profile], terminals, this.random, this.device.faults, setup)
    late.core = this.core
    this.core.onOutput = on => this.effect('output', on ? 1 : 0)
    this.device.onFault = () => this.core.drive()
  }
}

type Core = () => SourceCore

const keywords: readonly (readonly [Quantity, string])[] = [['voltage', 'VOLTage'], ['current', 'CURRent']]
const flag = (on: boolean): string => on ? '1' : '0'
const words = { VOLT: 'voltage', CURR: 'current' } as const
const wordOf = (mode: Quantity): string => mode === 'voltage' ? 'VOLT' : 'CURR'
const mode = [{ kind: 'word', words: ['VOLTage', 'CURRent'] }] as const

function modeCommands(core: Core, header: string): Command[] {
  return [
    {
      pattern: header, parameters: mode,
      run: ([word]) => core().setMode(words[String(word) as keyof typeof words]),
    },
    { pattern: `${header}?`, run: () => wordOf(core().mode) },
  ]
}

function switchCommands(
  header: string, forms: 'word' | 'digit', get: () => boolean, set: (on: boolean) => void,
): Command[] {
  return [
    { pattern: header, parameters: [{ kind: 'boolean', forms }], run: ([on]) => set(on === 1) },
    { pattern: `${header}?`, run: () => flag(get()) },
  ]
}

function speedCommands(core: Core): Command[] {
  return [
    {
      pattern: 'SENSe:NPLCycles', parameters: [{ kind: 'number' }],
      run: ([n]) => core().setNplc(Number(n)),
    },
    { pattern: 'SENSe:NPLCycles?', run: () => String(core().nplc) },
  ]
}

/** Both quantities of one instant, when the conversions are over. */
const measured = (core: Core, print: (core: SourceCore) => string) => (): Deferred =>
  ({ waitMs: core().readingMs, finish: () => print(core()) })

function dialectA(core: Core): OwnOptions {
  return {
    terminator: '\n', errorQueue: 'plain', errorQueueMax: 20, processMs: 2, inputBytesMax: 256,
    onReset: () => core().reset(),
    commands: [
      ...modeCommands(core, '[SOURce:]FUNCtion:MODE'), ...keywords.flatMap(pair => settingsA(core, ...pair)),
      ...switchCommands('OUTPut[:STATe]', 'word', () => core().on, on => core().setOutput(on)),
      ...switchCommands('SYSTem:RSENse', 'word', () => core().fourWire, on => { core().fourWire = on }),
      ...speedCommands(core),
      { pattern: 'READ?', run: measured(core, printedA) },
    ],
  }
}

function settingsA(core: Core, quantity: Quantity, keyword: string): Command[] {
  const number = [{ kind: 'number', unit: quantity === 'voltage' ? 'V' : 'A' }] as const
  const level = `[SOURce:]${keyword}[:LEVel]`
  return [
    { pattern: level, parameters: number, run: ([v]) => core().setValue(quantity, Number(v)) },
    { pattern: `${level}?`, run: () => scientific(core().back(core().value[quantity]), 6) },
    {
      pattern: `SENSe:${keyword}:PROTection`, parameters: number,
      run: ([v]) => core().setLimit(quantity, Number(v)),
    },
    { pattern: `SENSe:${keyword}:PROTection?`, run: () => scientific(core().limit[quantity], 6) },
  ]
}

/** Status: bit 0 output on, bit 3 the limit holds it. */
function printedA(core: SourceCore): string {
  const { voltage, current } = core.read() ?? { voltage: NaN, current: NaN }
  const status = (core.on ? 1 : 0) | (core.limited ? 8 : 0)
  return `${scientific(voltage, 6)},${scientific(current, 6)},+${status}`
}

function dialectB(core: Core): OwnOptions {
  return {
    terminator: '\r\n', errorQueue: 'plain', remoteFirst: true, processMs: 8, inputBytesMax: 100,
    errorCodes: { [-113]: 101, [-222]: 120 },
    onReset: () => core().reset(),
    commands: [
      ...modeCommands(core, 'FUNCtion'), ...keywords.flatMap(pair => settingsB(core, ...pair)),
      ...switchCommands('OUTPut:STATe', 'digit', () => core().on, on => core().setOutput(on)),
      ...switchCommands('SENSe:REMote', 'digit', () => core().fourWire, on => { core().fourWire = on }),
      ...speedCommands(core),
      { pattern: 'MEASure?', run: measured(core, printedB) },
    ],
  }
}

function settingsB(core: Core, quantity: Quantity, keyword: string): Command[] {
  const number = [{ kind: 'number' }] as const
  const print = (value: number): string => fixed(value, quantity === 'voltage' ? 3 : 8)
  const holds = (): boolean => core().mode !== quantity && core().limited
  return [
    { pattern: `${keyword}:LEVel`, parameters: number, run: ([v]) => core().setValue(quantity, Number(v)) },
    { pattern: `${keyword}:LEVel?`, run: () => print(core().back(core().value[quantity])) },
    { pattern: `${keyword}:LIMit`, parameters: number, run: ([v]) => core().setLimit(quantity, Number(v)) },
    { pattern: `${keyword}:LIMit?`, run: () => print(core().limit[quantity]) },
    { pattern: `${keyword}:LIMit:STATe?`, run: () => flag(holds()) },
  ]
}

function printedB(core: SourceCore): string {
  const read = core.read()
  if (read === null) return 'OFF,OFF'
  const print = (value: number, decimals: number, unit: string): string =>
    Number.isFinite(value) ? `${fixed(value, decimals)} ${unit}` : `${value < 0 ? '-' : ''}OL`
  return `${print(read.voltage, 4, 'V')},${print(read.current, 9, 'A')}`
}
