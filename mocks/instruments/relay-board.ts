/** Simulated relay board: 512 changeover relays and eight inputs. */
import type { Command, Deferred } from '../scpi-device/command-tree.ts'
import { refuse } from '../scpi-device/status.ts'
import { SimInstrument, type InstrumentSetup } from './instrument.ts'
import { relayFigures } from './specifications.ts'
import type { RelayTerminals } from './terminals.ts'

export class RelayBoard extends SimInstrument {
  readonly #terminals: RelayTerminals
  #coils = new Set<number>()
  #contacts = new Set<number>()
  #settledAtMs = 0
  closures = 0

  constructor(setup: InstrumentSetup, terminals: RelayTerminals) {
    const late: { self?: RelayBoard } = {}
    super('relay-board-a', setup, {
      terminator: '\n', errorQueue: 'plain', processMs: 2, inputBytesMax: 120,
      onReset: () => late.self!.releaseAll(), commands: commandsOf(() => late.self!),
    })
    late.self = this
    this.#terminals = terminals
    this.device.onFault = () => this.#apply()
  }

  /** Relays whose coils are driven; a welded contact may say otherwise. */
  get coils(): ReadonlySet<number> { return this.#coils }

  hold(relays: readonly number[]): void { this.#drive(relays, true) }
  release(relays: readonly number[]): void { this.#drive(relays, false) }
  releaseAll(): void { this.#drive([...this.#coils], false) }
  input(number: number): boolean { return this.#terminals.input(number) }
  settled(): Deferred {
    return { waitMs: Math.max(0, this.#settledAtMs - this.clock.monotonicMs()), finish: () => '1' }
  }

  #drive(relays: readonly number[], held: boolean): void {
    for (const relay of relays) {
      if (this.#coils.has(relay) === held) continue
      if (held) { this.#coils.add(relay); this.closures++ } else this.#coils.delete(relay)
    }
    if (!this.instant) this.#settledAtMs = this.clock.monotonicMs() + relayFigures.settleMs
    this.#apply(relays)
  }

  /** Moves contacts to where coils and faults put them. */
  #apply(touched?: readonly number[]): void {
    const { faults } = this.device
    const relays = faults.empty && touched ? touched : new Set(
      [...this.#coils, ...this.#contacts, ...this.#faulty()]
    )
    for (const relay of relays) {
      const welded = !faults.empty && faults.holds('relay-welded', relay) !== undefined
      const dead = !faults.empty && faults.holds('relay-dead', relay) !== undefined
      const held = welded || (this.#coils.has(relay) && !dead)
      if (held === this.#contacts.has(relay)) continue
      if (held) this.#contacts.add(relay)
      else this.#contacts.delete(relay)
      this.effect(`relay ${relay}`, held ? 1 : 0)
      this.#terminals.contact(relay, held)
    }
  }

  #faulty(): number[] {
    return this.device.faults.list.map(fault => fault.value).filter(value => typeof value === 'number')
  }
}

function commandsOf(self: () => RelayBoard): Command[] {
  const { relayMax, perCommandMax } = relayFigures
  const list = [{ kind: 'channels', countMax: perCommandMax }] as const
  const known = (value: unknown): readonly number[] => {
    const relays = value as readonly number[]
    return relays.every(relay => relay >= 1 && relay <= relayMax) ? relays : refuse(-222)
  }
  const input = (value: unknown): string => {
    const number = Number(value)
    if (!(number >= 1 && number <= 8)) refuse(-222)
    return self().input(number) ? '1' : '0'
  }
  return [
    { pattern: 'ROUTe:CLOSe', parameters: list, run: ([relays]) => self().hold(known(relays)) },
    { pattern: 'ROUTe:OPEN', parameters: list, run: ([relays]) => self().release(known(relays)) },
    { pattern: 'ROUTe:OPEN:ALL', run: () => self().releaseAll() },
    {
      pattern: 'ROUTe:CLOSe?', parameters: list,
      run: ([relays]) => known(relays).map(relay => self().coils.has(relay) ? '1' : '0').join(','),
    },
    { pattern: 'ROUTe:CLOSe:COUNt?', run: () => String(self().coils.size) },
    { pattern: '*OPC?', run: () => self().settled() },
    { pattern: 'DIGital:INPut?', parameters: [{ kind: 'number' }], run: ([number]) => input(number) },
  ]
}
