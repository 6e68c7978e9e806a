/** The demo of screening: what it says, how it counts, and the real processes. */
import { execFile } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { PassThrough } from 'node:stream'
import { describe, expect, it } from 'vitest'
import { builtEntry } from '../../src/base/paths.ts'
import { runDemo } from '../../src/cli/demo.ts'
import { ScreeningScreen } from '../../src/cli/demo-screening-screen.ts'
import {
  screeningJson, screeningLines, standingOf, type PartTruth, type ScreeningSummary,
} from '../../src/cli/demo-screening-text.ts'
import type { Grade, PartResult, RunRecord } from '../../src/schema/run.ts'
import type { ScreenStatus } from '../../src/schema/screening.ts'

const truthOf = (part: string, over: Partial<PartTruth> = {}): PartTruth =>
  ({ part, kind: 'resistor', defect: null, truth: 'sound', grades: ['accept'], faint: false, ...over })
const bad = { defect: 'drifted', truth: 'drifted, 5.6 kΩ', grades: ['reject' as const] }

describe('how a judgement stands to the truth', () => {
  it.each<[string, Partial<PartTruth>, Grade | undefined, string]>([
    ['a sound part that was accepted', {}, 'accept', 'right'], ['one that was rejected', {}, 'reject', 'wrong'],
    ['one too near its limit', {}, 'marginal', 'undecidable'], ['one of which nothing could be told', {}, 'cannot tell', 'undecidable'],
    ['a bad part that was rejected', bad, 'reject', 'right'], ['one that was accepted', bad, 'accept', 'wrong'],
    ['one that was accepted, and does not show it', { ...bad, faint: true }, 'accept', 'undecidable'],
    ['one that was not proven', bad, undefined, 'not proven'],
  ])('%s', (_, over, grade, standing) => { expect(standingOf(truthOf('R1', over), grade)).toBe(standing) })
})

const result = (position: string, grade: Grade): PartResult => ({
  position, part: `pavilion-${position}`, profile: 'parts list', grade, provisional: false, disposition: grade === 'accept' ? 'use' : 'replace',
  pConform: 1, reason: 'so it is', criteria: [], figures: {},
})
const plan = { cannot: [{ id: 'V1', why: 'there is no method for a tube', wayOut: 'prove it by hand' }] }
const summary: ScreeningSummary = {
  run: { id: 'S1', state: 'done', startedWallMs: 0, endedWallMs: 120_000, setup: { plan } } as unknown as RunRecord,
  results: [result('R1', 'accept'), result('R2', 'accept'), result('R3', 'marginal')],
  truth: [truthOf('R1'), truthOf('R2', bad), truthOf('R3'), truthOf('C10')],
  audit: { wrongs: [], most: { volts: 20, amps: 0.01 }, mixUp: { asked: 'R1', taken: 'R3', noticed: true } }, lot: ['what lot says'], records: new Map([['pavilion-R1', '/there/pavilion-R1.html']]), wallS: 8,
}

describe('what the demo of screening ends with', () => {
  it('is the lot, what could not be proven and why, the truth beside the judgement, and a count', () => {
    const lines = screeningLines(summary)
    expect(lines).toContain('what lot says')
    expect(lines).toContain('  V1: there is no method for a tube; prove it by hand')
    expect(lines.find(line => line.startsWith('Run S1'))).toMatch(/^Run S1: done\. 2 min 00 s of bench time in 8/)
    expect(lines.find(line => line.startsWith('R2'))).toMatch(/^R2 +drifted, 5.6 kΩ +accept, use +wrong$/)
    expect(lines.slice(-5, -2)).toEqual([
      'Wrong, or undecidable by what was measured:', '  R2 (drifted, 5.6 kΩ), accept: so it is', '  R3 (sound), marginal: so it is',
    ])
    expect(lines.find(line => line.startsWith('C10'))).toMatch(/not proven$/)
    expect(lines.at(-1)).toBe('Of 3 parts 1 were judged right and 1 wrong; of 1 the bench cannot tell, by what was measured.')
  })
  it('is one object for a program', () => {
    expect(screeningJson(summary)).toMatchObject({
      right: 1, wrong: 1, undecidable: 1, accepted: 2, marginal: 1, rejected: 0, notProven: plan.cannot, benchMinutes: 2,
      parts: [{ part: 'R1', record: '/there/pavilion-R1.html', standing: 'right' }, { part: 'R2', standing: 'wrong' }, {}, { part: 'C10', grade: null }],
    })
  })
  it('tells it where something was done at the jig that nobody should do', () => {
    const audit = { ...summary.audit, wrongs: ['relay 3 moved while a source was on'], mixUp: null }
    const text = screeningLines({ ...summary, audit }).join('\n')
    expect(text).toContain('wrong: relay 3 moved while a source was on')
    expect(text).not.toContain('hands took')
  })
  it('tells whether the bench noticed the wrong part in hand', () => {
    const of = (noticed: boolean): string =>
      screeningLines({ ...summary, audit: { ...summary.audit, mixUp: { asked: 'R1', taken: 'R3', noticed } } }).join('\n')
    expect(of(true)).toContain('Once the hands took R3 for R1: the bench asked, and the right one was put in.')
    expect(of(false)).toContain('Once the hands took R3 for R1: nobody noticed.')
  })
})

describe('the screen of the demo of screening', () => {
  it('tells leads once, what is asked of a part and each outcome as it is told, but no name that is asked for', () => {
    const out = new PassThrough()
    const screen = new ScreeningScreen(out, false)
    const status = (about: string, tone: 'ask' | 'good', text: string, asked = about): ScreenStatus => ({
      run: 'S1', asked, leads: 'two leads', stands: 'asking', paused: false, told: { tone, text, about }, counts: { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }, left: 1, settled: 0,
    })
    for (const one of [
      status('R1', 'ask', 'R1'), status('R1', 'good', 'R1: 4.7 kΩ, good'), status('R1', 'good', 'R1: 4.7 kΩ, good'), status('R2', 'ask', 'R2'),
      status('RV1', 'ask', 'turn the shaft to a stop'), status('RV1', 'ask', 'turn the shaft to a stop', 'S1'), status('S1', 'ask', 'standard S1'),
    ]) screen.status(one)
    expect(String(out.read())).toBe('Leads: two leads\n  R1: 4.7 kΩ, good\n  RV1: turn the shaft to a stop\n')
  })
})

it('refuses a job that there is not', async () => {
  await expect(runDemo({ job: 'dancing', seed: '1', json: false, out: new PassThrough() })).rejects.toThrow(/--job/)
})

describe('the processes of the demo of screening', () => {
  it('screen every part that can be proven, hands-free, and judge none wrong', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'nightbench-demo-'))
    try {
      const argv = ['demo', '--job', 'screening', '--seed', '7', '--json', '--data', folder]
      const { exit, out } = await new Promise<{ exit: number; out: string }>(resolve => {
        execFile(process.execPath, [builtEntry('src/main'), ...argv], { maxBuffer: 2 ** 24 }, (error, text, err) =>
          resolve({ exit: error ? Number(error.code) : 0, out: err + text }))
      })
      const lines = out.trimEnd().split('\n')
      expect(exit, out.slice(-3000)).toBe(0)
      const told = JSON.parse(lines.at(-1)!) as { parts: { part: string; grade: string | null; record: string }[]; right: number } & Record<string, unknown>
      expect(told).toMatchObject({ state: 'done', wrong: 0, wrongs: [], mixUp: { noticed: true } })
      expect(told.right).toBeGreaterThan(25)
      const proven = told.parts.filter(({ grade }) => grade !== null)
      // Each outcome was told as it came, and has a record.
      for (const { part, record } of proven) {
        expect(lines.some(line => line.startsWith(`  ${part}: `)), part).toBe(true)
        expect(readFileSync(record, 'utf8')).toContain(part)
      }
    } finally {
      rmSync(folder, { recursive: true, force: true, maxRetries: 5 })
    }
  }, 180_000)
})
