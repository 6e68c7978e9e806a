/** A reel of which a sample alone is measured, with the whole stack: drawn, judged, carried on to the next lot. */
import { describe, expect, it } from 'vitest'
import { sourcesOnRecord } from '../../src/app/lots-sampling.ts'
import { sampleDrawn, type SampleDrawn } from '../../src/schema/sampling.ts'
import type { ScreenRequest } from '../../src/schema/screening.ts'
import { openTable, requestFor, resistor1k, soon, tablePart, type Table } from './screening-bench.ts'

const reelOf = (unit: string, quantity: number, over: Partial<ScreenRequest> = {}): ScreenRequest => {
  const { parts: [line], ...request } = requestFor([tablePart('R1', 'resistor')])
  return {
    ...request, unit, parts: [{ ...line!, designators: [], quantity, line: 1 }],
    sample: { aql: '2.5', level: 'I', source: 'drawer', steady: true }, ...over,
  }
}
/** Every part of the reel lies on the table; those named are 20 % off. */
async function reel(quantity: number, bad: readonly number[] = []): Promise<Table> {
  const table = await openTable([])
  put(table, quantity, bad)
  table.onTold = (tone, text) => { if (tone === 'attention' && text.includes('?')) soon(table, 'keep') }
  return table
}
function put(table: Table, quantity: number, bad: readonly number[]): void {
  for (let i = 1; i <= quantity; i++) table.parts.set(`line 1 #${i}`, resistor1k(`r${i}`, bad.includes(i) ? 5640 : 4700))
}
const lotOf = async (table: Table, run: string) => (await table.store.events(run)).filter(({ kind }) => kind === 'lot')
const sampleIn = ({ setup }: { setup: Readonly<Record<string, unknown>> }): SampleDrawn => sampleDrawn.parse(setup['sample'])
const all = (quantity: number): number[] => Array.from({ length: quantity }, (_, i) => i + 1)

describe('a sample of a reel', () => {
  it('is measured and nothing else; the lot is accepted, and the rest has no result', async () => {
    const table = await reel(60)
    const run = await table.screen(reelOf('reel-1', 60))
    const sample = sampleIn(run)
    // Lot of 60, level I, AQL 2.5: letter C, n = 5, accepted with none bad.
    expect([sample.letter, sample.n, sample.ac]).toEqual(['C', 5, 0])
    const results = await table.store.results(run.id)
    expect(results.map(({ position }) => position).sort()).toEqual([...sample.drawn].sort())
    const [lot] = await lotOf(table, run.id)
    expect(lot).toMatchObject({ severity: 'info', data: { outcome: 'accepted', bad: 0, source: 'drawer', after: 'normal', lots: '0a' } })
    expect(lot!.text).toContain('55 parts were not measured and have no grade')
    expect(await table.store.verifyChain(run.id)).toBeNull()
  })

  it('refuses the lot where it is bad, tightens after two, and shows that by the source', async () => {
    const table = await reel(60, all(60))
    for (const unit of ['reel-1', 'reel-2']) {
      const [lot] = await lotOf(table, (await table.screen(reelOf(unit, 60))).id)
      expect(lot).toMatchObject({ severity: 'warning', data: { outcome: 'refused', bad: 5 } })
    }
    const plan = await table.daemon.screening.plan(reelOf('reel-3', 60))
    expect(plan.sample).toMatchObject({ inspection: 'tightened', n: 8, ac: 0 })
    expect(plan.groups.flatMap(({ parts }) => parts)).toEqual(plan.sample!.drawn)
    const [source] = await sourcesOnRecord(table.store)
    expect(source).toMatchObject({ source: 'drawer', inspection: 'tightened', lots: [{ lot: 'reel-1', outcome: 'refused', bad: 5 }, { lot: 'reel-2' }] })
    expect(await sourcesOnRecord(table.store, 'elsewhere')).toEqual([])
  })

  it('goes on after an interruption with the parts that were drawn, and is decided over both sessions', async () => {
    const table = await reel(60)
    let seen = 0
    table.onTold = tone => { if (tone === 'good' && ++seen === 2) soon(table, 'end', 10) }
    const first = await table.screen(reelOf('reel-1', 60))
    expect((await lotOf(table, first.id))[0]).toMatchObject({ data: { outcome: 'undecided' } })
    table.onTold = () => {}
    await expect(table.clock.run(table.daemon.screening.plan(reelOf('reel-1', 60, {
      sample: { aql: '2.5', level: 'I', source: 'drawer', steady: true, seed: 'luckier' },
    })))).rejects.toThrow('was drawn already')
    const second = await table.screen(reelOf('reel-1', 60))
    expect(sampleIn(second)).toEqual(sampleIn(first))
    expect((await table.store.results(second.id)).length).toBeLessThan(5)
    expect((await lotOf(table, second.id))[0]).toMatchObject({ data: { outcome: 'accepted', lots: '0a' } })
  })

  it('is not drawn again once the lot was decided, but on request, and then counts for nothing', async () => {
    const table = await reel(60, all(60))
    await table.screen(reelOf('reel-1', 60))
    await expect(table.clock.run(table.daemon.screening.begin(reelOf('reel-1', 60)))).rejects.toThrow('was decided already')
    put(table, 60, [])
    const again = await table.screen(reelOf('reel-1', 60, { ask: 'all' }))
    expect(sampleIn(again)).toMatchObject({ original: false })
    expect((await lotOf(table, again.id))[0]).toMatchObject({ data: { outcome: 'accepted', after: null } })
    const [source] = await sourcesOnRecord(table.store)
    expect(source!.lots.map(({ outcome }) => outcome)).toEqual(['refused', 'accepted'])
    expect((await table.daemon.screening.plan(reelOf('reel-2', 60))).sample!.lots).toBe('5r')
  })

  it('is refused of a list of several lines, and measures all of a small lot', async () => {
    const table = await reel(4)
    const mixed = { ...reelOf('mixed', 4), parts: requestFor([tablePart('R1', 'resistor'), tablePart('D1', 'diode')]).parts }
    await expect(table.clock.run(table.daemon.screening.plan(mixed))).rejects.toThrow('one reel or drawer')
    const run = await table.screen(reelOf('few', 4, { sample: { aql: '0.65', level: 'II', source: 'drawer', steady: true } }))
    expect((await table.store.results(run.id))).toHaveLength(4)
    expect((await lotOf(table, run.id))[0]!.text).not.toContain('not measured')
  })
})
