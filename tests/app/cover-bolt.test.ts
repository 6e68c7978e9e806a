/** What is tried with nothing energised before volts come behind a cover: its bolt by a hand, contacts by the bridge. */
import { describe, expect, it } from 'vitest'
import { coverRelays } from '../../mocks/bench/jig-cover.ts'
import { openTable, requestFor, type Table, type TablePart } from './screening-bench.ts'

const film: TablePart = { id: 'C1', kind: 'film-capacitor', line: 'capacitor,100n 400V,10,film,' }
const asked = requestFor([film], { cautionsConfirmed: true })
/** No source gives more to a jig that is open to hands. */
const openMostV = 42.1

async function expectWithheld({ clock, daemon, composed: { roles }, sim }: Table): Promise<void> {
  await expect(clock.run(daemon.screening.begin(asked))).rejects.toMatchObject({ code: 'TRIPPED' })
  await expect(clock.run(roles.source!.setOutput(true))).rejects.toMatchObject({ code: 'TRIPPED' })
  await expect(clock.run(roles.jig!.hold([coverRelays.lockRelay]))).rejects.toMatchObject({ code: 'TRIPPED' })
  expect(sim.driven).toBe(false)
}

describe('volts are not put on', () => {
  it('behind a bolt that does not hold a pull', async () => {
    const table = await openTable([film], { covered: true, instant: true })
    Object.defineProperty(table.sim.cover!, 'isLocked', { get: () => false })
    const run = await table.screen(asked)
    expect(run.state).toBe('tripped')
    expect(table.daemon.status().latched!.text).toMatch(/^the bolt does not hold: the locked cover came open/)
    expect(table.sim.most.volts).toBeLessThan(openMostV)
    await expectWithheld(table)
  })

  it.each([1, 6])('while a contact to the bridge is welded (relay %i)', async relay => {
    const table = await openTable([film], { covered: true, instant: true })
    table.onTold = (_tone, text) => {
      if (text.startsWith('it is locked')) table.sim.instrument('matrix').device.faults.set({ kind: 'relay-welded', value: relay })
    }
    const run = await table.screen(asked)
    expect(run.state).toBe('tripped')
    expect(table.daemon.status().latched!.text).toMatch(/^a contact to the bridge is welded/)
    expect(table.sim.most.volts).toBeLessThan(openMostV)
    await expectWithheld(table)
  })
})
