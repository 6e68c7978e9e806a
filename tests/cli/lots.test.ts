/** `match` and `compare` over an application in memory: what is asked, what is printed, and how it ends. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { tmpdir } from 'node:os'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { siOf } from '../../src/cli/lot-options.ts'
import type { LotSheet } from '../../src/schema/lot-sheet.ts'
import type { CompareAnswer, MatchAnswer } from '../../src/schema/lots.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import type { PartResult } from '../../src/schema/run.ts'
import { criterion, line, result, runOf } from '../report/lot-fixture.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
let folder: string
beforeEach(async () => {
  cli = await openCli()
  folder = mkdtempSync(join(tmpdir(), 'lots-'))
})
afterEach(async () => {
  await cli.close()
  rmSync(folder, { recursive: true })
})

const gains = [101.2, 99.8, 100.4, 100.1]
const names = gains.map((_, i) => `Q${i + 1}`)
const put = async (id: string, results: readonly PartResult[], parts: readonly PartsLine[] = [], startedWallMs = 9e12): Promise<void> => {
  await cli.app.store.createRun({ ...runOf(id, [], parts).run, startedWallMs }, [])
  for (const one of results) await cli.app.store.saveResult(id, one)
}
const putGains = async (): Promise<void> => await put('S9', gains.map((gain, i) =>
  result(names[i]!, [criterion(gain, { expandedU: 0.3 })])), [line(names, 'npn')])

describe('match', () => {
  it('prints which part goes with which, what sets differ by, and what to mind', async () => {
    await putGains()
    const { exit, out } = await cli.run('match', 'S9', '--by', 'quantity=gain,within=1.5', '--kind', 'npn')
    expect(exit).toBe(0)
    expect(out).toContain('2 pairs of 4 parts, 0 left over; the cheapest there can be')
    expect(out).toMatch(/^ +1 +Q2 \+ Q4 +0.300 ± 0.42, below what can be told$/m)
    expect(out).toMatch(/^ +2 +Q1 \+ Q3 +0.800 ± 0.42$/m)
    expect(out).toContain('in 1 of 2 sets the parts differ by less than the measurement can tell')
  })
  it('puts sets onto designators, of a list too, and writes a table', async () => {
    await putGains()
    const list = join(folder, 'to.csv')
    writeFileSync(list, 'ref,kind,value\nQ21-Q22,npn,BC108\nR1,resistor,4k7\n')
    const file = join(folder, 'sets.csv')
    const { exit, out, err } = await cli.run('match', '--by', 'gain', '--kind', 'npn', '--onto', list, '-o', file)
    expect(exit).toBe(0)
    expect(out).toContain('Q2 to Q21, Q4 to Q22')
    expect(out).toContain('1 pair of 4 parts, 2 left over')
    expect(err).toContain('Wrote')
    expect(readFileSync(file, 'utf8')).toContain('1,Q2,Q21,S9')
    expect((await cli.run('match', '--by', 'gain', '--onto', 'A,B,C,D,E,F')).exit).toBe(1)
  })
  it('asks for ratios where the limit is a share, and gives JSON', async () => {
    await putGains()
    const { out } = await cli.run('match', '--by', 'quantity=gain,within=0.5%,weight=3', '--left-over', '10', '--json')
    const answer = JSON.parse(out) as MatchAnswer
    expect(answer.quantities).toEqual([{ quantity: 'gain', unit: '1', as: 'ratio', weight: 3, within: 0.005, per: 0.005 }])
    expect([answer.sets.length, answer.leftOver.length]).toEqual([1, 2])
  })
  it.each([
    [['--by', 'speed=3'], 'quantity=gain,within=5%'], [['--by', 'quantity=gain,within=much'], 'quantity=gain,within=5%'],
    [['--by', 'gain', '--kind', 'valve'], 'there is no such kind'], [['--by', 'gain', '--grade', 'fine'], 'there is no such grade'],
    [['--by', 'gain', '--value', 'many'], 'this is no value'], [['--by', 'gain', '--size', '1'], 'size'], [[], '--by'],
    [['--by', 'quantity=beta'], 'on record: gain'],
  ])('refuses %j', async (argv, why) => {
    await putGains()
    const { exit, err } = await cli.run('match', 'S9', ...argv)
    expect(exit).toBe(2)
    expect(err).toContain(why)
  })
  it('says which run is not there', async () => {
    expect((await cli.run('match', 'nowhere', '--by', 'gain')).err).toContain('there is no run nowhere')
  })
  it('reads amounts as people write them', () => {
    expect(['2mV', '0.5', '10 kΩ', '3e-3', '100n', '1.5'].map(siOf)).toEqual([0.002, 0.5, 10_000, 0.003, 1e-7, 1.5])
    expect(['', 'mV', '2x', '1,5'].map(siOf)).toEqual([NaN, NaN, NaN, NaN])
  })
})

describe('lot', () => {
  it('prints yield, spread and what stands apart, and writes page and table', async () => {
    await putGains()
    const { exit, out } = await cli.run('lot', 'S9', '--histogram')
    expect(exit).toBe(0)
    expect(out).toMatch(/^4 parts +4 accept +100\.0 % accepted/m)
    expect(out).toMatch(/^gain of npn, 4 +mean 100\.4/m)
    expect(out).toContain('gain of npn:')
    const page = join(folder, 'lot.html')
    expect((await cli.run('lot', '-o', page)).out).toContain('Wrote')
    expect(readFileSync(page, 'utf8')).toContain('<h1>Lot sheet of run S9</h1>')
    expect((await cli.run('lot', '-o', join(folder, 'lot.pdf'))).exit).toBe(2)
  })
  it('follows check standards over earlier sessions too', async () => {
    await putGains()
    await put('S8', [], [], 8e12)
    for (const [run, value] of [['S8', 999.9], ['S9', 1000.1]] as const) {
      await cli.app.store.appendEvent(run, { kind: 'standard', severity: 'info', atMs: 1, wallMs: value, text: '', data: {
        standard: 'S1', inControl: true, quantity: 'resistance', certified: 1000, certifiedU: 0.05, value, u: 0.02,
      } })
    }
    const sheet = JSON.parse((await cli.run('lot', 'S9', '--json')).out) as LotSheet
    expect(sheet.standards[0]!.readings.map(({ run, value }) => [run, value])).toEqual([['S8', 999.9], ['S9', 1000.1]])
    expect((await cli.run('lot', 'S9')).out).toMatch(/^standard S1 +1\.00010 kΩ on/m)
  })
  it('ends with 1 where a part was not accepted', async () => {
    await put('S9', [result('Q1', [criterion(3)], { grade: 'reject' })])
    expect((await cli.run('lot', 'S9')).exit).toBe(1)
  })
})

describe('compare', () => {
  it('tells two runs apart in words, with what that rests on', async () => {
    const ohms = (from: number): PartResult[] => Array.from({ length: 12 }, (_, i) =>
      result(`R${i}`, [criterion(from + (i % 4), { name: 'resistance', unit: 'Ω' })]))
    await put('A1', ohms(100))
    await put('B1', ohms(110))
    const { exit, out } = await cli.run('compare', 'A1', 'B1')
    expect(exit).toBe(0)
    expect(out).toMatch(/^A1 +12 +101.50 Ω/m)
    expect(out).toContain('the mean of B1 is 10.0 Ω higher than that of A1')
    expect(out).toContain('This rests on:')
    const { quantities } = JSON.parse((await cli.run('compare', 'A1', 'B1', '--json', '--confidence', '0.99')).out) as CompareAnswer
    expect(quantities[0]!.tests.map(({ name }) => name)).toEqual(['Welch t', 'Mann and Whitney', 'Levene, about medians', 'F of variances'])
  })
  it('writes the comparison as a page, a table and JSON, and nothing else', async () => {
    const ohms = (from: number): PartResult[] => Array.from({ length: 12 }, (_, i) =>
      result(`R${i}`, [criterion(from + (i % 4), { name: 'resistance', unit: 'Ω' })]))
    await put('A1', ohms(100))
    await put('B1', ohms(110))
    const file = (ending: string): string => join(folder, `compared.${ending}`)
    for (const ending of ['html', 'csv', 'json']) {
      const { exit, out } = await cli.run('compare', 'A1', 'B1', '-o', file(ending))
      expect([exit, out.includes(`Wrote ${file(ending)}`)]).toEqual([0, true])
    }
    expect(readFileSync(file('html'), 'utf8')).toContain('<h1>Comparison of lots</h1>')
    expect(readFileSync(file('csv'), 'utf8')).toMatch(/^resistance,Ω,lot,A1,12,101.5,/m)
    const { out } = await cli.run('compare', 'A1', 'B1', '--json', '-o', file('html'))
    expect(JSON.parse(out)).toEqual(JSON.parse(readFileSync(file('json'), 'utf8')))
    expect((await cli.run('compare', 'A1', 'B1', '-o', file('pdf'))).exit).toBe(2)
  })
  it('compares values within one run', async () => {
    const parts = ['100R', '1k'].map((valueText, i) => line([`R${i}1`, `R${i}2`, `R${i}3`], 'resistor', { line: i + 2, valueText }))
    await put('C1', parts.flatMap(({ designators }, i) => designators.map((name, k) =>
      result(name, [criterion(100 * 10 ** i + k, { name: 'resistance', unit: 'Ω' })]))), parts)
    expect((await cli.run('compare', 'C1')).out).toMatch(/^1k +3 +1.0010 kΩ/m)
    expect((await cli.run('compare', 'C1', '--by', 'colour')).exit).toBe(2)
  })
})
