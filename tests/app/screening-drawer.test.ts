/** The Pavilion's amplifier screened hands-free in virtual time, and held against its hidden truth. */
import { describe, expect, it } from 'vitest'
import { drawDrawer } from '../../mocks/bench/drawer.ts'
import { Hands } from '../../mocks/bench/hands.ts'
import { Screener } from '../../mocks/bench/screener.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { virtualJig } from '../../nights/virtual-jig.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { packageFile } from '../../src/base/paths.ts'
import { standingOf, type Standing } from '../../src/cli/demo-screening-text.ts'
import { screenRequestOf } from '../../src/cli/screen-request.ts'
import { screenRequest, type ShownScreenPlan } from '../../src/schema/screening.ts'
import { openTable, requestFor, soon } from './screening-bench.ts'

const amplifier = packageFile('profiles', 'lists', 'saltmarsh-amplifier.csv')

/** DRAWERS=100 screens a hundred of them. */
const drawers = Number(process.env['DRAWERS'] ?? 0)
const seeds = drawers > 0 ? Array.from({ length: drawers }, (_, i) => i + 1) : [16, 34, 36]

/** Of four jigs one is not compensated. */
async function screened(seed: number, compensate = seed % 4 !== 0, covered = false) {
  const bench = await virtualJig({ seed, instant: true, covered })
  const { clock, daemon } = bench
  const drawer = drawDrawer(seed)
  const random = new SeededRandom(seed).fork('hands')
  const hands = new Hands({ bench: bench.sim, clock, find: drawer.find, random })
  const screener = new Screener({ hands, clock, drawer, random, say: async deed => {
    await Promise.resolve()
    try { daemon.screening.do(deed as 'keep') } catch { /* refused: it is told otherwise */ }
  } })
  daemon.subscribe(item => { if (item.type === 'screening') screener.hear(item.screening) })
  const { request } = screenRequestOf(amplifier, { person: 'Ida', unit: 'pavilion' })
  const { id } = await clock.run(daemon.screening.begin(screenRequest.parse({ ...request, standards: drawer.standards, compensate, cautionsConfirmed: covered })))
  const run = await clock.run(daemon.ended(id))
  return { run, results: await bench.store.results(id), truth: drawer.truth(), sim: bench.sim }
}

describe('the drawer of the Pavilion', () => {
  it.each(seeds)('of seed %i is screened to its end by two hands, and nothing is judged wrong', async seed => {
    const { run, results, truth, sim } = await screened(seed)
    expect(run.state).toBe('done')
    const standings = truth.map((one): [string, Standing] => [one.part, standingOf(one, results.find(({ position }) => position === one.part)?.grade)])
    const counted = (wanted: Standing): string[] => standings.filter(([, standing]) => standing === wanted).map(([part]) => part)
    expect(counted('wrong')).toEqual([])
    // What the plan said it cannot prove, and nothing else; tubes and integrated circuits are not simulated.
    const cannot = (run.setup['plan'] as ShownScreenPlan).cannot.map(({ id }) => id)
    expect(cannot).toEqual(expect.arrayContaining(['C10', 'C11', 'V1', 'U1']))
    expect(counted('not proven').sort()).toEqual(cannot.filter(id => id !== 'V1' && id !== 'U1').sort())
    expect(counted('right').length).toBeGreaterThan(0.8 * results.length)
    expect(sim.wrongs).toEqual([])
    expect(sim.driven).toBe(false)
  })
})

describe('the same drawer at a jig with a cover', () => {
  it('has its capacitors proven at their ratings, hands-free but for cover and button', async () => {
    const { run, results, truth, sim } = await screened(16, true, true)
    expect(run.state).toBe('done')
    expect(truth.filter(one => standingOf(one, results.find(({ position }) => position === one.part)?.grade) === 'wrong')).toEqual([])
    const { groups } = run.setup['plan'] as ShownScreenPlan
    const behind = groups.filter(({ covered }) => covered).flatMap(({ parts }) => parts)
    expect(behind).toEqual(expect.arrayContaining(['C1', 'C3', 'C4', 'C8', 'C12']))
    for (const { position, grade, figures } of results) {
      if (behind.includes(position) && grade === 'accept') expect(figures['leakageV']).toBeGreaterThan(49)
    }
    expect([sim.wrongs, sim.cover!.exposed, sim.driven]).toEqual([[], [], false])
  })
})

describe('a resistor whose open would read above what the meter reaches', () => {
  it('is found to be open, and the session goes on', async () => {
    const lines = [{ id: 'R1', kind: 'resistor' as const, line: 'resistor,1M,10,,' }, { id: 'R2', kind: 'resistor' as const, line: 'resistor,4k7,5,,' }]
    const table = await openTable(lines)
    table.parts.set('R1', makeComponent('resistor', { value: 1e6, tolerance: 0.1 }, 'open', { defect: 'open' }))
    table.onTold = (tone, text) => {
      if (tone === 'ask' && text === 'R1') soon(table, 'measure', 2000)
      if (tone === 'attention' && text.includes('?')) soon(table, 'keep')
      if (tone === 'attention' && !text.includes('?')) soon(table, 'end')
    }
    const { id } = await table.screen(requestFor(lines))
    expect((await table.store.results(id)).map(({ position, grade }) => [position, grade])).toEqual([['R1', 'reject'], ['R2', 'accept']])
  })
})
