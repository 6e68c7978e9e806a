/** The bleeder of a covered jig is told from what else lies at the terminals, before the cover is freed and before volts. */
import { describe, expect, it } from 'vitest'
import { bleederOhm, coverRelays } from '../../mocks/bench/jig-cover.ts'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { openTable, requestFor, resistor1k, type Table, type TablePart } from './screening-bench.ts'

const film = (id: string): TablePart => ({ id, kind: 'film-capacitor', line: 'capacitor,100n 400V,10,film,' })
const asked = requestFor([film('C1')], { cautionsConfirmed: true })
const openCovered = () => openTable([film('C1')], { covered: true, instant: true })

/** What lies in the jig when a session begins, behind the cover that is closed and locked. */
async function beginsOver(part: Component | null, break_: (table: Table) => void): Promise<Table & { state: string }> {
  const table = await openCovered()
  const { sim, clock, daemon } = table
  sim.cover!.unlock()
  sim.put(part)
  sim.cover!.close()
  await clock.advance(1000)
  break_(table)
  table.onTold = () => { sim.cover!.tryOpen() }
  const { id } = await clock.run(daemon.screening.begin(asked))
  await clock.advance(60_000)
  const status = daemon.status()
  if (status.screening) daemon.screening.do('end')
  await clock.advance(700_000)
  return { ...table, state: (await table.store.run(id))!.state }
}

const value = (kind: ComponentKind, of: number, over: Record<string, number> = {}): Component => {
  const { truth } = makeComponent(kind, { ...usualRatings[kind], value: of }, 1)
  return new Component({ ...truth, values: { ...truth.values, ...over } }, 1)
}
const lying: readonly (readonly [string, () => Component | null])[] = [
  ['nothing', () => null], ['a resistor of its own value', () => resistor1k('R', bleederOhm)], ['a resistor that draws more', () => resistor1k('R', 10e3)],
  ['a part that charges late', () => value('paper-capacitor', 2e-6, { absorption: 0.05 })],
  ['a large part', () => value('electrolytic-capacitor', 100e-6)], ['a small part', () => value('film-capacitor', 1e-9)],
]

describe('a bleeder', () => {
  it.each(lying)('that is there is found beside %s', async (_what, part) => {
    const { state, sim } = await beginsOver(part(), () => {})
    expect([state, sim.cover!.exposed]).toEqual(['done', []])
  })

  it.each(lying)('whose wire is off is not taken to be there because of %s: the cover stays locked', async (_what, part) => {
    const table = await beginsOver(part(), ({ sim }) => { sim.bleederBroken = true })
    expect(table.state).toBe('tripped')
    expect(table.daemon.status().latched!.text).toMatch(/the cover stays locked: the bleeder does not lie across the terminals/)
    expect(table.sim.cover!.tryOpen()).toBe(false)
    await expect(table.clock.run(table.composed.roles.source!.setOutput(true))).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it('that no relay takes off is found out: it would be read as what the part leaks', async () => {
    const { state, sim } = await beginsOver(null, table => { table.sim.instrument('matrix').device.faults.set({ kind: 'relay-dead', value: coverRelays.bleedRelay }) })
    expect([state, sim.cover!.isLocked]).toEqual(['tripped', true])
  })

  it('that cannot be told beside a short is not called there', async () => {
    const table = await beginsOver(resistor1k('R', 100), () => {})
    expect(table.state).toBe('tripped')
    expect(table.daemon.status().latched!.text).toMatch(/cannot be told beside what lies at the terminals: take it out/)
  })

  it('whose wire comes off while a press is waited for is found before volts', async () => {
    const table = await openCovered()
    table.onTold = (_tone, text) => { if (text.startsWith('close the cover')) table.sim.bleederBroken = true }
    const run = await table.screen(asked)
    expect(run.state).toBe('tripped')
    expect(table.sim.most.volts).toBeLessThan(60)
    expect([table.sim.cover!.isLocked, table.sim.driven]).toEqual([true, false])
    await expect(table.clock.run(table.composed.roles.source!.setOutput(true))).rejects.toMatchObject({ code: 'TRIPPED' })
  })
})
