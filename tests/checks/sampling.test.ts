import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { codeLetter, planForLot, planOf, tableCell, type Severity } from '../../src/analysis/lots/sampling.ts'
import {
  acceptance, acceptanceOfLot, acceptancePoisson, acceptanceWithSwitching, shareAtAcceptance, shareBeyondLimit, zeroAcceptanceSample,
} from '../../src/analysis/lots/sampling-curve.ts'
import type { Aql, InspectionLevel } from '../../src/analysis/lots/sampling-tables.ts'
import { bisect } from '../../src/analysis/distributions.ts'
import { packageFile } from '../../src/base/paths.ts'
import { mean, sd } from '../../src/analysis/statistics.ts'

interface Tables {
  aql: Aql[]
  codeLetters: ({ min: number; max: number | null } & Record<InspectionLevel, string>)[]
  tables: Record<Severity, {
    cells: Record<string, Record<Aql, [number, number] | 'up' | 'down'>>
    effective: Record<string, Record<Aql, { n: number; ac: number; re: number; letter: string }>>
  }>
}
const kept = JSON.parse(readFileSync(packageFile('tests/checks/data/sampling/mil-std-105e.json'), 'utf8')) as Tables

describe('MIL-STD-105E single sampling, against another copy of the tables (source in the file)', () => {
  test('all 1248 cells, and the plan each leads to', () => {
    let cells = 0
    for (const [severity, { cells: rows, effective }] of Object.entries(kept.tables) as [Severity, Tables['tables'][Severity]][]) {
      for (const [letter, row] of Object.entries(rows)) {
        for (const aql of kept.aql) {
          expect(tableCell(severity, letter, aql), `${severity} ${letter} ${aql}`).toEqual(row[aql])
          expect(planOf(severity, letter, aql), `${severity} ${letter} ${aql}`).toEqual(effective[letter]![aql])
          cells++
        }
      }
    }
    expect(cells).toBe(1248)
  })

  test('code letters: every row and level at both its ends', () => {
    for (const row of kept.codeLetters) {
      for (const level of ['S-1', 'S-2', 'S-3', 'S-4', 'I', 'II', 'III'] as const) {
        expect(codeLetter(row.min, level)).toBe(row[level])
        expect(codeLetter(row.max ?? 9_000_000, level)).toBe(row[level])
      }
    }
  })

  test('cells read apart: 501-1200 gives J, G, K, E; J 1.0 is 80/2/3; H 1.0 50/1/2; J 0.25 goes to H 50/0', () => {
    expect((['II', 'I', 'III', 'S-3'] as const).map(level => codeLetter(800, level))).toEqual(['J', 'G', 'K', 'E'])
    expect(planOf('normal', 'J', '1.0')).toEqual({ letter: 'J', n: 80, ac: 2, re: 3 })
    expect(planOf('normal', 'H', '1.0')).toEqual({ letter: 'H', n: 50, ac: 1, re: 2 })
    expect(planOf('normal', 'J', '0.25')).toEqual({ letter: 'H', n: 50, ac: 0, re: 1 })
  })

  test('5,000 at 1.5 (normal and tightened read in a public package\'s example): 200/7/8, 200/5/6, 80/3/6', () => {
    expect(planForLot(5000, '1.5')).toMatchObject({ n: 200, ac: 7, re: 8, all: false })
    expect(planForLot(5000, '1.5', 'tightened')).toMatchObject({ n: 200, ac: 5, re: 6 })
    expect(planForLot(5000, '1.5', 'reduced')).toMatchObject({ n: 80, ac: 3, re: 6 })
  })

  test('a plan that asks for more than the lot has means every part; what is no lot is refused', () => {
    expect(planForLot(60, '0.10')).toMatchObject({ codeLetter: 'E', all: true, n: 60 })
    expect(() => codeLetter(1)).toThrow(/two parts/)
    expect(() => tableCell('normal', 'S', '1.0')).toThrow(/no code letter/)
  })
})

describe('what a plan lets pass', () => {
  test('n 80, c 2 (computed independently): binomial 0.953447, 0.230621; Poisson 0.952577, 0.238103 at 1 and 5 %', () => {
    expect(acceptance(0.01, 80, 2)).toBeCloseTo(0.953447, 6)
    expect(acceptance(0.05, 80, 2)).toBeCloseTo(0.230621, 6)
    expect(acceptancePoisson(0.01, 80, 2)).toBeCloseTo(0.952577, 6)
    expect(acceptancePoisson(0.05, 80, 2)).toBeCloseTo(0.238103, 6)
  })

  test('its producer\'s and consumer\'s points (computed independently)', () => {
    expect(shareAtAcceptance(0.95, 80, 2)).toBeCloseTo(0.0102978, 7)
    expect(shareAtAcceptance(0.1, 80, 2)).toBeCloseTo(0.0651597, 7)
    expect(shareAtAcceptance(0.95, 80, 2, acceptancePoisson)).toBeCloseTo(0.0102211, 7)
    expect(shareAtAcceptance(0.1, 80, 2, acceptancePoisson)).toBeCloseTo(0.066529, 7)
  })

  test('normal 200/7 with tightened 200/5: 0.95 at 1.93298 %, 0.10 at 4.58791 % (computed independently)', () => {
    const scheme = (p: number): number => acceptanceWithSwitching(acceptance(p, 200, 7), acceptance(p, 200, 5))
    const [high, low] = [0.95, 0.1].map(chance => bisect(p => scheme(p) - chance, 0.001, 0.2)) as [number, number]
    expect(high).toBeCloseTo(0.01932984, 8)
    expect(low).toBeCloseTo(0.04587915, 8)
    // a public package prints 1.9296 and 4.5884 % (read): near, and neither binomial nor Poisson to its last digits
    expect(Math.abs(high - 0.019296)).toBeLessThan(5e-5)
    expect(Math.abs(low - 0.045884)).toBeLessThan(5e-5)
  })

  test('accept on zero (computed independently): 1 % at 90 and 95 % needs 230 and 299, 5 % at 95 % needs 59', () => {
    expect(zeroAcceptanceSample(0.01, 0.9)).toBe(230)
    expect(zeroAcceptanceSample(0.01, 0.95)).toBe(299)
    expect(zeroAcceptanceSample(0.05, 0.95)).toBe(59)
  })

  test('accept on zero in a small lot: by counting, 2 bad of 10 at 90 % needs 7', () => {
    // chance that n of 10 miss both bad ones: (10-n)(9-n)/90; 6 gives 12/90, 7 gives 6/90
    expect(zeroAcceptanceSample(0.2, 0.9, 10)).toBe(7)
    expect(acceptanceOfLot(2, 10, 7, 0)).toBeCloseTo(6 / 90, 10)
    expect(acceptanceOfLot(2, 10, 7, 2)).toBeCloseTo(1, 10)
    expect(zeroAcceptanceSample(0.01, 0.95, 50)).toBe(48)
  })

  test('by variables: n 75, k 1.84097 links to 3.17 % (read); example of five temperatures, 2.19 % (from memory)', () => {
    expect(shareBeyondLimit(1.84097, 75)).toBeCloseTo(0.0317, 4)
    const values = [197, 188, 184, 205, 201]
    const quality = (209 - mean(values)) / sd(values)
    expect(quality).toBeCloseTo(1.59029, 5)
    expect(Math.abs(shareBeyondLimit(quality, 5) - 0.0219)).toBeLessThan(1e-4)
  })

  test('by variables: ten resistances above 620 ohm, Q 1.56817, 4.9 % (from memory)', () => {
    const ohm = [643, 651, 619, 627, 658, 670, 673, 641, 638, 650]
    const quality = (mean(ohm) - 620) / sd(ohm)
    expect(quality).toBeCloseTo(1.56817, 5)
    expect(shareBeyondLimit(quality, 10)).toBeCloseTo(0.049, 3)
  })
})
