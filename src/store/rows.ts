/** The rows of the tables as they come back, and the records they stand for. */
import type { Channel } from '../schema/reading.ts'
import type { PartResult, RunEvent, RunHead, RunRecord } from '../schema/run.ts'
import type { StoredEvent } from '../schema/store.ts'
import {
  believedData, believedQuantity, believedResult, believedSetup, believedSeverity, believedState,
  believedWall,
} from './believed.ts'
import { decode, encode, wellFormed } from './codec.ts'

export interface RunRow {
  id: string; sequence: string; bench: string; state: string
  started_wall_ms: number; ended_wall_ms: number | null
  person: string; use: string; software: string; setup: string
}
export interface ChannelRow {
  channel: number; name: string; quantity: string; unit: string; position: string | null
}
export interface EventRow {
  seq: number; kind: string; severity: string; at_ms: number; wall_ms: number; position: string | null
  text: string; data: string | null
}
export interface ResultRow { seq: number; position: string; part: string; body: string }
export interface StateRow { seq: number; state: string; wall_ms: number }
/** A batch of `count` readings, the first of which arrived as number `first` of the run. */
export interface BatchRow { seq: number; first: number; count: number }
export type Hashed<Row> = Row & { hash: Buffer }

export function runRow(run: RunRecord): RunRow {
  return {
    id: wellFormed(run.id), sequence: wellFormed(run.sequence), bench: wellFormed(run.bench),
    state: run.state,
    started_wall_ms: run.startedWallMs, ended_wall_ms: run.endedWallMs, person: wellFormed(run.person),
    use: wellFormed(run.use), software: wellFormed(run.software), setup: encode(run.setup),
  }
}

/** `last` is the newest state, where one was written after the run was created. */
export function headOf(row: Omit<RunRow, 'setup'>, last?: StateRow): RunHead {
  const endedWallMs = last?.wall_ms ?? row.ended_wall_ms
  return {
    id: row.id, sequence: row.sequence, bench: row.bench, state: believedState(last?.state ?? row.state),
    startedWallMs: believedWall(row.started_wall_ms),
    endedWallMs: endedWallMs === null ? null : believedWall(endedWallMs),
    person: row.person, use: row.use, software: row.software,
  }
}

export const runOf = (row: RunRow, last?: StateRow): RunRecord =>
  ({ ...headOf(row, last), setup: believedSetup(decode(row.setup)) })

export function channelRow(c: Channel): ChannelRow {
  return {
    channel: c.index, name: wellFormed(c.name), quantity: c.quantity, unit: c.unit,
    position: c.position === undefined ? null : wellFormed(c.position),
  }
}

export function channelOf(row: ChannelRow): Channel {
  return {
    index: row.channel, name: row.name, ...believedQuantity(row.quantity, row.unit),
    ...(row.position === null ? {} : { position: row.position }),
  }
}

export function eventRow(seq: number, e: RunEvent): EventRow {
  return {
    seq, kind: wellFormed(e.kind), severity: e.severity, at_ms: e.atMs, wall_ms: e.wallMs,
    position: e.position === undefined ? null : wellFormed(e.position), text: wellFormed(e.text),
    data: e.data === undefined ? null : encode(e.data),
  }
}

export function eventOf(row: Hashed<EventRow>): StoredEvent {
  return {
    seq: row.seq, hash: row.hash.toString('hex'), kind: row.kind, severity: believedSeverity(row.severity),
    atMs: row.at_ms, wallMs: row.wall_ms, text: row.text,
    ...(row.position === null ? {} : { position: row.position }),
    ...(row.data === null ? {} : { data: believedData(decode(row.data)) }),
  }
}

export function resultRow(seq: number, r: PartResult): ResultRow {
  return { seq, position: wellFormed(r.position), part: wellFormed(r.part), body: encode(r) }
}

export const resultOf = (row: ResultRow): PartResult => believedResult(decode(row.body))
