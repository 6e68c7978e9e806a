/** Runs with parts as a screening session leaves them on record, made by hand. */
import type { LotRun } from '../../src/report/lot-parts.ts'
import type { PartKind, PartsLine } from '../../src/schema/parts-list.ts'
import type { Criterion, PartResult, RunRecord } from '../../src/schema/run.ts'

export const criterion = (value: number, over: Partial<Criterion> = {}): Criterion => ({
  name: 'gain', value, unit: '1', expandedU: 1, guardBand: 0, pConform: 1, grade: 'accept', source: 'list', limitLow: 20, ...over,
})

export const result = (position: string, criteria: readonly Criterion[], over: Partial<PartResult> = {}): PartResult => ({
  position, part: `pavilion-${position}`, profile: 'parts list', grade: 'accept', provisional: false, disposition: 'use', pConform: 1, reason: 'sound',
  criteria, figures: {}, ...over,
})

export const line = (designators: readonly string[], kind: PartKind, over: Partial<PartsLine> = {}): PartsLine => ({
  line: 2, designators: [...designators], quantity: designators.length, kind, kindFrom: 'list', material: 'silicon', dielectrics: [], safetyClasses: [],
  valueText: 'BC108', value: null, toleranceMinus: null, tolerancePlus: null, ratedV: null, ratedForm: null, ratedW: null, tempcoPpmPerK: null,
  ratingText: '', where: null, note: '', ...over,
})

export const meter = { name: 'meter', identity: 'A,B,1,2', url: 'memory:meter', profile: 'multimeter', hash: 'f00' }

export const runOf = (id: string, results: readonly PartResult[], parts: readonly PartsLine[] = [], over: Partial<RunRecord> = {}): LotRun => ({
  run: {
    id, sequence: 'screen', bench: 'pavilion', state: 'done', startedWallMs: 1, endedWallMs: 2, person: 'Ida', use: 'touch-safe', software: '0',
    setup: { request: { unit: 'pavilion', parts }, instruments: [meter] }, ...over,
  },
  results,
})
