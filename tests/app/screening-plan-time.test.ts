/** How long a plan says that a session takes, against the bench time of that session with hands as slow as the plan takes them to be. */
import { describe, expect, it } from 'vitest'
import { drawDrawer, makeWire } from '../../mocks/bench/drawer.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import type { ScreenRequest, ShownScreenPlan } from '../../src/schema/screening.ts'
import { openTable, requestFor, tablePart } from './screening-bench.ts'

const parts = [
  ...Array.from({ length: 6 }, (_, i) => tablePart(`R${i + 1}`, 'resistor')), ...Array.from({ length: 4 }, (_, i) => tablePart(`C${i + 1}`, 'film-capacitor')),
  tablePart('Q1', 'npn'), tablePart('D1', 'diode'),
]
const drawer = drawDrawer(3)

async function timed(...requests: Partial<ScreenRequest>[]): Promise<{ plan: ShownScreenPlan; tookS: number }[]> {
  const table = await openTable(parts, { store: openInlineStore(':memory:'), putMs: 2500, takeMs: 1500 })
  table.parts.set('shorting wire', makeWire())
  for (const { id } of drawer.standards) table.parts.set(`standard ${id}`, drawer.find(id)!)
  const all: { plan: ShownScreenPlan; tookS: number }[] = []
  for (const over of requests) {
    const asked = requestFor(parts, { insulation: false, ask: 'all', ...over })
    const plan = await table.daemon.screening.plan(asked)
    const run = await table.screen(asked)
    expect([run.state, table.results.length]).toEqual(['done', parts.length])
    table.results.length = 0
    all.push({ plan, tookS: (run.endedWallMs! - run.startedWallMs) / 1000 })
  }
  return all
}

describe('the time of a plan', () => {
  it('is that of the session within 15 %, and knows what compensating the jig and check standards add within 20 %', async () => {
    const standards = [...drawer.standards]
    const [bare] = await timed({})
    const [made, again] = await timed({ compensate: true }, {})
    const [often] = await timed({ standards, standardsEvery: 4 })
    const [all] = await timed({ compensate: true, standards, standardsEvery: 50 })
    for (const [name, one] of Object.entries({ bare, made, again, often, all })) {
      expect(Math.abs(one!.plan.expectedS / one!.tookS - 1), `${name}: ${one!.plan.expectedS} for ${one!.tookS} s`).toBeLessThan(0.15)
    }
    expect(bare!.plan.asideS).toBe(0)
    expect([again!.plan.zeros, all!.plan.zeros]).toEqual([['empty jig'], ['empty jig', 'shorting wire']])
    for (const [name, one] of Object.entries({ made, again, often, all })) {
      const moreS = one!.tookS - bare!.tookS
      expect(moreS, name).toBeGreaterThan(3)
      expect(Math.abs(one!.plan.asideS / moreS - 1), `${name}: ${one!.plan.asideS} for ${moreS} s`).toBeLessThan(0.2)
      expect(one!.plan.expectedS - one!.plan.asideS).toBeCloseTo(bare!.plan.expectedS, 6)
    }
  })

  it('is nothing for compensation where no part is asked for', async () => {
    const table = await openTable(parts, { instant: true })
    const plan = await table.daemon.screening.plan(requestFor([{ id: 'V1', kind: 'resistor', line: 'tube,x,,,' }], { compensate: true }))
    expect(plan).toMatchObject({ groups: [], expectedS: 0, asideS: 0 })
  })
})
