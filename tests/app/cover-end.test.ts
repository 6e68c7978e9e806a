/** A person ends a session while a part is under volts behind the cover: they get it out, or hear why not. */
import { describe, expect, it } from 'vitest'
import { openTable, requestFor, type Table, type TablePart } from './screening-bench.ts'

const film = (id: string): TablePart => ({ id, kind: 'film-capacitor', line: 'capacitor,100n 400V,10,film,' })
const asked = requestFor([film('C1')], { cautionsConfirmed: true })
const takeOut = 'open the cover, take out what lies there, and short its ends'

/** Ended while C1 is at 400 V; `hears`: whether hands do what is said from then on. */
async function endedUnderVolts(hears: boolean): Promise<Table & { runId: string }> {
  const table = await openTable([film('C1')], { covered: true, instant: true })
  const { clock, sim, daemon, hands } = table
  const { id } = await clock.run(daemon.screening.begin(asked))
  while (sim.heldV < 390) await clock.advance(20)
  await clock.advance(5000)
  if (!hears) hands.hear = () => {}
  daemon.screening.do('end')
  return { ...table, runId: id }
}

describe('`end` while a part is under volts', () => {
  it('bleeds, proves and frees it, asks for it to be taken out, and locks the empty jig', async () => {
    const { clock, daemon, sim, store, told, runId } = await endedUnderVolts(true)
    expect((await clock.run(daemon.ended(runId))).state).toBe('done')
    expect((await store.results(runId)).map(({ grade }) => grade)).toEqual(['accept'])
    expect(told.map(({ text }) => text)).toContain(takeOut)
    await clock.advance(2000)
    expect([sim.part, sim.cover!.isClosed, sim.cover!.exposed, sim.wrongs]).toEqual([null, false, [], []])
  })

  it('says why where nobody opens the cover, and another session of the same list lets it out', async () => {
    const table = await endedUnderVolts(false)
    const { clock, daemon, sim, store, runId } = table
    expect((await clock.run(daemon.ended(runId))).state).toBe('done')
    const text = (await store.events(runId)).find(({ kind }) => kind === 'locked-in')!.text
    expect(text).toMatch(/^nobody opened the cover: it is locked again .*measured below 3 V at .*the next session frees it$/)
    await clock.advance(1000)
    expect([sim.part, sim.cover!.tryOpen()]).toEqual([table.parts.get('C1'), false])
    // Nothing is left to ask for.
    expect((await clock.run(daemon.screening.plan(asked))).groups).toEqual([])
    await clock.advance(1000)
    table.hands.hear = (_tone, said) => { if (said === takeOut) table.hands.take() }
    const next = await clock.run(daemon.screening.begin(asked))
    expect((await clock.run(daemon.ended(next.id))).state).toBe('done')
    await clock.advance(2000)
    expect([sim.part, sim.cover!.isClosed, sim.cover!.exposed]).toEqual([null, false, []])
    // With the cover open there is nothing for a session to do.
    await clock.advance(1000)
    await expect(clock.run(daemon.screening.begin(asked))).rejects.toMatchObject({ code: 'REFUSED', message: expect.stringContaining('has its result') })
  })

  it('once more ends the wait for the cover', async () => {
    const { clock, daemon, sim, runId, store } = await endedUnderVolts(false)
    while (daemon.screening.status()!.told?.text !== takeOut) await clock.advance(500)
    const fromMs = clock.monotonicMs()
    daemon.screening.do('end')
    expect((await clock.run(daemon.ended(runId))).state).toBe('done')
    expect(clock.monotonicMs() - fromMs).toBeLessThan(1000)
    await clock.advance(1000)
    expect([(await store.run(runId))!.state, sim.cover!.tryOpen()]).toEqual(['done', false])
  })
})
