import { describe, expect, it } from 'vitest'
import { outcomeLines } from '../../src/cli/outcome.ts'
import { resultLine } from '../../src/cli/watch.ts'
import type { PartResult, RunEvent, RunRecord, RunState } from '../../src/schema/run.ts'

const startWallMs = Date.UTC(2026, 10, 20, 18)
const part = (position: string): object => ({ position, part: `pavilion-${position}`, profile: 'p' })
const run = (state: RunState): RunRecord => ({
  id: 'R1', sequence: 'reform', bench: 'pavilion', state, startedWallMs: startWallMs, endedWallMs: startWallMs + 3_600_000,
  person: 'the night watch', use: 'unattended', software: '0', setup: { request: { parts: ['P01', 'P02', 'P10'].map(part) } },
})
const drop: RunEvent = {
  kind: 'drop', severity: 'warning', atMs: 0, wallMs: startWallMs, position: 'P02', text: 'P02 off the bus 20 ms after the reading: it shorts',
}
const result: PartResult = {
  position: 'P10', part: 'pavilion-P10', profile: 'p', grade: 'accept', provisional: true, disposition: 'use', pConform: 1,
  reason: 'within every limit', criteria: [], figures: {},
}
const rowOf = (lines: readonly string[], position: string): string | undefined =>
  lines.find(line => line.startsWith(position) && line.includes('pavilion'))

describe('how a run ended', () => {
  it.each(['stopped', 'tripped', 'interrupted'] as const)('names the parts without a verdict too when it was %s', state => {
    const lines = outcomeLines(run(state), [result], [drop])
    expect(rowOf(lines, 'P01')).toMatch(/none .*the run was .* before$/)
    expect(rowOf(lines, 'P02')).toMatch(/none .*off the bus 20 ms after the reading: it shorts$/)
    expect(rowOf(lines, 'P10')).toMatch(/accept \(provisional\) +use +within every limit$/)
    expect(lines.filter(line => line.includes('pavilion')).map(line => line.slice(0, 3))).toEqual(['P01', 'P02', 'P10'])
  })

  it('tells why the bridge kept a part off', () => {
    const events = [{ ...drop, kind: 'condemned', text: 'P02: gross ESR: 12 Ω' }, { ...drop, kind: 'unjudged', position: 'P01', text: 'P01: no answer' }]
    const lines = outcomeLines(run('tripped'), [result], events)
    expect(rowOf(lines, 'P02')).toMatch(/none +gross ESR: 12 Ω$/)
    expect(rowOf(lines, 'P01')).toMatch(/none +no answer$/)
  })

  it('says of a position that was checked how the position is, and nothing to do with its part', () => {
    const of = 'position'
    const lines = outcomeLines(run('done'), [
      { ...result, of, provisional: false, reason: '14 checks passed' }, { ...result, of, position: 'P01', grade: 'reject', reason: 'its relay does not open' },
    ], [])
    expect(rowOf(lines, 'P10')).toMatch(/^P10 +pavilion-P10 +position sound +14 checks passed$/)
    expect(lines.find(line => line.startsWith('P01'))).toMatch(/position at fault +its relay does not open$/)
    expect(resultLine({ ...result, of, grade: 'reject', reason: 'its relay does not open' })).toBe('P10  position at fault. its relay does not open')
  })

  it('has only verdicts where the run got done, and nothing where it was refused', () => {
    expect(rowOf(outcomeLines(run('done'), [result], []), 'P01')).toBeUndefined()
    expect(rowOf(outcomeLines(run('refused'), [], []), 'P01')).toBeUndefined()
  })
})
