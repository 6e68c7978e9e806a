/** Parts above touch-safe behind the locked cover of a jig: the real stack over simulated physics and hands. */
import { describe, expect, it } from 'vitest'
import { Hands, type Manner } from '../../mocks/bench/hands.ts'
import { coverRelays } from '../../mocks/bench/jig-cover.ts'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type Defect } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import type { RelayBoard } from '../../mocks/instruments/relay-board.ts'
import type { ScreenStatus } from '../../src/schema/screening.ts'
import { openTable, requestFor, soon, type Table, type TablePart } from './screening-bench.ts'

const film = (id: string, defect?: Defect): TablePart =>
  ({ id, kind: 'film-capacitor', line: 'capacitor,100n 400V,10,film,', ...defect ? { defect } : {} })
/** Sound at 60 V; gives way above 250 V. */
const weak = (id: string): Component => {
  const { truth } = makeComponent('film-capacitor', usualRatings['film-capacitor'], id)
  return new Component({ ...truth, values: { ...truth.values, breakdownV: 250 } }, id)
}
const asked = (parts: readonly TablePart[]) => requestFor(parts, { cautionsConfirmed: true })
const resultsOf = async (table: Table, run: string) =>
  Object.fromEntries((await table.store.results(run)).map(result => [result.position, result]))
const keepAll = (table: Table): void => { table.onTold = (tone, text) => { if (tone === 'attention' && text.includes('?')) soon(table, 'keep') } }
const openCovered = (parts: readonly TablePart[]) => openTable(parts, { covered: true, instant: true })
/** No source gives more to a jig that is open to hands. */
const openMostV = 42.1

const statusesOf = (table: Table): ScreenStatus[] => {
  const seen: ScreenStatus[] = []
  table.daemon.subscribe(item => { if (item.type === 'screening' && item.screening) seen.push(item.screening) })
  return seen
}

async function expectWithheld(table: Table, parts: readonly TablePart[]): Promise<void> {
  const { clock, daemon, composed: { roles }, sim } = table
  await expect(clock.run(daemon.screening.begin(asked(parts)))).rejects.toMatchObject({ code: 'TRIPPED' })
  await expect(clock.run(roles.source!.setOutput(true))).rejects.toMatchObject({ code: 'TRIPPED' })
  await expect(clock.run(roles.jig!.hold([coverRelays.lockRelay]))).rejects.toMatchObject({ code: 'TRIPPED' })
  expect(sim.driven).toBe(false)
}

describe('a part above touch-safe', () => {
  it('is proven at its rating behind the cover, one press for each, and given back dead', async () => {
    const parts = [film('C1'), { id: 'C2', kind: 'paper-capacitor', line: 'capacitor,22n 400V,20,paper,' } as TablePart]
    const table = await openCovered(parts)
    const statuses = statusesOf(table)
    let leftV = 0
    const { put } = table.sim
    table.sim.put = part => { if (part === null) leftV = Math.max(leftV, table.sim.heldV); put.call(table.sim, part) }
    const plan = await table.daemon.screening.plan(asked(parts))
    expect(plan.groups).toMatchObject([
      { covered: true, mostV: 400, leads: expect.stringContaining('close the cover and press the button'), parts: ['C1'] },
      { covered: true, mostV: 400, parts: ['C2'] },
    ])
    expect(plan.cautions!.join(' ')).toMatch(/400 V and 8\.80 mJ stand behind the cover/)
    const run = await table.screen(asked(parts))
    expect(run.state).toBe('done')
    const results = await resultsOf(table, run.id)
    for (const id of ['C1', 'C2']) {
      expect(results[id]).toMatchObject({ grade: 'accept' })
      expect(results[id]!.figures['leakageV']).toBeCloseTo(400, -1)
      expect(results[id]!.reason).not.toContain('is not shown')
    }
    expect(table.told.filter(({ text }) => text === 'close the cover and press the button: 400 V')).toHaveLength(2)
    const touch = [...new Set(statuses.map(status => status.touch))]
    expect(touch[0]).toMatch(/^measured below 3 V at \d\d:\d\d.*; prove dead before touching$/)
    expect(touch).toContain('NOT SAFE TO TOUCH: 400 V behind the cover')
    expect(statuses.at(-1)!.touch).toMatch(/^measured below 3 V/)
    expect([table.sim.cover!.exposed, table.sim.wrongs]).toEqual([[], []])
    expect(leftV).toBeLessThan(3)
    // Between sessions it stays locked.
    expect((table.sim.instrument('matrix') as RelayBoard).coils.size).toBe(0)
    const tookS = (run.endedWallMs! - run.startedWallMs) / 1000
    expect(Math.abs(plan.expectedS / tookS - 1)).toBeLessThan(0.2)
  })

  it('that gives way above touch-safe is found, where a jig without a cover accepts it', async () => {
    const parts = [film('C1')]
    const open = await openTable(parts, { instant: true })
    open.parts.set('C1', weak('C1'))
    const before = await open.screen(requestFor(parts))
    expect((await resultsOf(open, before.id))['C1']).toMatchObject({ grade: 'accept', reason: expect.stringContaining('is not shown') })
    const table = await openCovered(parts)
    table.parts.set('C1', weak('C1'))
    keepAll(table)
    const run = await table.screen(asked(parts))
    expect((await resultsOf(table, run.id))['C1']).toMatchObject({ grade: 'reject', reason: expect.stringMatching(/does not come up/) })
    expect([run.state, table.sim.cover!.exposed, table.sim.wrongs]).toEqual(['done', [], []])
  })

  it.each<Defect>(['short', 'wrong-value', 'leaky'])('is never put under volts where it is %s already', async defect => {
    const table = await openCovered([film('C1', defect)])
    if (defect === 'leaky') {
      const { truth } = makeComponent('film-capacitor', usualRatings['film-capacitor'], 'C1')
      table.parts.set('C1', new Component({ ...truth, values: { ...truth.values, insulationOhm: 50e3 } }, 'C1'))
    }
    keepAll(table)
    const run = await table.screen(asked([film('C1')]))
    expect((await resultsOf(table, run.id))['C1']).toMatchObject({ grade: 'reject' })
    expect(table.told.some(({ text }) => text.startsWith('close the cover'))).toBe(false)
    expect(table.sim.most.volts).toBeLessThan(openMostV)
  })

  it('is put under volts in no session whose cautions nobody has read', async () => {
    const table = await openCovered([film('C1')])
    await expect(table.clock.run(table.daemon.screening.begin(requestFor([film('C1')]))))
      .rejects.toMatchObject({ code: 'REFUSED', message: expect.stringContaining('--cautions-read') })
    // What stays below touch-safe asks for none.
    const small = [{ id: 'R1', kind: 'resistor', line: 'resistor,4k7,5,,' } as TablePart]
    const low = await openCovered(small)
    expect((await low.screen(requestFor(small))).state).toBe('done')
  })

  it('holds no more than the bench file allows behind the cover; oxide, and what has a bleeder, is never put there', async () => {
    const table = await openCovered([])
    const lines = [
      ['C1', 'capacitor,10u 400V,10,film,'], ['C2', 'electrolytic capacitor,1u 450V,20,,'], ['C3', 'capacitor,220n X2 275V~,20,film,bleeder 1M'],
    ].map(([id, line]) => ({ id, kind: 'film-capacitor', line }) as TablePart)
    const { cannot, groups } = await table.daemon.screening.plan(asked(lines))
    expect(cannot).toMatchObject([{ id: 'C1', why: expect.stringMatching(/880 mJ.*250 mJ/) }])
    expect(groups.every(({ covered, mostV }) => covered === undefined && mostV <= 42)).toBe(true)
  })
})

/** From the sentence until something else is said, in the first sitting of C1. */
async function sat(manner: Manner, during?: (table: Table) => void, forMs = 30_000): Promise<Table & { runId: string }> {
  const parts = [film('C1')]
  const table = await openCovered(parts)
  const hands = new Hands({ bench: table.sim, clock: table.clock, find: name => table.parts.get(name) ?? null, manner: () => manner })
  table.hands.hear = (tone, text) => hands.hear(tone, text)
  const { id } = await table.clock.run(table.daemon.screening.begin(asked(parts)))
  during?.(table)
  await table.clock.advance(forMs)
  return { ...table, runId: id }
}

describe('volts are not put on', () => {
  it.each<Manner>(['early', 'held', 'never'])('at a button that is pressed %s', async manner => {
    const table = await sat(manner)
    const { daemon, sim, clock } = table
    expect(sim.cover!.isClosed).toBe(true)
    expect(daemon.screening.status()).toMatchObject({ asked: 'C1', stands: 'measuring', told: { text: expect.stringMatching(/^close the cover/) } })
    expect(sim.most.volts).toBeLessThan(openMostV)
    expect(sim.cover!.isLocked).toBe(false)
    // Nobody does it right: after a while the part is asked for again, and nothing was energised.
    await clock.advance(600_000)
    expect(table.told.map(({ text }) => text)).toContain('it was not put under volts: nobody closed the cover and pressed')
    daemon.screening.do('end')
    await clock.run(daemon.ended(table.runId))
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'done' })
    expect(sim.most.volts).toBeLessThan(openMostV)
    expect(await table.store.results(table.runId)).toEqual([])
  })

  it('with the cover open, however often the button is pressed', async () => {
    const table = await sat('never', ({ sim, clock }) => {
      const press = (): void => { sim.cover!.tryOpen(); sim.cover!.press(250); clock.after(700, press) }
      press()
    })
    expect(table.sim.most.volts).toBeLessThan(openMostV)
    expect(table.sim.cover!.exposed).toEqual([])
  })

  it('behind a cover whose contact never opens', async () => {
    const table = await sat('properly', ({ sim }) => {
      // Bridged: it reads closed whatever the cover does.
      Object.defineProperty(sim.cover!.switches, 'coverClosed', { get: () => true, set: () => {} })
    })
    expect(table.told.at(-1)!.text).toMatch(/^open the cover, close it and press the button/)
    expect(table.sim.most.volts).toBeLessThan(openMostV)
  })

  it('twice at one press: a second opinion wants the cover opened, closed, and another press', async () => {
    const parts = [film('C1')]
    const table = await openCovered(parts)
    let asked2 = false
    table.onTold = tone => { if (tone === 'good' && !asked2) { asked2 = true; soon(table, 'second opinion', 1) } }
    const { hear } = table.hands
    table.hands.hear = (tone, text) => { if (tone === 'good' && table.told.filter(one => one.tone === 'good').length < 2) return; hear.call(table.hands, tone, text) }
    const run = await table.screen(asked(parts))
    expect(run.state).toBe('done')
    expect(table.told.map(({ text }) => text).filter(text => text.includes('press the button'))).toEqual([
      'close the cover and press the button: 400 V', 'open the cover, close it and press the button: 400 V',
    ])
    expect(table.sim.cover!.exposed).toEqual([])
  })

  it('after `skip`: the part comes again at the end', async () => {
    const parts = [film('C1'), film('C2')]
    const table = await openCovered(parts)
    let skipped = false
    table.onTold = (_tone, text) => {
      if (!text.startsWith('close the cover') || skipped) return
      skipped = true
      soon(table, 'skip', 300)
      table.clock.after(1000, () => table.hands.take())
    }
    const run = await table.screen(asked(parts))
    expect(run.state).toBe('done')
    expect(Object.keys(await resultsOf(table, run.id)).sort()).toEqual(['C1', 'C2'])
    expect(table.told.filter(({ text }) => text === 'C1' || text === 'C2').map(({ text }) => text)).toEqual(['C1', 'C2', 'C1'])
    expect(table.told.map(({ text }) => text)).toContain('it was not put under volts: a person ended the wait')
    expect(table.sim.cover!.exposed).toEqual([])
  })

  it('after `end`: the wait is over at once', async () => {
    const table = await sat('never')
    table.daemon.screening.do('end')
    const run = await table.clock.run(table.daemon.ended(table.runId))
    expect([run.state, table.sim.driven]).toEqual(['done', false])
    expect(table.sim.most.volts).toBeLessThan(openMostV)
  })

  it('on a part that is not what was measured before the cover was closed', async () => {
    let mostV = NaN
    const table = await sat('properly', one => {
      const { sim, told, clock } = one
      one.onTold = (_tone, text) => { if (/it is not what it was before the cover was closed/.test(text)) mostV = sim.most.volts }
      const swap = (): void => {
        if (told.at(-1)?.text.startsWith('close the cover')) sim.put(null)
        else clock.after(20, swap)
      }
      swap()
    })
    // And it is asked for anew.
    expect(mostV).toBeLessThan(openMostV)
    expect(table.told.filter(({ text }) => text.startsWith('close the cover'))).toHaveLength(2)
  })

  it('on another part of the same value that was put in while the press was waited for', async () => {
    let mostV = NaN
    const table = await sat('properly', one => {
      const { sim, told, clock, parts } = one
      one.onTold = (_tone, text) => { if (/it is not what it was before the cover was closed/.test(text)) mostV = sim.most.volts }
      const { truth } = parts.get('C1')!
      const swap = (): void => {
        if (!told.at(-1)?.text.startsWith('close the cover')) { clock.after(20, swap); return }
        sim.put(null)
        clock.after(300, () => { sim.put(new Component(truth, 'another')) })
      }
      swap()
    })
    expect(mostV).toBeLessThan(openMostV)
    expect(table.told.filter(({ text }) => text.startsWith('close the cover'))).toHaveLength(2)
  })

  it('where the bleeder does not lie across the terminals: the session trips before the cover is freed', async () => {
    const table = await openCovered([film('C1')])
    table.sim.bleederBroken = true
    const run = await table.screen(asked([film('C1')]))
    expect(run.state).toBe('tripped')
    expect(table.daemon.status().latched?.text).toMatch(/the cover stays locked: the bleeder does not lie across the terminals/)
    expect(table.sim.cover!.isLocked).toBe(true)
  })
})

/** C1 is at 400 V for 20 s; then something happens. */
async function underVolts(act: (table: Table) => void): Promise<Table & { runId: string; actedMs: number }> {
  const parts = [film('C1'), film('C2')]
  const table = await openCovered(parts)
  let actedMs = NaN
  const watch = (): void => {
    if (table.sim.heldV < 390) { table.clock.after(100, watch); return }
    table.clock.after(20_000, () => { actedMs = table.clock.monotonicMs(); act(table) })
  }
  watch()
  const { id } = await table.clock.run(table.daemon.screening.begin(asked(parts)))
  await table.clock.run(table.daemon.ended(id))
  return { ...table, runId: id, actedMs }
}

/** Tripped or stopped, off, locked, said so, and nothing more is energised; then the bleeder empties it. */
async function expectLockedAfter(
  table: Table & { runId: string }, as: 'tripped' | 'stopped', why: RegExp,
  words = /C1 may be charged to 400 V behind the cover, which stays locked/,
): Promise<void> {
  const { sim, daemon, store, clock } = table
  expect(await store.run(table.runId)).toMatchObject({ state: as })
  expect(sim.driven).toBe(false)
  expect(sim.cover!.tryOpen()).toBe(false)
  const text = daemon.status().latched!.text
  expect(text).toMatch(why)
  expect(text).toMatch(words)
  expect(await store.results(table.runId)).toEqual([])
  await expectWithheld(table, [film('C1')])
  await clock.advance(3000)
  expect(sim.heldV).toBeLessThan(3)
  expect(sim.cover!.exposed).toEqual([])
}

describe('under volts', () => {
  it('a cover that is pulled at does not open, and the part is proven', async () => {
    const table = await underVolts(({ sim }) => { expect(sim.cover!.tryOpen()).toBe(false) })
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'done' })
  })

  it.each([false, true])('a cover that is forced ends it at once, and the bleeder empties the part (interlock of the source bridged: %s)', async bridged => {
    let offMs = NaN
    const table = await underVolts(({ sim, clock }) => {
      sim.interlockBridged = bridged
      sim.cover!.force()
      const watch = (): void => { if (sim.driven) clock.after(5, watch); else offMs = clock.monotonicMs() }
      watch()
    })
    expect(offMs - table.actedMs).toBeLessThan(bridged ? 150 : 1)
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'tripped' })
    expect(table.daemon.status().latched!.text).toMatch(/^the cover was opened under volts; NOT SAFE TO TOUCH: C1 may be charged to 400 V/)
    await expectWithheld(table, [film('C1')])
    await table.clock.advance(3000)
    expect(table.sim.heldV).toBeLessThan(3)
  })

  it.each([
    ['a cover contact that reads open', ({ sim }: Table) => { sim.cover!.switches.coverClosed = false }, /the cover was opened under volts/],
    ['a cover contact that gives no answer', ({ sim }: Table) => { sim.instrument('door').device.faults.set({ kind: 'deaf' }) }, /cover contact was not read for \d+ ms/],
    ['a lost link of the cover contact', ({ links }: Table) => { links.get('door')!.unplug() }, /cover contact was not read for \d+ ms/],
    ['a lost link of the source', ({ links }: Table) => { links.get('smu')!.unplug() }, /smu/],
    ['a lost link of the lock', ({ links }: Table) => { links.get('matrix')!.unplug() }, /matrix/],
  ] as const)('%s ends it', async (_what, act, why) => {
    await expectLockedAfter(await underVolts(act), 'tripped', why)
  })

  it('a stop ends it', async () => {
    await expectLockedAfter(await underVolts(({ daemon }) => { void daemon.stop('enough') }), 'stopped', /^enough/)
  })

  it('a source that says that it is still on keeps the cover locked', async () => {
    const table = await underVolts(({ sim }) => { sim.instrument('smu').device.faults.set({ kind: 'wrong-answer', match: 'OUTP?', value: '1' }) })
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'tripped' })
    expect([table.sim.cover!.isLocked, table.sim.cover!.exposed]).toEqual([true, []])
  })

  it('a source that stays on and says that it is off gives nothing to hands', async () => {
    const table = await underVolts(({ sim }) => { sim.instrument('smu').device.faults.set({ kind: 'output-stays-on' }) })
    expect(table.sim.cover!.exposed).toEqual([])
  })

  it('a part that does not discharge keeps the cover locked', async () => {
    const table = await underVolts(({ sim }) => { sim.instrument('smu').device.faults.set({ kind: 'reading-stuck' }) })
    await expectLockedAfter(table, 'tripped', /does not discharge|left the jig/, /C1 was under 400 V behind the cover, and was not shown to be empty/)
  })

  it('a part that loses its contact keeps the cover locked', async () => {
    const table = await underVolts(({ sim }) => {
      const { cover } = sim
      // Within the closed cover it drops out of its clip.
      Object.defineProperty(cover, 'isClosed', { get: () => false, configurable: true })
      sim.put(null)
      Reflect.deleteProperty(cover!, 'isClosed')
    })
    expect(await table.store.run(table.runId)).toMatchObject({ state: 'tripped' })
    expect(table.sim.cover!.isLocked).toBe(true)
    expect(table.parts.get('C1')!.heldV).toBeGreaterThan(300)
  })

  it('a kill of daemon and keeper: the next start stays locked, names the part, and frees it only to a session after an acknowledgement', async () => {
    const parts = [film('C1')]
    const table = await openCovered(parts)
    const charged = new Promise<void>(resolve => {
      const watch = (): void => { if (table.sim.heldV > 390) resolve(); else table.clock.after(100, watch) }
      watch()
    })
    const { id } = await table.clock.run(table.daemon.screening.begin(asked(parts)))
    await table.clock.run(charged)
    const next = await table.restart()
    const { sim, clock } = table
    expect(await table.store.run(id)).toMatchObject({ state: 'interrupted' })
    expect([sim.driven, sim.cover!.tryOpen()]).toEqual([false, false])
    expect(next.status().latched?.text).toMatch(/was interrupted: NOT SAFE TO TOUCH: C1 may be charged to 400 V behind the cover/)
    await expect(clock.run(next.screening.begin(asked(parts)))).rejects.toMatchObject({ code: 'TRIPPED' })
    expect(sim.cover!.tryOpen()).toBe(false)
    sim.cover!.switches.present = true
    await clock.run(next.acknowledge('waited for the bleeder', 'Ida'))
    sim.cover!.switches.present = false
    expect(sim.cover!.tryOpen()).toBe(false)
    table.follow(next)
    clock.after(5000, () => table.hands.take())
    expect((await table.screen(asked(parts), next)).state).toBe('done')
    expect([sim.cover!.exposed, sim.wrongs]).toEqual([[], []])
  })
})
