/** `screen --sample` and `sampling` over an application in memory. */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { sourceState, type SourceState } from '../../src/schema/sampling.ts'
import { screenRequest, type ScreenRequest } from '../../src/schema/screening.ts'
import { drawSample, uninspected } from '../../src/screening/sample.ts'
import { lotDecided } from '../../src/app/lots-sampling.ts'
import { line, runOf } from '../report/lot-fixture.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
beforeEach(async () => { cli = await openCli() })
afterEach(async () => { await cli.close() })

const reel = (text = '200 × 4k7 5 %\n'): string => {
  const path = join(cli.folder, 'reel.txt')
  writeFileSync(path, text)
  return path
}
const asked = (): ScreenRequest['sample'][] =>
  cli.app.calls.filter(({ name }) => name === 'screening.plan').map(({ argument }) => (argument as ScreenRequest).sample)

describe('screen --sample', () => {
  it('asks for a sample of a reel, its source its kind and value where nothing is said', async () => {
    const { exit } = await cli.run('screen', reel(), '--sample', 'aql=1.0', '--plan')
    expect(exit).not.toBe(2)
    await cli.run('screen', reel(), '--sample', 'aql=0.65,level=S-3,source=new reels,seed=7,steady=no,reduced=5', '--source-mended', 'other maker', '--plan')
    expect(asked()).toEqual([
      { aql: '1.0', level: 'II', source: 'resistor 4k7 5 %', steady: true },
      { aql: '0.65', level: 'S-3', source: 'new reels', seed: '7', steady: false, reducedLimit: 5, mended: 'other maker' },
    ])
  })
  it.each([['aql=1'], ['aql=65'], ['level=II'], ['aql=1.0,level=IV'], ['aql=1.0,colour=red'], ['1.0']])('refuses %s', async given => {
    const { exit, err } = await cli.run('screen', reel(), '--sample', given, '--plan')
    expect(exit).toBe(2)
    expect(err).toContain('aql=1.0')
    expect(asked()).toEqual([])
  })
  it('refuses a mended source without a sample', async () => {
    expect((await cli.run('screen', reel(), '--source-mended', 'x', '--plan')).exit).toBe(2)
  })
})

/** A lot on record as a session leaves it. */
async function putLot(run: string, lot: string, bad: number, startedWallMs: number): Promise<void> {
  const names = Array.from({ length: 60 }, (_, i) => `line 1 #${i + 1}`)
  const sample = drawSample(names, { aql: '2.5', level: 'I', source: 'drawer', steady: true }, uninspected, { seed: lot, original: true })
  const request = screenRequest.parse({ unit: lot, person: 'Ida', parts: [line([], 'resistor', { quantity: 60, line: 1 })] })
  await cli.app.store.createRun({ ...runOf(run, []).run, startedWallMs, setup: { request, sample } }, [])
  const decided = lotDecided(sample, new Map(sample.drawn.map((name, i) => [name, i < bad ? 'reject' as const : 'accept' as const])))
  await cli.app.store.appendEvent(run, { ...decided, atMs: 0, wallMs: startedWallMs + 1 })
}

describe('sampling', () => {
  it('says that nothing was sampled, and then how each source is inspected and what became of its lots', async () => {
    expect((await cli.run('sampling')).out).toContain('No lot was sampled yet.')
    await putLot('L1', 'reel-1', 0, 9e12)
    await putLot('L2', 'reel-2', 3, 9.1e12)
    const { exit, out } = await cli.run('sampling')
    expect(exit).toBe(0)
    expect(out).toContain('drawer, level I, AQL 2.5 %: normal inspection is next')
    expect(out).toMatch(/^L1 .* reel-1 +normal +5 of 5 +60 +0 +accepted$/m)
    expect(out).toMatch(/^L2 .* reel-2 +normal +5 of 5 +60 +3 +refused$/m)
    const sources = JSON.parse((await cli.run('sampling', 'drawer', '--json')).out) as SourceState[]
    expect(sources.map(one => sourceState.parse(one).lots.length)).toEqual([2])
    const unknown = await cli.run('sampling', 'attic')
    expect(unknown.err).toContain('no lot of this source was sampled')
    expect(unknown.exit).toBe(2)
  })
})
