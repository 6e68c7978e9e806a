/** The parts of a unit and its test record, for every interface. */
import type { UnitsPort } from '../schema/application.ts'
import type {
  EarlyFailuresAnswer, ProposedRack, RackRequest, UnitParts, UnitRecordRequest, UnitRequest,
} from '../schema/unit.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { earlyFailuresOf } from './unit-hours.ts'
import { unitRecord } from './unit-record.ts'
import { proposeRack, unitParts } from './units.ts'

type UnitsDeps = Pick<DaemonDeps, 'store' | 'bench' | 'profiles' | 'clock' | 'software'>

export class Units implements UnitsPort {
  readonly #d: UnitsDeps
  constructor(deps: UnitsDeps) { this.#d = deps }

  async parts(request: UnitRequest): Promise<UnitParts> { return await unitParts(this.#d.store, request) }

  async record(request: UnitRecordRequest): Promise<string> { return await unitRecord(this.#d, request) }

  async earlyFailures(unit: string): Promise<EarlyFailuresAnswer> {
    return await earlyFailuresOf(this.#d.store, unit)
  }

  rack(request: RackRequest): ProposedRack {
    const { bench, profiles } = this.#d
    return proposeRack(
      bench.file.fixture.positions.map(({ name }) => name),
      profiles.partNames().map(name => profiles.part(name).profile), request)
  }
}
