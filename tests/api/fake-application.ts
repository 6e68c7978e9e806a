/**
 * An application in memory for tests of what sits on it: a store with a night, and a bench that only
 * remembers.
 */
import { BenchError } from '../../src/base/errors.ts'
import { unitParts } from '../../src/app/units.ts'
import { Lots } from '../../src/app/lots.ts'
import { doLotJob } from '../../src/app/lots-work.ts'
import type {
  Application, BenchStatus, ContinueRequest, FeedItem, InstrumentCheck, Plan, PortEntry, ProbeAnswer, SafeOffReport, ScreeningPort, SequenceInfo, UnitsPort,
} from '../../src/schema/application.ts'
import type { PoweringPlan, PoweringPort, PoweringRequest, PoweringStatus } from '../../src/schema/powering.ts'
import type { RunRecord, RunState, StartRequest } from '../../src/schema/run.ts'
import type { Deed, ScreenRequest, ScreenStatus, ShownScreenPlan } from '../../src/schema/screening.ts'
import type { Store } from '../../src/schema/store.ts'
import { startWallMs, storeWithNight } from '../report/sample-night.ts'

export const samplePlan: Plan = {
  sequence: 'reform', use: 'unattended', targetV: 450, expectedS: 30_000, longestS: 50_000, partEnergyMaxJ: 4.8,
  rackEnergyJ: 9.6, touchSafeAfterS: 95, partDissipationMaxW: 0.5, resistorDissipationW: 2.03, supplyLimitA: 0.02,
  overVoltageV: 460, sweepS: 2.4, relayClosures: 900, gasMl: 0.4, chargeMaxC: 3, cautions: ['Wear eye protection.'],
  steps: [{
    name: 'forming', busV: 450, minS: 600, maxS: 20_000
  }, { name: 'hold', busV: 450, minS: 3600, maxS: 3600 }],
  refusals: [], warnings: [],
}

export const shownScreenPlan: ShownScreenPlan = {
  groups: [{ leads: 'two leads', measures: 'ohms, 2 wires', mostV: 4, mostA: 0.001, mostJ: 0, parts: ['R1', 'R2'], expectedS: 10 }],
  cannot: [{ id: 'V1', why: 'there is no method for a tube', wayOut: 'prove it by hand and note it' }],
  settled: [{ id: 'R3', grade: 'accept', run: 'R1' }], expectedS: 10, asideS: 0, mostV: 4, mostA: 0.001, mostJ: 0, compensated: null, zeros: [], calibration: { pastDue: [], unknown: [] },
}

export const screenBody = {
  unit: 'pavilion', person: 'Ida',
  parts: [{
    line: 2, designators: ['R1', 'R2'], quantity: 2, kind: 'resistor', kindFrom: 'list', material: null, dielectrics: [], safetyClasses: [],
    valueText: '4k7', value: { quantity: 'resistance', si: 4700, unit: 'Ω' }, toleranceMinus: 0.05, tolerancePlus: 0.05, ratedV: null,
    ratedForm: null, ratedW: null, tempcoPpmPerK: null, ratingText: '', where: null, note: '',
  }],
}
export const askingR1: ScreenStatus = {
  run: 'S1', asked: 'R1', leads: 'two leads', stands: 'asking', paused: false, told: { tone: 'ask', text: 'R1', about: 'R1' },
  counts: { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }, left: 2, settled: 1,
}

/** A session that only remembers what it was told. */
export class FakeScreening implements ScreeningPort {
  shown: ScreenStatus | null = null
  planned = shownScreenPlan
  fails: Error | null = null
  readonly #app: FakeApplication
  constructor(app: FakeApplication) { this.#app = app }
  async plan(request: ScreenRequest): Promise<ShownScreenPlan> {
    this.#app.calls.push({ name: 'screening.plan', argument: request })
    if (this.fails) throw this.fails
    return this.planned
  }
  async begin(request: ScreenRequest): Promise<RunRecord> {
    this.#app.calls.push({ name: 'screening.begin', argument: request })
    if (this.fails) throw this.fails
    const run: RunRecord = {
      id: 'S1', sequence: 'screen', bench: 'pavilion', state: 'running', startedWallMs: startWallMs + 1e7, endedWallMs: null,
      person: request.person, use: 'touch-safe', software: '0.1.0', setup: { request, plan: shownScreenPlan, asked: 3 },
    }
    await this.#app.store.createRun(run, [])
    return run
  }
  status(): ScreenStatus | null { return this.shown }
  do(deed: Deed): void {
    this.#app.calls.push({ name: 'screening.do', argument: deed })
    if (this.fails) throw this.fails
  }
}

export const shownPoweringPlan: PoweringPlan = {
  sequence: 'first-power', unit: 'an-amplifier', specimen: 'unit-1', use: 'attended', mainsV: 230, currentMaxA: 2,
  steps: [{ name: 'whole, lamp', seconds: 60 }, { name: 'whole, straight', seconds: 1320 }], expectedS: 1380,
  watched: ['mains.current', 'rail.plus'], measured: [], left: [], cautions: ['Mains kills.'], refusals: [], warnings: [],
}

export const unitBody = {
  sequence: 'first-power', unit: 'an-amplifier', specimen: 'unit-1', person: 'Ida', cautionsConfirmed: true,
  unpowered: { by: 'Ida', earthBondOhm: 0.05, insulationOhm: 4e7, insulationV: 500, fuse: 'T 1.6 A', mainsPartsProven: true, railsNotShorted: true },
}

class FakePowering implements PoweringPort {
  readonly #app: FakeApplication
  shown: PoweringStatus | null = null
  fails: Error | null = null
  shownPlan: PoweringPlan = shownPoweringPlan
  constructor(app: FakeApplication) { this.#app = app }
  async plan(request: PoweringRequest): Promise<PoweringPlan> {
    this.#app.calls.push({ name: 'powering.plan', argument: request })
    return this.shownPlan
  }
  async begin(request: PoweringRequest): Promise<RunRecord> {
    this.#app.calls.push({ name: 'powering.begin', argument: request })
    if (this.fails) throw this.fails
    const run: RunRecord = {
      id: 'U1', sequence: request.sequence, bench: 'stand', state: 'running', startedWallMs: startWallMs + 1e7, endedWallMs: null,
      person: request.person, use: request.use, software: '0.1.0', setup: { request, plan: this.shownPlan },
    }
    await this.#app.store.createRun(run, [])
    return run
  }
  status(): PoweringStatus | null { return this.shown }
  async goOn(id: string, person: string): Promise<void> {
    this.#app.calls.push({ name: 'powering.goOn', argument: { id, person } })
    if (this.fails) throw this.fails
  }
}

export class FakeApplication implements Application {
  readonly store: Store
  readonly screening = new FakeScreening(this)
  readonly powering = new FakePowering(this)
  readonly lots: Lots
  readonly units: UnitsPort = {
    parts: async request => await unitParts(this.store, request),
    earlyFailures: async unit => ({ unit, specimens: [], shown: null }),
    record: async request => {
      this.calls.push({ name: 'units.record', argument: request })
      return request.format === 'html' ? '<!doctype html>' : '{}'
    },
    rack: ({ parts }) => ({ ratedV: null, parts: [], left: parts.map(({ designator }) => ({ designator, why: 'no profile' })) }),
  }
  readonly calls: { name: string; argument: unknown }[] = []
  readonly listeners = new Set<(item: FeedItem) => void>()
  shownPlan: Plan = samplePlan
  shownStatus: BenchStatus = idleStatus
  startFails: Error | null = null
  wrongAnswers: string[] = []

  constructor(store: Store) {
    this.store = store
    this.lots = new Lots(store, async job => doLotJob(job))
  }
  static async make(): Promise<FakeApplication> { return new FakeApplication(await storeWithNight()) }

  sequences(): SequenceInfo[] {
    return [
      { name: 'reform', summary: 'Forms old electrolytics back', cautions: ['Wear eye protection.'], origin: null, parameters: {
        type: 'object', properties: {
          soakS: { type: 'number', default: 3600, minimum: 60, maximum: 86_400, description: 'At target: 1 h' },
          targetV: { type: 'number', exclusiveMinimum: 0, description: 'Bus target' },
        },
      } },
      {
        name: 'slow-rise', summary: 'Goes up slowly', cautions: [], parameters: {},
        origin: { file: '/data/sequences/slow-rise.mjs', hash: '0123456789abcdef' },
      },
    ]
  }
  async checkInstruments(names?: readonly string[]): Promise<InstrumentCheck[]> {
    this.calls.push({ name: 'check', argument: names })
    const all: InstrumentCheck[] = [
      {
        name: 'supply', roles: ['supply'], url: 'tcp://127.0.0.1:1', profile: 'dc-supply', identity: 'A,B,1,2', matches: true,
        problem: null, selfCheck: { asked: 5, waiting: [], wrong: this.wrongAnswers },
        calibration: 'past due', calibrated: { on: '2024-11-30', due: '2025-11-30' },
      },
      {
        name: 'meter', roles: ['bus-meter'], url: 'tcp://127.0.0.1:2', profile: 'multimeter', identity: null, matches: false,
        problem: 'did not answer', selfCheck: null, calibration: 'unknown', calibrated: null,
      },
    ]
    const unknown = names?.find(name => !all.some(entry => entry.name === name))
    if (unknown !== undefined) throw new BenchError('NOT_FOUND', `the bench has no instrument ${unknown}`)
    return names ? all.filter(entry => names.includes(entry.name)) : all
  }
  async listPorts(): Promise<PortEntry[]> {
    return [{
      path: '/dev/ttyUSB0', kind: 'serial', url: 'serial:/dev/serial/by-id/usb-a?baud=9600', links: [
        '/dev/serial/by-id/usb-a'
      ],
      usb: {
        vendorId: '0403', productId: '6001', serial: 'A1'
      }, says: 'an adapter', note: '', inBench: 'supply',
    }]
  }
  async probe(url: string): Promise<ProbeAnswer> {
    this.calls.push({ name: 'probe', argument: url })
    const answers = url.includes('5025')
    return {
      url, identity: answers ? 'A,B,1,2' : null, problem: answers ? null : 'did not answer', entered: answers ? 'supply' : null,
      profiles: [],
    }
  }
  async plan(request: StartRequest): Promise<Plan> {
    this.calls.push({ name: 'plan', argument: request })
    return this.shownPlan
  }
  async start(request: StartRequest): Promise<RunRecord> {
    this.calls.push({ name: 'start', argument: request })
    if (this.startFails) throw this.startFails
    const run: RunRecord = {
      id: 'R2', sequence: request.sequence, bench: 'pavilion', state: 'running', startedWallMs: startWallMs + 1e7,
      endedWallMs: null, person: request.person, use: request.use, software: '0.1.0',
      setup: { request, plan: this.shownPlan },
    }
    await this.store.createRun(run, [])
    return run
  }
  async ended(runId: string): Promise<RunRecord> { return (await this.store.run(runId))! }
  status(): BenchStatus { return this.shownStatus }
  async stop(reason: string): Promise<SafeOffReport> {
    this.calls.push({ name: 'stop', argument: reason })
    return {
      reason, atWallMs: startWallMs, sentMs: 12, verifiedMs: 80,
      links: [{ link: 'supply', sent: true, freshLink: false, verified: true, note: '' }],
    }
  }
  async acknowledge(reason: string, person: string): Promise<void> {
    this.calls.push({ name: 'acknowledge', argument: { reason, person } })
  }
  async continueRun(runId: string, request: ContinueRequest): Promise<RunRecord> {
    this.calls.push({ name: 'continueRun', argument: { runId, ...request } })
    return (await this.store.run(runId))!
  }
  async closeRun(runId: string, reason: string, person: string): Promise<void> {
    this.calls.push({ name: 'closeRun', argument: { runId, reason, person } })
  }
  async confirmPresence(person: string): Promise<void> {
    this.calls.push({ name: 'confirmPresence', argument: person })
  }
  subscribe(listener: (item: FeedItem) => void): () => void {
    this.listeners.add(listener)
    return () => { this.listeners.delete(listener) }
  }
  emit(item: FeedItem): void { for (const listener of [...this.listeners]) listener(item) }
  async close(): Promise<void> { await this.store.close() }

  /** Ends run `runId` as `state` and tells the watchers. */
  async finish(runId: string, state: RunState): Promise<void> {
    await this.store.finishRun(runId, state, startWallMs + 2e7)
    this.shownStatus = idleStatus
    this.emit({ type: 'status', status: idleStatus })
  }
}

export const idleStatus: BenchStatus = {
  bench: 'pavilion', wallMs: startWallMs, energy: 'off', latched: null, keeper: 'idle', left: null, unsafe: [], run: null, screening: null,
  powering: null,
}

export const runningStatus = (id: string): BenchStatus => ({
  ...idleStatus, energy: 'live', keeper: 'armed',
  run: {
    id, sequence: 'reform', stage: 'forming', busV: 200.4, targetV: 450, startedWallMs: startWallMs, elapsedS: 1200,
    remainingS: 20_000, ending: null, durableUntilMs: 1_200_000,
    positions: [{
      position: 'P01', part: 'C1', stage: 'forming', volts: 180.2, leakageA: 2.1e-4, limitA: 1.1e-3, caseC: 24.3,
      note: '', endsWallMs: null, grade: null, disposition: null, provisional: null, touch: 'NOT SAFE TO TOUCH: energised',
    }],
  },
})
