/** What left its clips under volts behind the cover of a jig: nobody meets it unawares, whatever comes between. */
import { describe, expect, it } from 'vitest'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { usualRatings } from '../../mocks/components/kinds.ts'
import type { Daemon } from '../../src/app/daemon.ts'
import { coverRelays } from '../../mocks/bench/jig-cover.ts'
import { openTable, requestFor, type Table, type TablePart } from './screening-bench.ts'

const film = (id: string): TablePart => ({ id, kind: 'film-capacitor', line: 'capacitor,100n 400V,10,film,' })
const asked = (parts: readonly TablePart[]) => requestFor(parts, { cautionsConfirmed: true, ask: 'all' })
const touchSafeV = 60

/** C1 is under volts; then something happens, with the leads quiet or drifting. */
async function underVolts(quiet: boolean, act: (table: Table) => void, afterMs = 20_000): Promise<Table & { runId: string }> {
  const table = await openTable([film('C1')], { covered: true, instant: true })
  if (quiet) table.sim.quietLeads()
  const watch = (): void => {
    if (table.sim.heldV < 390) { table.clock.after(20, watch); return }
    table.clock.after(afterMs, () => act(table))
  }
  watch()
  const { id } = await table.clock.run(table.daemon.screening.begin(asked([film('C1')])))
  await table.clock.run(table.daemon.ended(id))
  return { ...table, runId: id }
}

async function acknowledged({ sim, clock }: Table, daemon: Daemon, reason: string): Promise<void> {
  sim.cover!.switches.present = true
  await clock.run(daemon.acknowledge(reason, 'Ida'))
  sim.cover!.switches.present = false
}

/** Begins another session, which ends by itself; the state in which it did. */
async function began(table: Table, daemon: Daemon): Promise<string> {
  const run = await table.clock.run(daemon.screening.begin(asked([film('C1')])))
  return (await table.clock.run(daemon.ended(run.id))).state
}

/** Nothing comes on, and the cover stays shut over what may be charged. */
async function expectShut({ sim, clock, composed: { roles } }: Table, isLatched = true): Promise<void> {
  if (isLatched) {
    await expect(clock.run(roles.source!.setOutput(true))).rejects.toMatchObject({ code: 'TRIPPED' })
    await expect(clock.run(roles.jig!.hold([coverRelays.lockRelay]))).rejects.toMatchObject({ code: 'TRIPPED' })
  }
  expect([sim.driven, sim.cover!.tryOpen(), sim.cover!.exposed]).toEqual([false, false, []])
}

const unmeasured = /NOT SAFE TO TOUCH: UNMEASURED: C1 was under 400 V behind the cover.*discharge stick.*acknowledge with what you found/

describe('a part that dropped off its clips under volts', () => {
  it.each([false, true])('is never said to wait for its bleeder, and stays behind the cover after an acknowledgement (quiet leads: %s)', async quiet => {
    const table = await underVolts(quiet, ({ sim }) => sim.drop())
    const { sim, daemon, store } = table
    expect(await store.run(table.runId)).toMatchObject({ state: 'tripped' })
    expect(sim.looseV).toBeGreaterThan(390)
    const { text } = daemon.status().latched!
    expect(text).toMatch(unmeasured)
    expect(text).not.toMatch(/wait for the bleeder/)
    await expectShut(table)
    await acknowledged(table, daemon, 'it fell down')
    expect(daemon.status().unsafe).toMatchObject([{ part: 'C1', touch: expect.stringMatching(/^NOT SAFE TO TOUCH: UNMEASURED/) }])
    // The next session says it again, and frees nothing.
    expect(await began(table, daemon)).toBe('tripped')
    expect(daemon.status().latched!.text).toMatch(unmeasured)
    await expectShut(table)
    await expect(table.clock.run(daemon.screening.begin(asked([film('C1')])))).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it.each([false, true])('is on record over a restart and a kill at any step, until a person has discharged it and says so (quiet leads: %s)', async quiet => {
    const table = await underVolts(quiet, ({ sim }) => sim.drop())
    let daemon = await table.restart()
    await acknowledged(table, daemon, 'it fell down')
    daemon = await table.restart()
    // Killed in the middle of its beginning. A session is named by its second.
    await table.clock.advance(1000)
    await table.clock.run(daemon.screening.begin(asked([film('C1')])))
    await table.clock.advance(300)
    daemon = await table.restart()
    expect(daemon.status().latched?.text).toMatch(unmeasured)
    await acknowledged(table, daemon, 'again')
    await table.clock.advance(1000)
    expect(await began(table, daemon)).toBe('tripped')
    daemon = await table.restart()
    expect(daemon.status().latched?.text).toMatch(unmeasured)
    await expectShut(table, false)
    expect(table.sim.looseV).toBeGreaterThan(390)
    // As it was told to.
    table.sim.cover!.unlock()
    table.sim.stick()
    table.sim.cover!.close()
    await acknowledged(table, daemon, 'shorted by the stick, 0.1 V')
    expect(daemon.status().unsafe).toEqual([])
    table.follow(daemon)
    table.clock.after(8000, () => table.hands.take())
    expect(await began(table, daemon)).toBe('done')
    expect([table.sim.cover!.exposed, table.sim.wrongs.filter(text => text.startsWith('a meter'))]).toEqual([[], []])
  })

  it('is not taken for emptied where it lies elsewhere while the source reads nothing, and the process is killed before the bridge looks', async () => {
    for (const quiet of [false, true]) {
      const table = await openTable([film('C1')], { covered: true, instant: true })
      if (quiet) table.sim.quietLeads()
      let daemon = table.daemon
      const emptied = async (): Promise<boolean> => (await table.store.events(id)).some(({ kind }) => kind === 'emptied')
      const { id } = await table.clock.run(daemon.screening.begin(asked([film('C1')])))
      while (table.sim.heldV < 390) await table.clock.advance(20)
      await table.clock.advance(20_000)
      table.sim.drop()
      // Until the source has been looked at with nothing there.
      while (table.daemon.status().screening !== null && !await emptied()) await table.clock.advance(200)
      expect(await emptied()).toBe(false)
      daemon = await table.restart()
      expect(daemon.status().latched?.text).toMatch(/NOT SAFE TO TOUCH/)
      await expectShut(table, false)
    }
  })
})

describe('where the board of the jig does not hear the safe-off', () => {
  it.each(['a stop', 'a trip'])('nobody is told to wait for a bleeder that may be off (%s)', async how => {
    const table = await underVolts(false, ({ sim, daemon }) => {
      sim.instrument('matrix').device.faults.set({ kind: 'deaf' })
      if (how === 'a stop') void daemon.stop('enough')
      else sim.cover!.switches.coverClosed = false
    })
    expect(table.sim.heldV).toBeGreaterThan(300)
    expect(table.daemon.status().latched!.text).toMatch(unmeasured)
    expect(table.daemon.status().latched!.text).not.toMatch(/wait for the bleeder/)
    await table.clock.advance(60_000)
    expect([table.sim.driven, table.sim.cover!.tryOpen(), table.sim.cover!.exposed]).toEqual([false, false, []])
    await expect(table.clock.run(table.daemon.screening.begin(asked([film('C1')])))).rejects.toMatchObject({ code: 'TRIPPED' })
  })
})

describe('a part that is in its clips yet', () => {
  it.each(['a stop', 'a kill'])('is known again by the next session after %s, shown to be empty, and freed', async how => {
    const table = await openTable([film('C1')], { covered: true, instant: true })
    const { id } = await table.clock.run(table.daemon.screening.begin(asked([film('C1')])))
    while (table.sim.heldV < 390) await table.clock.advance(20)
    let { daemon } = table
    if (how === 'a stop') {
      await table.clock.run(daemon.stop('enough'))
      await table.clock.run(daemon.ended(id))
    } else daemon = await table.restart()
    expect(daemon.status().latched?.text).toMatch(/C1 may be charged to 400 V behind the cover, which stays locked/)
    await acknowledged(table, daemon, 'waited')
    if (how === 'a kill') table.follow(daemon)
    table.clock.after(3000, () => table.hands.take())
    expect(await began(table, daemon)).toBe('done')
    expect([table.sim.cover!.exposed, table.sim.wrongs]).toEqual([[], []])
  })

  it('and another in its place is not taken for it', async () => {
    const table = await underVolts(false, ({ daemon }) => { void daemon.stop('enough') })
    table.sim.drop()
    table.sim.cover!.unlock()
    table.sim.put(makeComponent('film-capacitor', { ...usualRatings['film-capacitor'], value: 1.3e-7 }, 'other'))
    table.sim.cover!.close()
    await acknowledged(table, table.daemon, 'waited')
    expect(await began(table, table.daemon)).toBe('tripped')
    expect(table.daemon.status().latched!.text).toMatch(unmeasured)
    expect(touchSafeV).toBeGreaterThan(table.sim.heldV)
    await expectShut(table)
  })
})
