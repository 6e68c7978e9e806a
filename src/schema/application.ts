/** The one application object that HTTP API, CLI and console are views of, and the shapes it shows. */
import { z } from 'zod'
import { calibrationTold, type Calibrated, type CalibrationState } from './calibration.ts'
import type { GaugeAnswer, GaugeRequest } from './gauge.ts'
import type { CompareAnswer, CompareRequest, MatchAnswer, MatchRequest, SheetRequest } from './lots.ts'
import { poweringStatus, type PoweringPort } from './powering.ts'
import type { Reading } from './reading.ts'
import { refusal } from './refusals.ts'
import type { PartResult, RunEvent, RunRecord, StartRequest } from './run.ts'
import { grades, dispositions, stages, startRequest, upTo } from './run.ts'
import type { SourceState } from './sampling.ts'
import {
  screenStatus, type Deed, type ScreenRequest, type ScreenStatus, type ShownScreenPlan,
} from './screening.ts'
import type { Store } from './store.ts'
import type {
  EarlyFailuresAnswer, ProposedRack, RackRequest, UnitParts, UnitRecordRequest, UnitRequest,
} from './unit.ts'

export const planStep = z.strictObject({
  name: z.string(), busV: z.number(), minS: z.number(), maxS: z.number(),
})
export type PlanStep = z.infer<typeof planStep>

/** What would be done, computed without touching anything. SI units. */
export const plan = z.strictObject({
  sequence: z.string(), use: z.enum(['unattended', 'attended', 'touch-safe']),
  targetV: z.number(), expectedS: z.number(), longestS: z.number(),
  /** Null where nothing is charged, and what stands on the parts is not known before it is measured. */
  partEnergyMaxJ: z.number().nullable(), rackEnergyJ: z.number().nullable(),
  touchSafeAfterS: z.number().nullable(),
  partDissipationMaxW: z.number(), resistorDissipationW: z.number(),
  supplyLimitA: z.number(), overVoltageV: z.number(),
  sweepS: z.number(), relayClosures: z.number(), gasMl: z.number(), chargeMaxC: z.number(),
  /** Closures of one scanner contact, at most; left out where nothing is scanned. */
  scannerClosures: z.number().optional(),
  /**
   * By position: more than this is no sound part, amperes. Half of what a short takes where nothing is said.
   */
  partCurrentMaxA: z.record(z.string(), z.number()).optional(),
  steps: z.array(planStep), cautions: z.array(z.string()), refusals: z.array(refusal),
  warnings: z.array(z.string()),
  /** Left out in plans of earlier versions. */
  calibration: calibrationTold.optional(),
})
export type Plan = z.infer<typeof plan>

export const positionStatus = z.strictObject({
  position: z.string(), part: z.string(), stage: z.enum(stages),
  volts: z.number().nullable(), leakageA: z.number().nullable(), limitA: z.number().nullable(),
  caseC: z.number().nullable(), note: z.string(),
  /** When this part is expected to be through, ms since 1970; null once it has left the run. */
  endsWallMs: z.number().nullable(),
  grade: z.enum(grades).nullable(), disposition: z.enum(dispositions).nullable(),
  /** The grade stands until a second formal reading after a rest; null without a grade. */
  provisional: z.boolean().nullable(),
  /** The grade holds to these volts alone; left out where the part was taken to its rating. */
  upTo: upTo.optional(),
  /** Words about touching it, e.g. "measured below 60 V at 02:14; prove dead before touching". */
  touch: z.string(),
})
export type PositionStatus = z.infer<typeof positionStatus>

/** A part that an interrupted run left on the bus, and what may be said of touching it. */
export const leftPart = z.strictObject({ position: z.string(), part: z.string(), touch: z.string() })
export type LeftPart = z.infer<typeof leftPart>

/** A part that is not known to be safe to touch since `run`. */
export const unsafePart = leftPart.extend({ run: z.string() })
export type UnsafePart = z.infer<typeof unsafePart>

export const benchStatus = z.strictObject({
  bench: z.string(), wallMs: z.number(),
  energy: z.enum(['off', 'live', 'bleeding', 'unknown']),
  latched: z.strictObject({ text: z.string(), wallMs: z.number() }).nullable(),
  keeper: z.enum(['idle', 'armed', 'safing', 'safe', 'gone']),
  /** What the start after a crash found, and measures while `measuring`; null when the next run has begun. */
  left: z.strictObject({ run: z.string(), measuring: z.boolean(), positions: z.array(leftPart) }).nullable(),
  /** What an earlier run said may not be touched, and nothing has settled since. */
  unsafe: z.array(unsafePart),
  run: z.strictObject({
    id: z.string(), sequence: z.string(), stage: z.string(), busV: z.number().nullable(), targetV: z.number(),
    startedWallMs: z.number(), elapsedS: z.number(), durableUntilMs: z.number(),
    /** Seconds until it is through, about; null once it is ending, because bleeding takes what it takes. */
    remainingS: z.number().nullable(),
    /** Why it ends: parts are bled and measured now. Null while it goes on. */
    ending: z.strictObject({
      as: z.enum(['tripped', 'stopped', 'done', 'refused']), why: z.string(), wallMs: z.number(),
    }).nullable(),
    positions: z.array(positionStatus),
  }).nullable(),
  /** The session at the jig that goes on. */
  screening: screenStatus.nullable(),
  /** The run of a whole unit that goes on. */
  powering: poweringStatus.nullable(),
})
export type BenchStatus = z.infer<typeof benchStatus>

/** Who continues a run, with what they have done before. */
export const continueRequest = startRequest.pick({
  person: true, cautionsConfirmed: true, polarityConfirmed: true,
})
export type ContinueRequest = z.infer<typeof continueRequest>

export const safeOffReport = z.strictObject({
  reason: z.string(), atWallMs: z.number(), sentMs: z.number(), verifiedMs: z.number().nullable(),
  links: z.array(z.strictObject({
    link: z.string(), sent: z.boolean(), freshLink: z.boolean(), verified: z.boolean().nullable(),
    note: z.string(),
  })),
})
/** What a safe-off did, per link. Times in ms from its start; `verified` null where there is no read-back. */
export type SafeOffReport = z.infer<typeof safeOffReport>

/**
 * What an instrument of the bench answered. `selfCheck` is null where it was not asked:
 * a run goes on, or it is not there.
 */
export interface InstrumentCheck {
  name: string; roles: string[]; url: string; profile: string
  identity: string | null
  matches: boolean; problem: string | null
  selfCheck: SelfCheck | null
  /** Null of an instrument that does not measure. */
  calibration: CalibrationState | null
  calibrated: Calibrated | null
}

/**
 * Queries of the profile that change nothing, asked between two looks at the error
 * queue. Never a self-test of its own.
 */
export interface SelfCheck {
  /** How many queries were asked. */
  asked: number
  /** What was in the error queue before; reading took it out. */
  waiting: string[]
  /** Answers that the profile does not explain, and errors that the queries caused. */
  wrong: string[]
}

/** A place where an instrument may be connected. */
export const portEntry = z.strictObject({
  path: z.string(), kind: z.enum(['serial', 'usbtmc']),
  url: z.string().describe('What to write into the bench file: the name that stays when numbers change'),
  links: z.array(z.string()).describe('Lasting names of the same port'),
  usb: z.strictObject({ vendorId: z.string(), productId: z.string(), serial: z.string() }).nullable(),
  says: z.string().describe('What the adapter or instrument says of itself on USB'),
  note: z.string(),
  inBench: z.string().nullable().describe('Instrument of the bench file that is entered there'),
})
export type PortEntry = z.infer<typeof portEntry>

export const probeAnswer = z.strictObject({
  url: z.string(), identity: z.string().nullable(), problem: z.string().nullable(),
  entered: z.string().nullable().describe('Instrument of the bench file that is entered with this identity'),
  profiles: z.array(z.string()).describe('Profiles that are named as the model in the answer'),
})
export type ProbeAnswer = z.infer<typeof probeAnswer>

/** What the live feed carries. */
export type FeedItem =
  | { type: 'reading'; runId: string; reading: Reading }
  | { type: 'event'; runId: string; event: RunEvent }
  | { type: 'status'; status: BenchStatus }
  | { type: 'result'; runId: string; result: PartResult }
  /** Whenever a session tells something, and null once it has ended. */
  | { type: 'screening'; screening: ScreenStatus | null }

export interface SequenceInfo {
  name: string; summary: string; cautions: readonly string[]
  /** JSON Schema of the parameters with defaults and reasons. */
  parameters: unknown
  /** File and hash of a person's own sequence; null for one that ships. */
  origin: { file: string; hash: string } | null
}

/** Parts of a list, one after the other, at the jig. */
export interface ScreeningPort {
  /** What would be done; touches nothing. Rejects REFUSED without a jig, USAGE for a name given twice. */
  plan(request: ScreenRequest): Promise<ShownScreenPlan>
  /**
   * Returns once the run is in the store; the session goes on. Rejects REFUSED, TRIPPED, USAGE, IDENTITY,
   * LINK_OPEN.
   */
  begin(request: ScreenRequest): Promise<RunRecord>
  /** Null while no session goes on. */
  status(): ScreenStatus | null
  /** What a person does, at a position of the tray where it is of one. Throws REFUSED where it cannot be. */
  do(deed: Deed, at?: string): void
}

/**
 * What the parts of runs on record are worth together. Touches no instrument. All reject NOT_FOUND for a run
 * that is not there, USAGE for what makes no sense, REFUSED where there are no parts for it.
 */
export interface LotsPort {
  match(request: MatchRequest): Promise<MatchAnswer>
  compare(request: CompareRequest): Promise<CompareAnswer>
  /** As a text of the format asked for; JSON is a `LotSheet`. */
  sheet(request: SheetRequest): Promise<string>
  /** What a study of the gauge comes to, over all its sessions. */
  gauge(request: GaugeRequest): Promise<GaugeAnswer>
  /** How lots that are sampled are inspected now, by source; of one, or of all. */
  sources(source?: string): Promise<SourceState[]>
}

/** The parts of a unit. Touches no instrument. */
export interface UnitsPort {
  /** The newest result of each part on record. */
  parts(request: UnitRequest): Promise<UnitParts>
  /** The test record of one unit, in the format asked for. Rejects NOT_FOUND without a run of it. */
  record(request: UnitRecordRequest): Promise<string>
  /** Over all units of one profile that are on record: of each the newest burn-in that came to something. */
  earlyFailures(unit: string): Promise<EarlyFailuresAnswer>
  /** A rack list for parts that are to be formed, of one rated voltage, on the positions of this bench. */
  rack(request: RackRequest): ProposedRack
}

export interface Application {
  readonly store: Store
  readonly screening: ScreeningPort
  readonly powering: PoweringPort
  readonly lots: LotsPort
  readonly units: UnitsPort
  sequences(): SequenceInfo[]
  checkInstruments(names?: readonly string[]): Promise<InstrumentCheck[]>
  /** Ports of this computer; none is opened. */
  listPorts(): Promise<PortEntry[]>
  /**
   * Opens this one port and asks *IDN?. Rejects REFUSED while a run goes on or where the
   * bench holds the port.
   */
  probe(url: string): Promise<ProbeAnswer>
  plan(request: StartRequest): Promise<Plan>
  /** Starts and returns once the run is in the store; the run goes on. Rejects REFUSED, USAGE, TRIPPED. */
  start(request: StartRequest): Promise<RunRecord>
  /**
   * Starts the newest run's request again as a new run that names it, where it did not reach its end:
   * climbing begins anew, and parts that formed already pass its steps quickly by the rule of the steps.
   * Rejects as `start` does, NOT_FOUND, and IDENTITY where an instrument is another.
   */
  continueRun(runId: string, request: ContinueRequest): Promise<RunRecord>
  /** Says that a run that did not reach its end will not be continued. Rejects NOT_FOUND, REFUSED. */
  closeRun(runId: string, reason: string, person: string): Promise<void>
  /** Resolves when the run with this id has ended. */
  ended(runId: string): Promise<RunRecord>
  status(): BenchStatus
  /** Always allowed. Resolves when off commands are out and read back. */
  stop(reason: string): Promise<SafeOffReport>
  acknowledge(reason: string, person: string): Promise<void>
  /** A person says that they are at the bench. Rejects REFUSED unless an attended run is going on. */
  confirmPresence(person: string): Promise<void>
  /**
   * Calls `listener` for every item until the returned function is called. A throwing listener harms nobody.
   */
  subscribe(listener: (item: FeedItem) => void): () => void
  close(): Promise<void>
}

export { startRequest }
