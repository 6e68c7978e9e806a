/** A study of the gauge with the whole stack: parts, people and trials at the jig, over an interruption too. */
import { describe, expect, it } from 'vitest'
import { Lots } from '../../src/app/lots.ts'
import { doLotJob } from '../../src/app/lots-work.ts'
import { readingName, type GaugeAnswer } from '../../src/schema/gauge.ts'
import type { ScreenRequest } from '../../src/schema/screening.ts'
import { openTable, requestFor, resistor1k, soon, tablePart, type Table } from './screening-bench.ts'

const people = ['Ida', 'Bo']
const parts = ['R1', 'R2', 'R3', 'R4']
const study = { people, trials: 2 }
const request = (over: Partial<ScreenRequest> = {}): ScreenRequest =>
  requestFor(parts.map(id => tablePart(id, 'resistor')), { unit: 'gauge', study, ...over })
/** One person presses the clips otherwise: what they put in reads `more` ohms more. */
async function jigOf(more: number): Promise<Table> {
  const table = await openTable([])
  for (const [i, part] of parts.entries()) {
    for (const who of people) {
      for (const trial of [1, 2]) table.parts.set(readingName(part, who, trial), resistor1k(part, 4640 + 30 * i + (who === 'Bo' ? more : 0)))
    }
  }
  return table
}
const resultOf = async (table: Table, run: string): Promise<GaugeAnswer> =>
  await new Lots(table.store, async job => doLotJob(job)).gauge({ run, confidence: 0.95 })

describe('a study of the gauge', () => {
  it('asks every person for every part as often, person by person, each in another order', async () => {
    const table = await jigOf(0)
    const run = await table.screen(request())
    expect(run.state).toBe('done')
    const asked = table.told.filter(({ tone }) => tone === 'ask').map(({ text }) => text)
    expect(new Set(asked).size).toBe(16)
    expect(asked.map(text => text.replace(/^R\d /, ''))).toEqual(
      ['by Ida #1', 'by Bo #1', 'by Ida #2', 'by Bo #2'].flatMap(who => [who, who, who, who]))
    const orders = [0, 4, 8, 12].map(from => asked.slice(from, from + 4).map(text => text.slice(0, 2)).join())
    expect(new Set(orders).size).toBeGreaterThan(1)
    for (const order of orders) expect(order.split(',').sort()).toEqual(parts)
  })

  it('comes to a gauge that is good where nobody matters, and says who reads more where somebody does', async () => {
    const alike = await jigOf(0)
    const good = await resultOf(alike, (await alike.screen(request())).id)
    expect(good).toMatchObject({ quantity: 'resistance', unit: 'Ω', verdict: 'good', tolerance: expect.closeTo(470, 6) as number })
    const unlike = await jigOf(40)
    const bad = await resultOf(unlike, (await unlike.screen(request())).id)
    expect(bad.verdict).toBe('not fit')
    expect(bad.says.join()).toMatch(/Bo reads (39|40|41) Ω more than Ida/)
    expect(bad.reproducibility.value).toBeGreaterThan(10 * bad.repeatability.value!)
  })

  it('goes on where it was after an interruption, and is told over both sessions', async () => {
    const table = await jigOf(0)
    let seen = 0
    table.onTold = tone => { if (tone === 'good' && ++seen === 5) soon(table, 'end', 10) }
    const first = await table.screen(request())
    await expect(resultOf(table, first.id)).rejects.toThrow('the study is not whole')
    table.onTold = () => {}
    const second = await table.screen(request())
    expect((await table.store.results(first.id)).length + (await table.store.results(second.id)).length).toBe(16)
    expect((await resultOf(table, second.id)).runs).toEqual(expect.arrayContaining([first.id, second.id]))
    expect((await resultOf(table, first.id)).gauge).toEqual((await resultOf(table, second.id)).gauge)
  })

  it('proves no part: the same list screened for itself asks for every one', async () => {
    const table = await jigOf(0)
    await table.screen(request())
    const { study: _, ...list } = request()
    const plan = await table.daemon.screening.plan(list)
    expect(plan.groups.flatMap(group => group.parts)).toEqual(parts)
  })

  it('is refused of a sample, of one part, and of several kinds', async () => {
    const table = await jigOf(0)
    const plan = async (over: Partial<ScreenRequest>) => await table.clock.run(table.daemon.screening.plan(request(over)))
    await expect(plan({ sample: { aql: '1.0', level: 'II', source: 'x', steady: true } })).rejects.toThrow('no sample')
    await expect(plan({ parts: requestFor([tablePart('R1', 'resistor')]).parts })).rejects.toThrow('parts of one kind')
    await expect(plan({ parts: requestFor([tablePart('R1', 'resistor'), tablePart('L1', 'inductor')]).parts })).rejects.toThrow('parts of one kind')
  })
})
