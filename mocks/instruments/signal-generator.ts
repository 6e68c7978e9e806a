/** Simulated signal generators: two dialects of docs/instrument-dialects.md over one core. */
import type { Command } from '../scpi-device/command-tree.ts'
import { fixed, scientific } from '../scpi-device/format.ts'
import { refuse } from '../scpi-device/status.ts'
import type { UnitWorld } from '../units/world.ts'
import { SimInstrument, type InstrumentSetup, type OwnOptions } from './instrument.ts'
import { SignalCore, type SignalSetup } from './signal-core.ts'
import { signalFigures } from './unit-specifications.ts'

export type SignalProfile = keyof typeof signalFigures

export class SimSignalGenerator extends SimInstrument {
  readonly core: SignalCore

  constructor(
    profile: SignalProfile, setup: InstrumentSetup & SignalSetup, world: Pick<UnitWorld, 'drive'>,
  ) {
    const late: { core?: SignalCore } = {}
    const core = (): SignalCore => late.core!
    const isA = profile === 'signal-generator-a'
    super(profile, setup, (isA ? dialectA : dialectB)(core))
    const { faults } = this.device
    this.core = new SignalCore(signalFigures[profile], isA ? 2 : 1, world, this.random, faults, setup)
    late.core = this.core
    this.core.onOutput = (channel, on) => this.effect(`output-${channel}`, on ? 1 : 0)
    this.device.onFault = () => this.core.driveAll()
  }
}

type Core = () => SignalCore

const flag = (on: boolean): string => on ? '1' : '0'

/** Volts RMS, two sines a channel, the channel as a suffix of the header. */
function dialectA(core: Core): OwnOptions {
  const at = 'SOURce#:TONE#'
  const one = (n: number | undefined): number => n ?? 1
  return {
    terminator: '\n', errorQueue: 'plain', errorQueueMax: 20, processMs: 2, inputBytesMax: 256,
    onReset: () => core().reset(),
    commands: [
      {
        pattern: `${at}:FREQuency`, parameters: [{ kind: 'number', unit: 'HZ' }],
        run: ([hertz], [channel, sine]) => core().setFrequency(one(channel), one(sine), Number(hertz)),
      },
      {
        pattern: `${at}:FREQuency?`,
        run: (_, [channel, sine]) => scientific(core().tone(one(channel), one(sine)).hertz, 9),
      },
      {
        pattern: `${at}:VOLTage`, parameters: [{ kind: 'number', unit: 'V' }],
        run: ([volts], [channel, sine]) => core().setLevel(one(channel), one(sine), Number(volts)),
      },
      {
        pattern: `${at}:VOLTage?`,
        run: (_, [channel, sine]) => scientific(core().back(core().tone(one(channel), one(sine)).volts), 6),
      },
      {
        pattern: `${at}:STATe`, parameters: [{ kind: 'boolean', forms: 'word' }],
        run: ([on], [channel, sine]) => core().setEnabled(one(channel), one(sine), on === 1),
      },
      {
        pattern: `${at}:STATe?`,
        run: (_, [channel, sine]) => flag(core().tone(one(channel), one(sine)).enabled),
      },
      ...outputsA(core),
    ],
  }
}

function outputsA(core: Core): Command[] {
  const isAnyOn = (): boolean => core().outputs.some(output => output.on)
  return [
    {
      pattern: 'OUTPut#[:STATe]', parameters: [{ kind: 'boolean', forms: 'word' }],
      run: ([on], [channel]) => core().setOutput(channel ?? 1, on === 1),
    },
    { pattern: 'OUTPut#[:STATe]?', run: (_, [channel]) => flag(core().output(channel ?? 1).on) },
    { pattern: 'OUTPut:MUTE:ALL', run: () => core().muteAll() },
    { pattern: 'OUTPut:ANY?', run: () => flag(isAnyOn()) },
    {
      pattern: 'ROSCillator:SOURce', parameters: [{ kind: 'word', words: ['INTernal', 'EXTernal'] }],
      run: ([word]) => core().setExternal(word === 'EXT'),
    },
    { pattern: 'ROSCillator:SOURce?', run: () => core().external ? 'EXT' : 'INT' },
    { pattern: 'ROSCillator:LOCKed?', run: () => flag(core().inStep) },
  ]
}

/** Volts peak to peak, one sine a channel, the channel as a list behind the value. */
function dialectB(core: Core): OwnOptions {
  const list = { kind: 'channels', countMax: 1 } as const
  const channelOf = (value: unknown): number => Array.isArray(value) ? Number(value[0]) : refuse(-109)
  return {
    terminator: '\r\n', errorQueue: 'plain', remoteFirst: true, processMs: 10, inputBytesMax: 100,
    errorCodes: { [-113]: 101, [-222]: 120 },
    onReset: () => core().reset(),
    commands: [
      {
        pattern: 'FREQuency', parameters: [{ kind: 'number' }, list],
        run: ([hertz, at]) => core().setFrequency(channelOf(at), 1, Number(hertz)),
      },
      {
        pattern: 'FREQuency?', parameters: [list],
        run: ([at]) => fixed(core().tone(channelOf(at), 1).hertz, 2),
      },
      {
        pattern: 'VOLTage', parameters: [{ kind: 'number' }, list],
        run: ([volts, at]) => core().setLevel(channelOf(at), 1, Number(volts)),
      },
      {
        pattern: 'VOLTage?', parameters: [list],
        run: ([at]) => `${fixed(core().back(core().tone(channelOf(at), 1).volts), 3)} VPP`,
      },
      {
        pattern: 'OUTPut', parameters: [{ kind: 'boolean', forms: 'digit' }, list],
        run: ([on, at]) => core().setOutput(channelOf(at), on === 1),
      },
      { pattern: 'OUTPut?', parameters: [list], run: ([at]) => flag(core().output(channelOf(at)).on) },
      { pattern: 'OUTPut:OFF', run: () => core().muteAll() },
      { pattern: 'OUTPut:COUNt?', run: () => String(core().outputs.filter(output => output.on).length) },
    ],
  }
}
