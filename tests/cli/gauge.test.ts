/** `gauge` and `gauge-result` over an application in memory. */
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { readingName, type GaugeAnswer } from '../../src/schema/gauge.ts'
import { screenRequest, type ScreenRequest } from '../../src/schema/screening.ts'
import { criterion, line, result, runOf } from '../report/lot-fixture.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
beforeEach(async () => { cli = await openCli() })
afterEach(async () => { await cli.close() })

const list = (): string => {
  const path = join(cli.folder, 'ten.csv')
  writeFileSync(path, 'ref,value,tolerance\nR1-R3,4k7,5\n')
  return path
}
const request = (): ScreenRequest => cli.app.calls.find(({ name }) => name.startsWith('screening.'))!.argument as ScreenRequest
const turns = async (): Promise<void> => { for (let i = 0; i < 20; i++) await new Promise(setImmediate) }

async function put(id: string, spread: number, count = 12): Promise<void> {
  const study = { people: ['Ida', 'Bo'], trials: 2 }
  const asked = screenRequest.parse({ unit: 'ten', person: 'Ida', parts: [line(['R1', 'R2', 'R3'], 'resistor')], study })
  await cli.app.store.createRun({ ...runOf(id, []).run, startedWallMs: 9e12, setup: { request: asked } }, [])
  const names = ['R1', 'R2', 'R3'].flatMap((part, j) => study.people.flatMap((who, i) => [1, 2].map(trial =>
    [readingName(part, who, trial), 4700 + 40 * j + spread * (i + trial + ((i + trial + j) % 2))] as const)))
  for (const [name, ohm] of names.slice(0, count)) {
    await cli.app.store.saveResult(id, result(name, [criterion(ohm, { name: 'resistance', unit: 'Ω', limitLow: 4465, limitHigh: 4935 })]))
  }
}

describe('gauge', () => {
  it('asks for the list, the people and the trials', async () => {
    await cli.run('gauge', list(), '--people', 'Ida, Bo', '--trials', '2', '--quantity', 'resistance', '--plan')
    expect(request()).toMatchObject({ unit: 'ten', study: { people: ['Ida', 'Bo'], trials: 2, quantity: 'resistance' } })
  })
  it.each([[['--people', 'Ida']], [['--people', 'Ida,Ida']], [['--people', 'Ida,Bo', '--trials', '1']], [[]]])('refuses %j', async argv => {
    expect((await cli.run('gauge', list(), ...argv, '--plan')).exit).toBe(2)
    expect(cli.app.calls).toEqual([])
  })
  it('leads the session, and says at its end what readings are missing', async () => {
    const watching = cli.run('gauge', list(), '--people', 'Ida,Bo')
    while (cli.app.listeners.size === 0) await turns()
    cli.app.screening.shown = null
    cli.app.emit({ type: 'screening', screening: null })
    await cli.app.finish('S1', 'done')
    const { exit, out } = await watching
    expect(exit).toBe(1)
    expect(out).toMatch(/the study is not whole: 18 of 18 readings are missing|needs parts/)
  })
})

describe('gauge-result', () => {
  it('prints spreads with intervals, share of the tolerance, categories, people, and what it says', async () => {
    await put('G1', 0.5)
    const { exit, out } = await cli.run('gauge-result')
    expect(exit).toBe(0)
    expect(out).toMatch(/^resistance: 3 parts, 2 people, 2 trials each; analysis of variance, interaction/m)
    expect(out).toMatch(/^repeatability +[\d.]+ m?Ω +[\d.]+ m?Ω to /m)
    expect(out).toMatch(/share of the tolerance of 470 Ω: [\d.]+ %/)
    expect(out).toContain('distinct categories: ')
    expect(out).toContain('the jig with these people is good for this')
    const answer = JSON.parse((await cli.run('gauge-result', 'G1', '--json', '--confidence', '0.9')).out) as GaugeAnswer
    expect([answer.verdict, answer.confidence, answer.runs]).toEqual(['good', 0.9, ['G1']])
  })
  it('writes the result as a page, a table and JSON, and nothing else', async () => {
    await put('G1', 0.5)
    const file = (ending: string): string => join(cli.folder, `study.${ending}`)
    for (const ending of ['html', 'csv', 'json']) {
      const { exit, out } = await cli.run('gauge-result', '-o', file(ending))
      expect([exit, out.includes(`Wrote ${file(ending)}`)]).toEqual([0, true])
    }
    expect(readFileSync(file('html'), 'utf8')).toContain('<h1>Study of the gauge: resistance</h1>')
    expect(readFileSync(file('csv'), 'utf8')).toMatch(/^figure,repeatability,,,,[\d.]+,[\d.]+,[\d.]+,Ω\r$/m)
    expect((JSON.parse(readFileSync(file('json'), 'utf8')) as GaugeAnswer).verdict).toBe('good')
    expect((await cli.run('gauge-result', '-o', file('txt'))).exit).toBe(2)
  })
  it('ends with 1 where the gauge is not fit, and 2 where there is nothing to judge', async () => {
    await put('G1', 30, 5)
    const { exit, err } = await cli.run('gauge-result', 'G1')
    expect(exit).toBe(2)
    expect(err).toContain('7 of 12 readings are missing')
    await put('G2', 30)
    expect((await cli.run('gauge-result', 'G1')).exit).toBe(1)
  })
})
