/** Simulated multimeters (DC volts, resistance, RMS volts): two dialects over one core for each function. */
import type { Command } from '../scpi-device/command-tree.ts'
import { fixed, scientific } from '../scpi-device/format.ts'
import { refuse } from '../scpi-device/status.ts'
import { AcCore } from './ac-core.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { MeterCore } from './meter-core.ts'
import { OhmCore } from './ohm-core.ts'
import type { RangedCore } from './ranged-core.ts'
import { meterFigures, ohmFigures } from './specifications.ts'
import { acFigures } from './unit-specifications.ts'
import type { MeterTerminals } from './terminals.ts'

export type MeterProfile = keyof typeof meterFigures
export type MeterFunction = 'VOLT' | 'RES' | 'FRES' | 'VOLT:AC'

const functionNames = ['VOLT', 'RES', 'FRES', 'VOLT:AC'] as const

export class Multimeter extends SimInstrument {
  readonly core: MeterCore
  /** Resistance with two wires and with four: each keeps its own range and speed. */
  readonly ohms: OhmCore
  readonly fourWireOhms: OhmCore
  readonly rms: AcCore
  /** The function that a reading is taken in. */
  active: MeterFunction = 'VOLT'

  constructor(profile: MeterProfile, setup: InstrumentSetup, terminals: MeterTerminals) {
    const late: { self?: Multimeter } = {}
    const self = (): Multimeter => late.self!
    super(profile, setup, (profile === 'multimeter-6d-a' ? dialectA : dialectB)(self))
    const { faults } = this.device
    const figures = meterFigures[profile]
    this.core = new MeterCore(figures, terminals, this.random, faults, setup)
    // One converter and one set of reference resistors serve both ways of measuring resistance.
    const ohms = (): OhmCore =>
      new OhmCore(figures, ohmFigures[profile], terminals, this.random.fork('ohms'), faults, setup)
    this.ohms = ohms()
    this.fourWireOhms = ohms()
    this.fourWireOhms.wires = 4
    const ac = acFigures['multimeter-6d-a']
    this.rms = new AcCore(ac, terminals, this.random.fork('rms'), faults, setup)
    late.self = this
  }

  of(name: MeterFunction): RangedCore {
    return { VOLT: this.core, RES: this.ohms, FRES: this.fourWireOhms, 'VOLT:AC': this.rms }[name]
  }

  reset(): void {
    this.active = 'VOLT'
    for (const name of functionNames) this.of(name).reset()
  }
}

type Self = () => Multimeter

function dialectA(self: Self): OwnOptions {
  let highInput = false
  return {
    terminator: '\r\n', errorQueue: 'plus', errorQueueMax: 20, remoteFirst: true, processMs: 1,
    inputBytesMax: 100,
    onReset: () => { self().reset(); highInput = false },
    commands: [
      ...functionA(self, 'VOLT', 'VOLTage:DC', 'V'), ...functionA(self, 'RES', 'RESistance', 'OHM'),
      ...functionA(self, 'FRES', 'FRESistance', 'OHM'), ...functionA(self, 'VOLT:AC', 'VOLTage:AC', 'V'),
      { pattern: '[SENSe:]FUNCtion?', run: () => `"${self().active}"` },
      {
        pattern: 'INPut:IMPedance:AUTO', parameters: [{ kind: 'boolean', forms: 'word' }],
        run: ([on]) => { highInput = on === 1 },
      },
      { pattern: 'INPut:IMPedance:AUTO?', run: () => highInput ? '1' : '0' },
      {
        pattern: 'READ?',
        run: () => self().of(self().active).measure(v => scientific(signed(self(), v), 8)),
      },
    ],
  }
}

/** A root of a mean of squares is not below zero. */
const signed = (meter: Multimeter, value: number): number =>
  meter.active === 'VOLT:AC' ? Math.abs(value) : value

/** CONFigure switches to the function and resets its integration; the rest sets it, in use or not. */
function functionA(self: Self, name: MeterFunction, keyword: string, unit: string): Command[] {
  const core = (): RangedCore => self().of(name)
  const configure = (size: number): void => {
    if (Number.isNaN(size)) core().setAuto(true)
    else core().fixRange(size)
    core().setNplc(10)
    self().active = name
  }
  const auto = { AUTO: NaN, DEFault: NaN }
  const at = `[SENSe:]${keyword}`
  return [
    {
      pattern: `CONFigure[:SCALar]:${keyword}`,
      parameters: [{ kind: 'number', unit, words: auto, optional: true }],
      run: ([v]) => configure(Number(v ?? NaN)),
    },
    {
      pattern: `${at}:NPLCycles`, parameters: [{ kind: 'number' }],
      run: ([n]) => core().setNplc(Number(n)),
    },
    { pattern: `${at}:NPLCycles?`, run: () => scientific(core().nplc, 8) },
    {
      pattern: `${at}:RANGe[:UPPer]`, parameters: [{ kind: 'number', unit }],
      run: ([v]) => core().fixRange(Number(v)),
    },
    { pattern: `${at}:RANGe[:UPPer]?`, run: () => scientific(core().size, 8) },
    {
      pattern: `${at}:RANGe:AUTO`, parameters: [{ kind: 'boolean', forms: 'word' }],
      run: ([on]) => core().setAuto(on === 1),
    },
    { pattern: `${at}:RANGe:AUTO?`, run: () => core().autorange ? '1' : '0' },
  ]
}

const functionsOfB: Readonly<Record<string, MeterFunction>> = { 'VOLT:DC': 'VOLT', RES: 'RES' }

function dialectB(self: Self): OwnOptions {
  return {
    terminator: '\r\n', errorQueue: 'none', prompt: '=>', processMs: 5, inputBytesMax: 80,
    onReset: () => self().reset(),
    commands: [
      {
        pattern: '[SENSe:]FUNCtion', parameters: [{ kind: 'string' }],
        run: ([name]) => { self().active = functionsOfB[String(name)] ?? refuse(-224) },
      },
      { pattern: '[SENSe:]FUNCtion?', run: () => self().active === 'RES' ? 'RES' : 'VOLT:DC' },
      ...functionB(self, 'VOLT', 'VOLTage:DC'), ...functionB(self, 'RES', 'RESistance'),
      { pattern: 'MEASure?', run: () => self().of(self().active).measure(v => printedB(self(), v)) },
    ],
  }
}

function printedB(meter: Multimeter, value: number): string {
  if (!Number.isFinite(value)) return value < 0 ? '-OVLD' : 'OVLD'
  const decimals = Math.max(0, Math.ceil(-Math.log10(meter.of(meter.active).step)))
  return `${value < 0 ? '' : '+'}${fixed(value, decimals)} ${meter.active === 'RES' ? 'OHM' : 'VDC'}`
}

function functionB(self: Self, name: MeterFunction, keyword: string): Command[] {
  const core = (): RangedCore => self().of(name)
  const at = `SENSe:${keyword}`
  return [
    {
      pattern: `${at}:RANGe`, parameters: [{ kind: 'number' }],
      run: ([v]) => core().fixRange(Number(v)),
    },
    { pattern: `${at}:RANGe?`, run: () => String(core().size) },
    {
      pattern: `${at}:RANGe:AUTO`, parameters: [{ kind: 'boolean', forms: 'digit' }],
      run: ([on]) => core().setAuto(on === 1),
    },
    { pattern: `${at}:RANGe:AUTO?`, run: () => core().autorange ? '1' : '0' },
    {
      pattern: `${at}:NPLCycles`, parameters: [{ kind: 'number' }],
      run: ([n]) => core().setNplc(Number(n)),
    },
    { pattern: `${at}:NPLCycles?`, run: () => String(core().nplc) },
  ]
}
