/**
 * What a canary is, and the ways in which it takes a safety mechanism away in the process that runs it. Nothing in src
 * knows of this: a line of a built file is read otherwise, a class is changed, or the bench is given another keeper.
 */
import type { CallOptions, WriteOptions } from '../src/scpi/port.ts'
import type { KeeperHostOptions } from '../src/keeper/host.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import { Supervisor } from '../src/safety/supervisor.ts'
import { BenchSwitches } from '../mocks/instruments/terminals.ts'
import type { CampaignBench, Seams } from './campaign-bench.ts'
import type { PlannedNight } from './draw.ts'

/** Text of a built file that is read otherwise in the process of the canary; it must be there once. */
export interface Rewrite { readonly file: string; readonly from: string; readonly to: string }

/** Of the nights as they are drawn, those that can show that a mechanism is missing. */
export type About = (planned: PlannedNight) => boolean

/** One way of taking something away; several stand together where one layer stands in for another. */
export interface Loss {
  /** Changes this process for good. */
  readonly disable?: () => void
  readonly seams?: Seams
  readonly rewrite?: Rewrite
  /** Limits and watches that the supervisor does not see, by id with `P` for any position. */
  readonly ignores?: readonly string[]
}

export interface Canary {
  readonly mechanism: string
  readonly about: About
  readonly losses: readonly Loss[]
}

export const canary = (mechanism: string, about: About, ...losses: readonly Loss[]): Canary => ({ mechanism, about, losses })

export const rewritesOf = ({ losses }: Canary): Rewrite[] => losses.flatMap(({ rewrite }) => rewrite ?? [])

/** Takes away what is not in a file. */
export function disable({ losses }: Canary): void { for (const { disable: take } of losses) take?.() }

export function seamsOf({ losses }: Canary): Seams {
  const all = losses.flatMap(({ seams }) => seams ?? [])
  return {
    ...Object.assign({}, ...all) as Seams,
    prepare: bench => { for (const { prepare } of all) prepare?.(bench) },
  }
}

// ---- ways ----

/** `file` below src, without its ending. */
export const reading = (file: string, from: string, to: string): Loss => ({ rewrite: { file: `dist/src/${file}.js`, from, to } })

export const patternOf = (id: string): RegExp => new RegExp(`^${id.replace(/^P\./, String.raw`P\d+\.`)}$`)

export function ignoring(...ids: readonly string[]): Loss {
  const patterns = ids.map(patternOf)
  const isIgnored = (id: string): boolean => patterns.some(pattern => pattern.test(id))
  return {
    ignores: ids,
    disable: () => {
      const arm = Supervisor.prototype.arm
      Supervisor.prototype.arm = function (limits, freshness, ceiling, nowMs, watches = []) {
        const blunted = limits.map(limit => isIgnored(limit.id) ? { ...limit, samples: Infinity } : limit)
        arm.call(this, blunted, freshness, ceiling, nowMs, watches.filter(({ id }) => !isIgnored(id)))
      }
    },
  }
}

export const changing = (take: () => void): Loss => ({ disable: take })
export const preparing = (prepare: Seams['prepare'] & {}): Loss => ({ seams: { prepare } })
export const keeping = (make: new (options: KeeperHostOptions) => KeeperHost): Loss =>
  ({ seams: { keeperHost: options => new make(options) } })

/** The cover moves, and the coil of the cutoff stands in no circuit with it: the program alone can tell. */
export function coilWithoutCover({ sim: { switches, instruments: { cutoff } } }: CampaignBench): void {
  const { get, set } = Object.getOwnPropertyDescriptor(BenchSwitches.prototype, 'coverClosed')!
  const open = cutoff.open.bind(cutoff)
  let moves = false
  Object.defineProperty(switches, 'coverClosed', {
    get: () => get!.call(switches) as boolean,
    set: (closed: boolean) => { moves = true; set!.call(switches, closed); moves = false },
  })
  cutoff.open = () => { if (!moves) open() }
}

/** Passes everything at any time. */
export class TrustingKeeper extends KeeperHost {
  readonly #sessions: KeeperHostOptions['sessions']
  constructor(options: KeeperHostOptions) { super(options); this.#sessions = options.sessions }
  override query(link: string, command: string, options?: CallOptions): Promise<string> {
    return this.#through(link).query(command, options)
  }
  override write(link: string, command: string, options?: WriteOptions): Promise<void> {
    return this.#through(link).write(command, options)
  }
  #through(link: string) { return this.#sessions.get(link)! }
}

export class PatientKeeper extends KeeperHost {
  override arm(table: Parameters<KeeperHost['arm']>[0]): void { super.arm(table, 1e12) }
}

export class CarelessKeeper extends KeeperHost {
  override linkLost(): void {}
}

export class OrphanKeeper extends PatientKeeper {
  override daemonGone(): ReturnType<KeeperHost['daemonGone']> { return new Promise(() => {}) }
}

// ---- nights ----

export const troubled = (...kinds: readonly string[]): About => ({ strokes }) => strokes.some(({ trouble }) => kinds.includes(trouble.kind))
/** With these troubles and no other. */
export const only = (...kinds: readonly string[]): About => ({ strokes }) => strokes.length > 0 && strokes.every(({ trouble }) => kinds.includes(trouble.kind))
export const running = (...names: readonly string[]): About => ({ runs }) => runs.some(({ sequence }) => names.includes(sequence))
/** One of these strikes in one of these stages. */
export const striking = (kinds: readonly string[], stages: readonly string[]): About => ({ strokes }) =>
  strokes.some(({ trouble, stage }) => kinds.includes(trouble.kind) && stages.includes(stage))
export const atLeast = (positions: number): About => ({ scenario }) => scenario.parts.length >= positions
export const both = (...abouts: readonly About[]): About => planned => abouts.every(about => about(planned))
/** One of the first strikes in this stage, and one of the second later in it. */
export const inTurn = (first: readonly string[], then: readonly string[], within: string): About => ({ strokes }) => {
  const earliestMs = (kinds: readonly string[]): number =>
    Math.min(...strokes.filter(({ trouble, stage }) => stage === within && kinds.includes(trouble.kind)).map(({ afterMs }) => afterMs))
  const [firstMs, thenMs] = [earliestMs(first), earliestMs(then)]
  return firstMs < thenMs && thenMs < Infinity
}
