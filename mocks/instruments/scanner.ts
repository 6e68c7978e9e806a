/** Simulated scanners: one with an exclusive close, one without. */
import type { Command, Deferred } from '../scpi-device/command-tree.ts'
import type { FaultSpec, StandingFault } from '../scpi-device/faults.ts'
import { refuse } from '../scpi-device/status.ts'
import { SimInstrument, type InstrumentSetup } from './instrument.ts'
import { scannerFigures } from './specifications.ts'
import type { ScannerTerminals } from './terminals.ts'

export type ScannerProfile = keyof typeof scannerFigures

export class Scanner extends SimInstrument {
  readonly #terminals: ScannerTerminals
  readonly #settleMs: number
  #coils: number[] = []
  #settledAtMs = 0
  /** Contact movements so far, for life. */
  closures = 0

  constructor(profile: ScannerProfile, setup: InstrumentSetup, terminals: ScannerTerminals) {
    const late: { self?: Scanner } = {}
    const isA = profile === 'scanner-a'
    super(profile, setup, {
      terminator: isA ? '\n' : '\r\n', errorQueue: isA ? 'plain' : 'plus', processMs: 1,
      inputBytesMax: isA ? 128 : 100,
      onReset: () => late.self!.move([]), commands: commandsOf(profile, () => late.self!),
    })
    late.self = this
    this.#terminals = terminals
    this.#settleMs = this.instant ? 0 : scannerFigures[profile].settleMs
    this.device.onFault = () => this.#apply()
  }

  /** Channels whose coils are driven. */
  get coils(): readonly number[] { return this.#coils }
  /** True while contacts bounce or travel: the common line is open. */
  get moving(): boolean { return this.clock.monotonicMs() < this.#settledAtMs }

  move(channels: number[]): void {
    for (const channel of channels) if (!this.#coils.includes(channel)) this.closures++
    this.#coils = channels
    this.#settledAtMs = this.clock.monotonicMs() + this.#settleMs
    this.#apply()
  }

  settled(): Deferred {
    return { waitMs: Math.max(0, this.#settledAtMs - this.clock.monotonicMs()), finish: () => '1' }
  }

  #apply(): void {
    const { faults } = this.device
    if (faults.empty) return this.#terminals.closed(this.#coils)
    const holding = (kind: FaultSpec['kind']): FaultSpec[] => faults.list.filter(one =>
      one.kind === kind && faults.holds(kind as StandingFault, one.value) !== undefined)
    const closed = new Set(this.#coils.filter(channel => !faults.holds('relay-dead', channel)))
    for (const { value } of holding('relay-welded')) if (typeof value === 'number') closed.add(value)
    for (const [one, other] of holding('channels-tied').map(pairOf)) if (closed.has(one)) closed.add(other)
    const swaps = holding('channels-swapped').map(pairOf)
    const placed = (channel: number): number => swaps.reduce((at, [one, other]) =>
      at === one ? other : at === other ? one : at, channel)
    this.#terminals.closed([...closed].map(placed))
  }
}

/** `3:7`. */
const pairOf = ({ value }: FaultSpec): readonly [number, number] => {
  const [one = NaN, other = NaN] = String(value).split(':').map(Number)
  return [one, other]
}

function commandsOf(profile: ScannerProfile, self: () => Scanner): Command[] {
  const known = (list: unknown): number[] => {
    const channels = list as readonly number[]
    return channels.every(channel => scannerFigures[profile].channels(channel)) ? [...channels] : refuse(-222)
  }
  const list = [{ kind: 'channels', countMax: 127 }] as const
  const commands: Command[] = [
    {
      pattern: 'ROUTe:CLOSe', parameters: list,
      run: ([channels]) => self().move([...new Set([...self().coils, ...known(channels)])]),
    },
    {
      pattern: 'ROUTe:OPEN', parameters: list,
      run: ([channels]) => {
        const gone = known(channels)
        self().move(self().coils.filter(channel => !gone.includes(channel)))
      },
    },
    { pattern: 'ROUTe:OPEN:ALL', run: () => self().move([]) },
    {
      pattern: 'ROUTe:CLOSe?', parameters: list,
      run: ([channels]) => known(channels).map(c => self().coils.includes(c) ? '1' : '0').join(','),
    },
    { pattern: '*OPC?', run: () => self().settled() },
  ]
  if (profile === 'scanner-b') return commands
  const closeOnly: Command = {
    pattern: 'ROUTe:CLOSe:EXCLusive', parameters: [{ kind: 'channels', countMax: 1 }],
    run: ([channels]) => self().move(known(channels)),
  }
  return [...commands, closeOnly]
}
